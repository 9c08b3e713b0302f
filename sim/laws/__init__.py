"""The laws: one compiled scalar function each, SI floats in and out, with its source. They know floats, not trucks."""
