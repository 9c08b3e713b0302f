"""Studies: many trips, one answer. `question` reads what is asked, `plan` works out every trip, `runner` drives them."""
