"""Colours and dashes that colour-blind readers and grey printers can tell apart.

The colours are those of Okabe and Ito that stand out from white by at least 3 to 1; orange, sky blue and yellow of that set
do not and are left out. Every line that shares a panel also differs by its dash or its width.

References
----------
[1] M. Okabe and K. Ito, "Color Universal Design (CUD): How to make figures and presentations that are friendly to
    colorblind people", 2002, modified 2008, section 10 (published, seen second-hand).
[2] Web Content Accessibility Guidelines 2.2, W3C, 2023: relative luminance and contrast ratio (1.4.3: 4.5 to 1 for text,
    1.4.11: 3 to 1 for lines).
"""

BLACK = "#000000"
BLUE = "#0072B2"
VERMILLION = "#D55E00"
GREEN = "#009E73"
PURPLE = "#CC79A7"
GREY = "#6B6B6B"  # of no published set: for what is not the subject, such as the road that was not driven

LINES = (BLUE, VERMILLION, BLACK, GREEN, PURPLE)
DASHES = ("solid", "dash", "dot", "dashdot", "longdash", "longdashdot")
STAGE_COLOURS = (BLACK, GREEN, BLUE, VERMILLION)
STAGE_DASHES = ("dot", "dashdot", "dash", "solid")
STAGE_WIDTHS = (1.5, 3.0, 4.5, 6.5)
STAGE_SYMBOLS = ("circle", "square", "diamond", "triangle-up")


def line_of(number: int) -> tuple[str, str]:
    """Colour and dash of one of many lines: no two of the first thirty are alike.

    Parameters
    ----------
    number : int
        From 0.

    Examples
    --------
    >>> line_of(0), line_of(1)
    (('#0072B2', 'solid'), ('#D55E00', 'dash'))
    >>> len({line_of(number) for number in range(30)})
    30
    """
    turn, place = divmod(number, len(LINES))
    return LINES[place], DASHES[(place + turn) % len(DASHES)]


def luminance(colour: str) -> float:
    """Relative luminance of a colour [2].

    Parameters
    ----------
    colour : str
        As `#RRGGBB`.

    Returns
    -------
    luminance : float
        0 black to 1 white.

    Examples
    --------
    >>> luminance("#FFFFFF"), luminance("#000000")
    (1.0, 0.0)
    """
    shares = [int(colour[place : place + 2], 16) / 255.0 for place in (1, 3, 5)]
    linear = [share / 12.92 if share <= 0.04045 else ((share + 0.055) / 1.055) ** 2.4 for share in shares]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def contrast(one: str, other: str = "#FFFFFF") -> float:
    """Contrast ratio of two colours [2].

    Parameters
    ----------
    one : str
        As `#RRGGBB`.
    other : str
        As `#RRGGBB`.

    Returns
    -------
    ratio : float
        1 to 21.

    Examples
    --------
    >>> contrast("#000000")
    21.0
    """
    light, dark = sorted((luminance(one), luminance(other)), reverse=True)
    return (light + 0.05) / (dark + 0.05)
