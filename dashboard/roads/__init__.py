"""The Roads page: what a road is like, how fast it may be driven, and roads from recordings."""
