"""Figures of a dyno run: pure functions of columns, so that a page can draw them again as a run goes on.

Every panel reads in metric units on its left and, where there is one, in US units on its right.
"""

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
import plotly.graph_objects as go

from dashboard.paper import palette
from dashboard.paper.panels import (
    BOOST,
    FUEL,
    INK,
    POWER,
    TORQUE,
    Line,
    Panel,
    axis,
    base_layout,
    over,
    span_of_lines,
    stroke,
)
from dashboard.server.thinning import thinned_rows
from sim.dyno.full_load import rated_curve
from sim.dyno.result import DynoResult

Columns = Mapping[str, np.ndarray]

BACK_UP = 100.0  # rpm above its lowest speed, from where a run is on its way up again
MOST_POINTS = 1500  # of a line
BAND_FILL = "rgba(0,114,178,0.16)"
SPEED_AXIS = "engine speed, rpm"
STAGE_NAMES = ("engine alone", "stage 1", "stage 2", "stage 3")


def _line(x: np.ndarray, y: np.ndarray, name: str, unit: str, colour: str, dash: str = "solid", **more: Any) -> Line:
    """One line; what is not a number leaves a gap."""
    hover = f"%{{x:.0f}}: %{{y:.{more.pop('digits', 0)}f}} {unit}<extra>{name}</extra>"
    return stroke(x, y, name, colour, dash, **{"hovertemplate": hover, **more})


def _band(x: np.ndarray, y: np.ndarray, percent: float, name: str, unit: str, reference: str) -> list[Line]:
    """A reference curve with the band around it, to lie behind what was measured."""
    low, high = y * (1.0 - percent / 100.0), y * (1.0 + percent / 100.0)
    area = _line(np.append(x, x[::-1]), np.append(high, low[::-1]), f"band {percent:g} %", unit, palette.BLUE, width=0)
    area |= {"fill": "toself", "fillcolor": BAND_FILL, "hoverinfo": "skip", "hovertemplate": None, "name": name}
    return [area, _line(x, y, reference, unit, palette.BLUE, "dash", width=2.2)]


def _measured(columns: Columns, name: str, shown: str, unit: str, **more: Any) -> Line:
    """What was measured, over engine speed, in the order of the run."""
    colour = more.pop("colour", palette.BLACK)
    rows = thinned_rows(np.nan_to_num(columns[name]), np.array([], dtype=int), MOST_POINTS)
    return _line(columns["engine_speed_rpm"][rows], columns[name][rows], shown, unit, colour, **more)


def _there_and_back(columns: Columns, name: str, shown: str, unit: str, **more: Any) -> list[Line]:
    """What was measured, the way back up on a line of its own, so that a loop shows which way it was driven."""
    speed = columns["engine_speed_rpm"]
    turned = int(np.nanargmin(speed))
    if float(speed[-1] - speed[turned]) < BACK_UP or turned == 0:
        return [_measured(columns, name, shown, unit, **more)]
    down = {key: columns[key][: turned + 1] for key in ("engine_speed_rpm", name)}
    up = {key: columns[key][turned:] for key in ("engine_speed_rpm", name)}
    back = {**more, "colour": palette.VERMILLION, "dash": "dashdot"}
    return [
        _measured(down, name, f"{shown}, down", unit, **more),
        _measured(up, name, f"{shown}, up again", unit, **back),
    ]


def _dots(points: Columns, name: str, unit: str, digits: int = 0) -> Line:
    """Points that were read."""
    dots = _line(points["engine_speed_rpm"], points[name], "read", unit, palette.BLACK, digits=digits)
    return dots | {
        "mode": "markers",
        "marker": {"size": 8, "symbol": "circle-open", "line": {"width": 2}, "color": palette.BLACK},
    }


