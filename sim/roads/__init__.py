"""Roads: read, made from recordings, described."""
