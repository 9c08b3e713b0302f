"""The Speedometer page: a mile timed by hand, and the number that puts it right."""