def full_load_figure(
    columns: Columns, reference: Columns, band_percent: float, points: Columns | None = None, wheel: bool = False
) -> go.Figure:
    """Torque, power, fuel and boost against engine speed, the rated curve and its band behind.

    Parameters
    ----------
    columns : mapping of str to array
        The run so far.
    reference : mapping of str to array
        engine_speed_rpm with torque_n_m and power_kw, or with wheel_power_kw on rollers.
    band_percent : float
        [%]
    points : mapping of str to array or None
        Points read so far.
    wheel : bool
        Power at the rollers is what is judged.
    """
    turning, band = reference["engine_speed_rpm"], f"band {band_percent:g} %"
    power = "wheel_power_kw" if wheel else "power_kw"
    torque_lines = _there_and_back(columns, "engine_torque_n_m", "measured", "N m")
    power_lines = _there_and_back(columns, power, "at the rollers" if wheel else "measured", "kW")
    if wheel:
        power_lines.insert(0, _measured(columns, "power_kw", "at the flywheel", "kW", colour=palette.GREEN, dash="dot"))
        power_lines = _band(turning, reference[power], band_percent, band, "kW", "sound truck") + power_lines
        torque_lines.insert(0, _line(turning, reference["torque_n_m"], "rated", "N m", palette.BLUE, "dash", width=2.2))
    else:
        torque_lines = _band(turning, reference["torque_n_m"], band_percent, band, "N m", "rated") + torque_lines
        power_lines = _band(turning, reference["power_kw"], band_percent, band, "kW", "rated") + power_lines
    if points is not None:
        if not wheel:
            torque_lines.append(_dots(points, "engine_torque_n_m", "N m"))
        power_lines.append(_dots(points, power, "kW"))
    bsfc = [_measured(columns, "bsfc_g_kwh", "fuel per power", "g/kWh", digits=1, colour=palette.PURPLE)]
    bsfc[0]["y"] = np.where(bsfc[0]["y"] > 100.0, bsfc[0]["y"], np.nan)
    fuel = [_measured(columns, "fuel_rate_g_s", "fuel", "g/s", digits=2, colour=palette.PURPLE)]
    boost = _there_and_back(columns, "boost_kpa", "boost", "kPa", colour=palette.GREEN)
    low = float(np.nanmin(bsfc[0]["y"])) if np.isfinite(bsfc[0]["y"]).any() else 190.0
    panels = [
        Panel("Torque, N m", 1.6, span_of_lines(torque_lines, 1.0, 0.0), torque_lines, TORQUE),
        Panel("Power, kW", 1.4, span_of_lines(power_lines, 1.0, 0.0), power_lines, POWER),
        Panel("Fuel per power, g/kWh", 0.9, (low - 5.0, low + 60.0), bsfc),
        Panel("Fuel, g/s", 0.8, span_of_lines(fuel, 1.0, 0.0), fuel, FUEL),
        Panel("Boost, kPa", 0.9, span_of_lines(boost, 1.0, 0.0), boost, BOOST),
    ]
    return over(panels, _speeds([columns, reference]), SPEED_AXIS, 880, unified=False)


def _speeds(sets: Sequence[Columns]) -> tuple[float, float]:
    """Ends of the axis of engine speed."""
    low = min(float(np.nanmin(each["engine_speed_rpm"])) for each in sets)
    high = max(float(np.nanmax(each["engine_speed_rpm"])) for each in sets)
    return np.floor(low / 100.0) * 100.0, np.ceil((high + 1.0) / 100.0) * 100.0


