"""What a truck could do, asked of the laws without a trip: gears, climbs, descents."""
