"""The Fuel study page: many trips at once, and what they say."""
