"""What a trip is driven with when nobody names anything; kept apart so that the command line need not load the readers."""

TRUCK, ROAD, SETTINGS = "long-haul-manual", "skarrow-grade", "mountain-in-seventh"
