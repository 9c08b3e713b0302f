"""What stands before and behind every page: guard, doors, workers, who somebody is."""
