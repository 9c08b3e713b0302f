"""The Sources page: every published check."""
