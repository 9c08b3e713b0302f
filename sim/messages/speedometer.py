"""What is wrong with a measured mile, and with a number of pulses per mile that is to be programmed."""

from sim.messages._parts import shortened


def shown_not_read(*, text: str, problem: str) -> str:
    """Said when the speed to hold on the needle cannot be read."""
    return f"--shown {shortened(text)}: {problem}; write a speed such as 60mph or 95km/h"


def pulses(*, given: float, least: float, most: float) -> str:
    """Said when no controller takes a number of pulses per mile."""
    return (
        f"{given:g} pulses per mile cannot be programmed; allowed is {least:g} to {most:g}; work it out as teeth x axle ratio x"
        " tyre revolutions per mile"
    )


def entered_not_read(*, text: str) -> str:
    """Said when what is to be programmed is neither a number nor a product of three."""
    return (
        f'"{shortened(text)}" is no number of pulses per mile; write one such as 28100, or tyre revolutions per mile x axle'
        " ratio x teeth such as 523x3.36x16"
    )


def worn_not_read(*, text: str, problem: str) -> str:
    """Said when the tread that has worn cannot be read."""
    return f"--worn {shortened(text)}: {problem}; write a depth such as 8mm or 0.3in"


def worn_out_of_range(*, given_mm: float, most_mm: float) -> str:
    """Said when more tread is gone than a new tyre has to give."""
    return f"--worn {given_mm:g} mm; allowed is 0 to {most_mm:.0f} mm, the tread between a new tyre and the legal limit"


def worn_without_tyre() -> str:
    """Said when worn tread is to be allowed for in a number that says nothing of the tyre."""
    return (
        "--worn allows for the tread of a tyre: give --entered as tyre revolutions per mile x axle ratio x teeth, such as"
        " 523x3.36x16"
    )


def speed(*, given: float, least: float, most: float) -> str:
    """Said when a measured mile cannot be driven at a speed."""
    return f"a speed of {given:.0f} mi/h cannot be held for a measured mile; allowed is {least:.0f} to {most:.0f} mi/h"


def miles(*, given: float, least: float, most: float) -> str:
    """Said when the posts stand too near together or too far apart."""
    return f"{given:g} miles between the posts; allowed is {least:g} to {most:g}"


def entry(*, name: str, given: str) -> str:
    """Said when something entered after a measured mile is no number above zero."""
    return f'{shortened(name)}: "{shortened(given)}" is no number above 0; write a number such as 61.4'


def mystery_number(*, given: str, most: int) -> str:
    """Said when the number of a truck from another workshop is none."""
    return f"truck from another workshop, number {shortened(given)}; allowed is a whole number from 0 to {most}"


def posts_not_reached(*, shown_over_true: float) -> str:
    """Said when a truck kept to its needle does not come to the end of the road."""
    return (
        f"the needle shows {shown_over_true:.3g} times the true speed: who keeps to it does not come to the end of the road;"
        " change what is fitted (tyre, axle ratio, teeth) or the pulses per mile that are told"
    )
