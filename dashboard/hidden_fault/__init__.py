"""The Hidden fault page, alone or for a class."""