def motoring_figure(points: Columns, band_percent: float) -> go.Figure:
    """Torque and power to turn the engine, what a sound one takes behind.

    Parameters
    ----------
    points : mapping of str to array
        Of a motoring run.
    band_percent : float
        [%]
    """
    turning = points["engine_speed_rpm"]
    torque = _band(
        turning, points["expected_torque_n_m"], band_percent, f"band {band_percent:g} %", "N m", "sound engine"
    )
    torque.append(_measured(points, "motoring_torque_n_m", "measured", "N m"))
    power = [_measured(points, "motoring_power_kw", "measured", "kW", digits=1)]
    panels = [
        Panel("Torque to turn the engine, N m", 1.3, span_of_lines(torque, 1.0, 0.0), torque, TORQUE),
        Panel("Power to turn it, kW", 1.0, span_of_lines(power, 1.0, 0.0), power, POWER),
    ]
    return over(panels, _speeds([points]), SPEED_AXIS, 620, unified=False)


def retarding_figure(points: Columns) -> go.Figure:
    """Settled retarding torque and power by stage over engine speed.

    Parameters
    ----------
    points : mapping of str to array
        Of a retarding run.
    """
    torque, power = [], []
    for stage in range(4):
        mine = points["stage"] == stage
        if not mine.any():
            continue
        style = {"colour": palette.STAGE_COLOURS[stage], "dash": palette.STAGE_DASHES[stage]}
        one = {name: values[mine] for name, values in points.items()}
        torque.append(_measured(one, "retarding_torque_n_m", STAGE_NAMES[stage], "N m", **style))
        power.append(_measured(one, "retarding_power_kw", STAGE_NAMES[stage], "kW", **style))
    panels = [
        Panel("Retarding torque, N m", 1.0, span_of_lines(torque, 1.0, 0.0), torque, TORQUE),
        Panel("Retarding power, kW", 1.0, span_of_lines(power, 1.0, 0.0), power, POWER),
    ]
    return over(panels, _speeds([points]), SPEED_AXIS, 700, unified=False)


def build_up_figure(sets: Mapping[str, Columns]) -> go.Figure:
    """Retarding torque and boost of each stage from its call on.

    Parameters
    ----------
    sets : mapping of str to mapping
        By the name of the stage.
    """
    torque, boost = [], []
    for name, columns in sets.items():
        stage = int(name.split()[-1])
        colour, dash = palette.STAGE_COLOURS[stage], palette.STAGE_DASHES[stage]
        torque.append(_line(columns["time_s"], columns["retarding_torque_n_m"], name, "N m", colour, dash))
        boost.append(_line(columns["time_s"], columns["boost_kpa"], name, "kPa", colour, dash))
    end = max(float(columns["time_s"][-1]) for columns in sets.values())
    panels = [
        Panel("Retarding torque, N m", 1.2, span_of_lines(torque, 1.0, 0.0), torque, TORQUE),
        Panel("Boost, kPa", 0.8, span_of_lines(boost, 1.0, 0.0), boost, BOOST),
    ]
    return over(panels, (0.0, end), "time since the call, s", 560, unified=False)


def speed_figure(columns: Columns, levels: Mapping[str, float]) -> go.Figure:
    """Engine speed over the governor tests, with the speeds that were read.

    Parameters
    ----------
    columns : mapping of str to array
        The run so far.
    levels : mapping of str to float
        Name and engine speed of each. [rpm]
    """
    rows = thinned_rows(columns["engine_speed_rpm"], np.array([], dtype=int), MOST_POINTS)
    time = columns["time_s"][rows]
    speed = [_line(time, columns["engine_speed_rpm"][rows], "engine speed", "rpm", palette.BLACK)]
    for number, (name, level) in enumerate(levels.items()):
        colour, dash = palette.line_of(number + 1)
        ends = np.array([float(time[0]), float(time[-1])])
        speed.append(_line(ends, np.array([level, level]), f"{name} {level:.0f}", "rpm", colour, dash, width=1.4))
    torque = [_line(time, columns["absorber_torque_n_m"][rows], "absorber", "N m", palette.VERMILLION)]
    panels = [
        Panel("Engine speed, rpm", 1.5, span_of_lines(speed, 1.0), speed),
        Panel("Load, N m", 0.8, span_of_lines(torque, 100.0), torque, TORQUE),
    ]
    return over(panels, (float(time[0]), float(time[-1])), "time, s", 640, unified=False)


