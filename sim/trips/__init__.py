"""Trips: one, a few side by side, many on all cores; what they cost before and leave behind."""
