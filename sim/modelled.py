"""What is modelled and what is left out, in the words of README; a test compares the two."""

MODELLED: tuple[tuple[str, str], ...] = (
    (
        "road",
        (
            "grade, wind and limits along the road; distance measured along it; height by the exact integral "
            "of the profile"
        ),
    ),
    (
        "resistance",
        ("air with wind and altitude, rolling with a speed term, weight along the slope, coupled inertia by gear"),
    ),
    (
        "driveline",
        (
            "gearbox and axle losses in torque-loss form that take energy whichever way it flows; a clutch "
            "that slips and locks; drive tyres that slip at the grip"
        ),
    ),
    (
        "engine",
        (
            "full-load curve, wear and faults as values of the truck, motoring torque with oil temperature, "
            "limiting-speed and all-speed governors with low and high idle, road-speed limit, boost lag, "
            "air-fuel limit, altitude through the boost, fuel from a straight line or a map, none at all in "
            "overrun"
        ),
    ),
    (
        "engine brake",
        (
            "compression work of the cylinders that are working, from manifold pressure; the manifold answers "
            "to speed, working cylinders, outside pressure and time; which pairs make a stage is a table of "
            "the truck"
        ),
    ),
    (
        "service brakes",
        (
            "pressure with lag and threshold, heat, cooling, fade and slack for each axle group; the "
            "published grade-severity model with both its constant sets beside it"
        ),
    ),
    (
        "heat and accessories",
        ("fan with clutch, air compressor and tanks, steering, electrics, coolant, oil"),
    ),
    (
        "controls",
        (
            "what is true and what is believed are two records; governor, limiter, cruise, fan and engine "
            "brake act on sensors and switches"
        ),
    ),
    (
        "sensors",
        (
            "thermistors, ratiometric pressure sensors and pedal, tone wheels, switches, each a circuit that "
            "can break; the controller's tests, codes, substitutes, derate and shutdown timer; a driver who "
            "stops believing a needle that cannot be right"
        ),
    ),
    (
        "cruise",
        (
            "set, resume, accelerate, coast, taps, cancel, with their conditions and the check after the key; "
            "droop; calls the engine brake in by stages above the set speed; the service brake cancels it and "
            "leaves foot-off retarding"
        ),
    ),
    (
        "gearbox",
        (
            "a shift takes time without pull; matched, refused, missed; a manual driver and an automated "
            "gearbox that shifts down to hold"
        ),
    ),
    (
        "driver",
        (
            "reads signs, limits and curves; takes gear and speed before the crest by the steepest pitch and "
            "the curve ahead; stages, snubs or drags; stops and pulls away; can be told to hold a gear or a "
            "stage, to leave the brakes alone, to be careless"
        ),
    ),
    (
        "energy",
        ("every joule of fuel, height and motion is booked under a name; none of the terms is what is left over"),
    ),
)

LEFT_OUT = (
    "side wind, wet roads other than by grip, tyre temperature, load transfer between axles, "
    "backlash, torque converters, exhaust after-treatment, traffic, curves as forces."
)

MARKS: tuple[tuple[str, str], ...] = (
    ("published", "read in the source that is named"),
    ("published, second-hand", "read in another text that quotes the source"),
    ("common practice", "a fact of the trade without a source"),
    ("from memory", "a value from memory, not looked up"),
    ("derived here", "arithmetic on values that are marked themselves"),
    ("assumed", "our choice, editable"),
)
