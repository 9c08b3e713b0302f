"""The command `haulbench`: the only part of this package that prints."""
