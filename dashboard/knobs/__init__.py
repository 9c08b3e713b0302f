"""The Knobs page: the controller without a truck, its lamps, pins and codes."""
