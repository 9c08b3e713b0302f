"""The Gearing page: gears, starts and climbs of trucks beside each other."""
