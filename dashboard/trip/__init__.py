"""The Trip page, and what is drawn and written of a trip."""