def grade_figure(sets: Mapping[str, Columns]) -> go.Figure:
    """Two kinds of governor on a road that rises, pedal held still.

    Parameters
    ----------
    sets : mapping of str to mapping
        By the kind of governor.
    """
    speed, torque = [], []
    for number, (kind, columns) in enumerate(sets.items()):
        colour, dash = palette.line_of(number)
        speed.append(_line(columns["grade_percent"], columns["engine_speed_rpm"], kind, "rpm", colour, dash))
        torque.append(_line(columns["grade_percent"], columns["engine_torque_n_m"], kind, "N m", colour, dash))
    end = max(float(columns["grade_percent"].max()) for columns in sets.values())
    panels = [
        Panel("Engine speed, rpm", 1.0, span_of_lines(speed, 1.0, 0.0), speed),
        Panel("Torque, N m", 1.0, span_of_lines(torque, 1.0, 0.0), torque, TORQUE),
    ]
    return over(panels, (0.0, end), "grade, %", 560, unified=False)


def cylinder_figure(points: Columns) -> go.Figure:
    """Torque lost with each cylinder cut out.

    Parameters
    ----------
    points : mapping of str to array
        Of a cut-out test.
    """
    names = [f"{cylinder:.0f}" for cylinder in points["cylinder_cut"][1:]]
    lost = np.asarray(points["torque_lost_percent"][1:], dtype=np.float32)
    layout = base_layout(380)
    layout["xaxis"] = axis(type="category", title={"text": "cylinder cut out"})
    layout["yaxis"] = axis(title={"text": "torque lost, %"})
    layout["margin"] = {"t": 24, "b": 52, "l": 66, "r": 66}
    bars = {
        "type": "bar", "x": names, "y": lost, "marker": {"color": palette.BLUE, "line": {"color": INK, "width": 1}},
        "text": [f"{value:.1f}" for value in lost], "textposition": "outside", "cliponaxis": False, "name": "torque lost",
        "hovertemplate": "cylinder %{x}: %{y:.1f} %<extra></extra>",
    }  # fmt: skip
    return go.Figure({"data": [bars], "layout": layout})


def dyno_figures(result: DynoResult) -> dict[str, go.Figure]:
    """The figures of a dyno run, by their names in the report."""
    s, points, band = result.summary, result.points, result.settings.dyno.band_percent
    if s["verdict"] == "aborted":
        return {"aborted": speed_figure(result.columns, {})}
    if result.test == "full-load":
        reference: dict[str, np.ndarray] = dict(rated_curve(result.truck))
        wheel = s["form"] == "chassis"
        if wheel:
            order = np.argsort(points["engine_speed_rpm"])
            turning = np.round(points["engine_speed_rpm"][order])
            reference = {
                "engine_speed_rpm": turning,
                "torque_n_m": np.interp(turning, reference["engine_speed_rpm"], reference["torque_n_m"], right=np.nan),
                "wheel_power_kw": points["reference_wheel_power_kw"][order],
            }
        # of settled steps the way from one to the next says nothing
        drawn = points if result.settings.dyno.step_rpm else result.columns
        return {"curve": full_load_figure(drawn, reference, band, points, wheel)}
    if result.test == "governor":
        levels = {
            "N1": s["loaded_rpm"], "N2": s["highest_rpm"], "N3": s["settled_rpm"], "N5": s["lowest_rpm"], "N6": s["under_load_rpm"],
        }  # fmt: skip
        return {"speeds": speed_figure(result.columns, levels), "grade": grade_figure(result.sets)}
    if result.test == "motoring":
        return {"motoring": motoring_figure(points, band)}
    if result.test == "retarding":
        return {"retarding": retarding_figure(points), "build": build_up_figure(result.sets)}
    return {"cylinders": cylinder_figure(points)}
