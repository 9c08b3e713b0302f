"""Where the energy of a trip went."""

import plotly.graph_objects as go

from dashboard.paper import palette
from dashboard.paper.panels import INK, TERMS, axis, base_layout
from sim.trips.books import SPENT_TERMS, energy_words
from sim.trips.result import Result

# ---------------------------------------------------------------- energy


def energy_shares(result: Result) -> list[tuple[str, float, float]]:
    """Where the energy went: each term of the work book, largest first.

    Returns
    -------
    terms : list of (str, float, float)
        Name in words, energy, share of what was supplied; terms of nothing are left out. [-, J, -]
    """
    book = result.summary["energy"]
    supplied = supplied_energy(result)
    found = [(TERMS[name], book[name]) for name in SPENT_TERMS]
    found.append((energy_words("kinetic_at_end"), book["kinetic_at_end"]))
    found.append((energy_words("height_gained"), max(-book["height_given_up"], 0.0)))
    scale = 1.0 / supplied if supplied > 0.0 else 0.0
    return sorted(
        ((name, value, value * scale) for name, value in found if abs(value) > 1.0), key=lambda term: -term[1]
    )


def _percent(share: float) -> str:
    """A share in words."""
    return f"{100.0 * share:.1f} %" if abs(share) >= 0.0005 else "below 0.1 %"


def supplied_energy(result: Result) -> float:
    """Fuel, height given up and speed at the start.

    Returns
    -------
    energy : float
        [J]
    """
    book = result.summary["energy"]
    return float(book["fuel"] + max(book["height_given_up"], 0.0) + book["kinetic_at_start"])


def energy_figure(result: Result) -> go.Figure:
    """Where the energy went, as bars."""
    terms = energy_shares(result)[::-1]
    values = [value / 1e6 for _, value, _ in terms]
    bars = {
        "type": "bar", "orientation": "h", "x": values, "y": [name for name, _, _ in terms],
        "text": [f"{value / 1e6:.3g} MJ, {_percent(share)}" for _, value, share in terms], "textposition": "outside",
        "cliponaxis": False, "marker": {"color": palette.BLUE, "line": {"color": INK, "width": 1}},
        "hovertemplate": "%{y}: %{text}<extra></extra>", "name": "energy", "showlegend": False,
    }  # fmt: skip
    small = {"size": 11}
    layout = base_layout(90 + 26 * max(len(terms), 1))
    most = max([*values, 1e-3])
    layout |= {
        "xaxis": axis(title={"text": "MJ"}, range=(min([*values, 0.0]), 1.3 * most), automargin=False, tickfont=small),
        "yaxis": axis(showgrid=False, automargin=False, tickfont=small),
        "margin": {"t": 10, "b": 52, "l": 190, "r": 20},
    }
    return go.Figure({"data": [bars], "layout": layout})
