"""What is printed or kept: the shell of reports, lab sheets, words, colours, strips over one axis."""
