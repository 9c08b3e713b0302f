"""What the Dyno page is sent for one run: everything in words, and columns that the browser draws as the run goes on.

Every line has a column for its place along the axis, one for its height and one for when it is known, in seconds of play. Parts
of a run that follow one another (two governors on a grade, each stage as it builds) are chapters on one line of time.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from dashboard.paper import palette
from dashboard.server.costs import costs, dyno_file_seconds, dyno_seconds
from dashboard.server.packing import meters_of, pack, si_name
from sim.dyno.gauges import gauges_table
from sim.dyno.lab import QUANTITIES, lab_entries, measured_values, read_predictions
from sim.dyno.result import DynoResult, plain, table_csv
from sim.dyno.words import summary_rows
from sim.inputs.one_trip import Inputs
from sim.march.records import LIMITERS
from sim.units import REVOLUTION_PER_MINUTE, key_to_si, shown_value, to_si, unit_of_key

MOST_ROWS = 2000  # of a chapter
CLOSE = 1e-6
GRADE_PACE = 10.0  # a road that rises by a percent in minutes is played so many times as fast
AIR = 0.06  # of the height of a plot
# what is read off at the cursor: column, name, kind of quantity, digits where they are not the usual ones
READINGS = (
    ("engine_speed", "engine speed", "engine speed", None), ("engine_torque", "torque", "torque", None),
    ("power", "power", "power", None), ("boost", "boost", "gauge pressure", None), ("fuel_rate", "fuel", "fuel rate", None),
    ("bsfc", "fuel per power", "specific fuel", None), ("actual_torque", "torque told", "share", None),
    ("load", "load told", "share", None), ("limiter", "limiter", "limiter", None),
)  # fmt: skip
ROLLER_READING = ("wheel_power", "at the rollers", "power", None)
GAUGES = (
    ("intake_depression", "intake restriction", "restriction", None),
    ("back_pressure", "exhaust back pressure", "restriction", None),
    ("charge_temperature", "behind the compressor", "temperature", None),
    ("intake_temperature", "behind the charge cooler", "temperature", None),
    ("exhaust_temperature", "exhaust before the turbine", "temperature", None),
    ("air_fuel_ratio", "air per fuel", "number", 1), ("opacity", "smoke, opacity", "share", 1),
    ("fuel_pressure", "fuel pressure", "gauge pressure", None), ("bubbles", "air in the fuel return", "share", 0),
    ("blow_by", "blow-by", "gas flow", None), ("oil_pressure", "oil pressure", "gauge pressure", None),
    ("coolant_temperature", "coolant", "temperature", None), ("oil_temperature", "oil", "temperature", None),
    ("absorber_torque", "absorber takes", "torque", None), ("active_cylinders", "cylinders retarding", "number", None),
)  # fmt: skip
# columns of the table of points: name, heading, kind of quantity, digits where they are not the usual ones
POINTS = (
    ("stage", "stage", "number", None), ("cylinder_cut", "cylinder cut out", "number", None),
    ("engine_speed", "engine", "engine speed", None), ("engine_torque", "torque", "torque", None),
    ("power", "power", "power", None), ("wheel_power", "at the rollers", "power", None),
    ("corrected_power", "corrected", "power", None),
    ("rated_torque", "rated", "torque", None), ("reference_wheel_power", "sound truck", "power", None),
    ("deviation", "off", "share", 1), ("fuel_rate", "fuel", "fuel rate", None), ("bsfc", "fuel per power", "specific fuel", None),
    ("boost", "boost", "gauge pressure", None), ("intake_depression", "intake restriction", "restriction", None),
    ("back_pressure", "exhaust back pressure", "restriction", None), ("intake_temperature", "charge air", "temperature", None),
    ("exhaust_temperature", "exhaust", "temperature", None), ("air_fuel_ratio", "air per fuel", "number", 1),
    ("opacity", "opacity", "share", 1), ("fuel_pressure", "fuel pressure", "gauge pressure", None),
    ("blow_by", "blow-by", "gas flow", None), ("actual_torque", "torque told", "share", None),
    ("friction_torque", "friction told", "share", None), ("load", "load told", "share", None),
    ("limiter", "limiter", "limiter", None), ("motoring_torque", "torque", "torque", None),
    ("motoring_power", "power", "power", None), ("expected_torque", "sound engine", "torque", None),
    ("retarding_torque", "torque", "torque", None), ("retarding_power", "power", "power", None),
    ("active_cylinders", "cylinders", "number", None), ("torque_lost", "torque lost", "share", 1),
)  # fmt: skip
KIND_OF_UNIT = {
    "n_m": "torque",
    "kw": "power",
    "g_kwh": "specific fuel",
    "kpa": "gauge pressure",
    "rpm": "engine speed",
}
STAGES = ("engine alone", "stage 1", "stage 2", "stage 3")
SPEED_AXIS, TIME_AXIS = ("engine speed", "engine speed"), ("time", "time")  # words, kind of quantity
TURN = to_si(100.0, "rpm")  # axes of engine speed begin and end at whole ones
FILES = ("report.html", "trace.csv", "points.csv", "gauges.csv", "dyno.json", "meters.csv")


@dataclass
class Sheet:
    """Plots and the columns they are drawn from, as they are put together."""

    plots: list[dict[str, Any]] = field(default_factory=list)
    columns: dict[str, np.ndarray] = field(default_factory=dict)
    chapters: list[dict[str, Any]] = field(default_factory=list)

    def put(self, name: str, values: Any) -> str:
        """Keeps a column in SI and gives its name, which says no unit."""
        self.columns[si_name(name)] = np.asarray(key_to_si(np.asarray(values, dtype=float), name), dtype=np.float32)  # type: ignore[arg-type]
        return si_name(name)

    def plot(
        self,
        title: str,
        kind: str,
        axis: tuple[str, str],
        lines: Sequence[Mapping[str, Any]],
        share: float = 1.0,
        floor: float | None = 0.0,
        **more: Any,
    ) -> None:
        """Adds a plot whose ends hold all its lines.

        Parameters
        ----------
        kind : str
            Of quantity, as `sim.units` names it.
        axis : tuple of str
            Words and kind of quantity of the axis along.
        lines : sequence of mapping
            As `_line` makes them; their columns are kept already.
        share : float
            Of the height, against the other plots.
        floor : float or None
            Lower end while nothing lies below it; None for that of the lines. [as the lines]
        **more : any
            Told to the browser as it is.
        """
        heights = [self.columns[line["y"]] for line in lines] + [
            self.columns[name] for line in lines for name in line.get("band", ())
        ]
        flat = np.concatenate([np.asarray(each, dtype=float) for each in heights])
        flat = flat[np.isfinite(flat)]
        low, high = (float(flat.min()), float(flat.max())) if len(flat) else (0.0, 1.0)
        least = 1.0 / (shown_value(1.0, kind, "metric") - shown_value(0.0, kind, "metric"))  # one as it is shown
        high = max(high, low + least)
        air = AIR * (high - low)
        places = np.concatenate([self.columns[line["x"]] for line in lines])
        places = places[np.isfinite(places)]
        reach = [float(places.min()), float(places.max())] if len(places) else [0.0, 1.0]
        if axis == SPEED_AXIS:
            reach = [TURN * np.floor(reach[0] / TURN + CLOSE), TURN * np.ceil(reach[1] / TURN - CLOSE)]
        over = 3.0 * air if any(line.get("bars") for line in lines) else air  # room for what is written over bars
        span = [low - air if floor is None or low < 0.0 else floor, high + over]
        self.plots.append(
            {
                "title": title, "kind": kind, "axis": list(axis), "reach": reach, "span": span, "share": share,
                "lines": list(lines), **more,
            }
        )  # fmt: skip

    @property
    def end(self) -> float:
        """When the last chapter ends. [s]"""
        return float(self.chapters[-1]["end"]) if self.chapters else 0.0

    def chapter(self, name: str, columns: Mapping[str, np.ndarray], prefix: str, pace: float = 1.0) -> None:
        """Adds a part of the run, its columns thinned, under a prefix.

        Parameters
        ----------
        name : str
            For people.
        columns : mapping of str to array
            With time_s.
        prefix : str
            Before the names of its columns.
        pace : float
            So many times as fast is it played.
        """
        columns = dict(columns)
        if "engine_torque_n_m" not in columns:
            columns["engine_torque_n_m"] = -columns["retarding_torque_n_m"]
        if "power_kw" not in columns:
            columns["power_kw"] = (
                columns["engine_torque_n_m"] * columns["engine_speed_rpm"] * REVOLUTION_PER_MINUTE / 1000.0
            )
        time = np.asarray(columns["time_s"], dtype=float)
        step = max(1, -(-len(time) // MOST_ROWS))
        rows = np.unique(np.append(np.arange(0, len(time), step), len(time) - 1))
        start = self.end
        self.put(f"{prefix}:play", start + (time[rows] - time[0]) / pace)
        wanted = {name for name, *_ in (*READINGS, *GAUGES, ROLLER_READING)}
        wanted |= {"grade", "time", "retarding_torque", "motoring_torque"}
        for key, values in columns.items():
            if si_name(key) in wanted:
                self.put(f"{prefix}:{key}", np.asarray(values)[rows])
        end = start + float(time[-1] - time[0]) / pace
        self.chapters.append({"name": name, "prefix": prefix, "start": start, "end": end, "begins_s": float(time[0])})


@costs(lambda inputs, *_: dyno_seconds(inputs))
def run_for_page(inputs: Inputs, test: str, key: str) -> bytes:
    """Makes a dyno run and packs what the page needs; runs in a worker.

    Parameters
    ----------
    inputs : Inputs
        Their road is not looked at.
    test : str
        Name of the test.
    key : str
        Content address of the question.

    Returns
    -------
    packed : bytes
        As `dashboard.server.packing.pack` makes it.

    Raises
    ------
    HaulbenchError
        The test cannot be made with these.
    """
    from sim.dyno.runs import run_dyno

    head, columns = answer_of(run_dyno(inputs.truck, inputs.settings, test))
    return pack({**head, "key": key}, columns)


@costs(lambda inputs, test, name, predicted: dyno_file_seconds(inputs, name))
def file_of(inputs: Inputs, test: str, name: str, predicted: Sequence[str]) -> bytes:
    """A whole file of a run, made anew: nothing is left out; runs in a worker.

    Parameters
    ----------
    test : str
        Name of the test.
    name : str
        One of `FILES`.
    predicted : sequence of str
        What a student predicts, `KEY=VALUE`.

    Raises
    ------
    HaulbenchError
        The test cannot be made, or a prediction is none of this test.
    """
    from sim.dyno.runs import run_dyno

    result = run_dyno(inputs.truck, inputs.settings, test)
    if name == "report.html":
        from dashboard.dyno.report import dyno_report

        return dyno_report(result, lab_entries(result, read_predictions(predicted, test))).encode()
    if name == "dyno.json":
        return result.json().encode()
    tables: dict[str, Mapping[str, Any]] = {
        "trace.csv": result.columns,
        "points.csv": result.points,
        "gauges.csv": gauges_table(result.summary["gauges"]),
    }
    return table_csv(tables.get(name, result.readings)).encode()


def answer_of(result: DynoResult) -> tuple[dict[str, Any], dict[str, np.ndarray]]:
    """Head and columns for the page.

    Returns
    -------
    head : dict
        Everything in words.
    columns : dict of str to array
        float32.
    """
    sheet = Sheet()
    drawn = {"full-load": _full_load, "governor": _governor, "motoring": _motoring, "retarding": _retarding,
             "cylinders": _cylinders}[result.test]  # fmt: skip
    (_aborted if result.summary["verdict"] == "aborted" else drawn)(sheet, result)
    turning = [plot for plot in sheet.plots if plot["axis"] == list(SPEED_AXIS)]
    for plot in turning:
        plot["shared"] = [min(each["reach"][0] for each in turning), max(each["reach"][1] for each in turning)]
    for plot in turning:
        plot["reach"] = plot.pop("shared")
    s, points = result.summary, result.points
    metric, us = summary_rows(result, "metric"), summary_rows(result, "us")
    for name, values in points.items():
        sheet.put(f"table:{name}", values)
    uncorrected = s.get("correction") == "none"
    table = [
        each
        for each in POINTS
        if f"table:{each[0]}" in sheet.columns and not (uncorrected and each[0] == "corrected_power")
    ]
    wheel = s["form"] == "chassis"
    readings = [*READINGS[:3], *([ROLLER_READING] if wheel else []), *READINGS[3:]]
    head = {
        "test": result.test,
        "verdict": s["verdict"],
        "reading": s["reading"],
        "truck": s["truck"],
        "form": s["form"],
        "warnings": s["warnings"],
        "decides": s["decides"],
        "events": s["events"],
        "judged": s["gauges"],
        "numbers": [[name, text, other] for (name, text), (_, other) in zip(metric, us, strict=True)],
        "found": plain({si_name(key): key_to_si(value, key) for key, value in measured_values(result).items()}),
        "predict": [_predicted(*row) for row in QUANTITIES[result.test]],
        "readings": [list(each) for each in readings],
        "gauges": [list(each) for each in GAUGES],
        "limiters": list(LIMITERS),
        "points": [list(each) for each in table],
        "plots": plain(sheet.plots),
        "chapters": sheet.chapters,
        "play_s": sheet.end,
        "codes": plain(s["codes"]),
        "meters": _meters(sheet, result),
    }  # fmt: skip
    return head, sheet.columns


def _predicted(key: str, name: str, tolerance: float, measure: str) -> list[Any]:
    """What may be predicted: key, name, kind of quantity; tolerance in SI, its measure and what kind of quantity that is; and
    for the address of the report the key of the summary, with factor and offset of its unit to SI.
    """
    unit, turning = unit_of_key(key), measure == "rpm"
    start = to_si(0.0, unit)
    size = [to_si(tolerance, "rpm" if turning else "percent"), measure, "engine speed" if turning else "share"]
    return [si_name(key), name, KIND_OF_UNIT.get(unit, "share"), *size, [key, to_si(1.0, unit) - start, start]]


def _meters(sheet: Sheet, result: DynoResult) -> list[dict[str, Any]]:
    """The meters that are on, and where their columns are."""
    if not result.readings:
        return []
    begins = sheet.chapters[0]["begins_s"]
    sheet.put("meters:play", result.readings["time_s"] - begins)
    for name, values in result.readings.items():
        if name not in ("time_s", "distance_m"):
            sheet.put(f"meters:{name}", values)
    return meters_of(result.settings, result.readings)


def _line(
    x: str, y: str, known: str, label: str, colour: str, dash: str = "solid", width: float = 2.2, **more: Any
) -> dict[str, Any]:
    """One line of a plot; `known` is the column of when it is known, empty for what is known from the start."""
    return {"x": x, "y": y, "play": known, "label": label, "colour": colour, "dash": dash, "width": width, **more}


def _band(
    sheet: Sheet, name: str, x: np.ndarray, y: np.ndarray, unit: str, percent: float, label: str
) -> dict[str, Any]:
    """A reference over engine speed in rpm with the band around it."""
    ends = [
        sheet.put(f"{name}:{side}_{unit}", y * (1.0 + sign * percent / 100.0))
        for side, sign in (("low", -1.0), ("high", 1.0))
    ]
    return _line(sheet.put(f"{name}:x_rpm", x), sheet.put(f"{name}:y_{unit}", y), "", label, palette.BLUE, "dash", band=ends,
                 band_label=f"band {percent:g} %")  # fmt: skip


def _when_read(speeds: np.ndarray, columns: Mapping[str, np.ndarray]) -> np.ndarray:
    """When a run down passes speeds, in seconds from its start."""
    turning, time = columns["engine_speed_rpm"], columns["time_s"] - columns["time_s"][0]
    return np.array([float(time[int(np.argmax(turning <= speed + CLOSE))]) if (turning <= speed + CLOSE).any() else np.nan
                     for speed in speeds])  # fmt: skip


def _full_load(sheet: Sheet, result: DynoResult) -> None:
    """Torque, power, fuel per power and boost over engine speed, as they come."""
    from sim.dyno.full_load import rated_curve

    s, points, columns, dyno = result.summary, result.points, result.columns, result.settings.dyno
    sheet.chapter("the run", columns, "run")
    wheel, steps = s["form"] == "chassis", dyno.step_rpm > 0.0
    rated = rated_curve(result.truck)
    when = points["time_s"] - columns["time_s"][0] if steps else _when_read(points["engine_speed_rpm"], columns)
    x, known = sheet.put("points:x_rpm", points["engine_speed_rpm"]), sheet.put("points:play", when)

    def lines(name: str, label: str, colour: str = palette.BLACK, main: bool = True) -> list[dict[str, Any]]:
        measured = (
            [] if steps else [_line("run:engine_speed", f"run:{si_name(name)}", "run:play", label, colour, main=main)]
        )
        dots = _line(
            x,
            sheet.put(f"points:{name}", points[name]),
            known,
            "read",
            colour,
            dots=True,
            joined=steps,
            main=main and steps,
        )
        return [*measured, dots]

    torque, power = (
        lines("engine_torque_n_m", "measured"),
        lines("power_kw", "at the flywheel" if wheel else "measured"),
    )
    turning = rated["engine_speed_rpm"]
    torque.insert(0, _band(sheet, "rated_torque", turning, rated["torque_n_m"], "n_m", dyno.band_percent, "rated"))
    if wheel:
        order = np.argsort(points["engine_speed_rpm"])
        power[0] |= {"colour": palette.GREEN, "dash": "dot"}
        sound = _band(sheet, "sound", points["engine_speed_rpm"][order], points["reference_wheel_power_kw"][order], "kw",
                      dyno.band_percent, "sound truck")  # fmt: skip
        power = [sound, *power[:1], *lines("wheel_power_kw", "at the rollers")]
        torque[0].pop("band"), torque[0].pop("band_label")
    else:
        power.insert(0, _band(sheet, "rated_power", turning, rated["power_kw"], "kw", dyno.band_percent, "rated"))
    sheet.plot("Torque", "torque", SPEED_AXIS, torque, 1.5)
    sheet.plot("Power", "power", SPEED_AXIS, power, 1.3)
    bsfc = sheet.columns.get("run:bsfc")
    if bsfc is not None:
        least, more = to_si(100.0, "g_kwh"), to_si(60.0, "g_kwh")
        lowest = float(np.nanmin(bsfc)) if np.isfinite(bsfc).any() else least
        sheet.put("run:bsfc_shown", np.where((bsfc >= least) & (bsfc < lowest + more), bsfc, np.nan))
        fuel = _line("run:engine_speed", "run:bsfc_shown", "run:play", "fuel per power", palette.PURPLE, main=True)
        sheet.plot("Fuel per power", "specific fuel", SPEED_AXIS, [fuel], 0.8, floor=None)
    boost = _line("run:engine_speed", "run:boost", "run:play", "boost", palette.GREEN, main=True)
    sheet.plot("Boost", "gauge pressure", SPEED_AXIS, [boost], 0.8)


def _aborted(sheet: Sheet, result: DynoResult) -> None:
    """Engine speed, torque and temperatures in time, up to where the run was broken off."""
    sheet.chapter("up to the limit", result.columns, "run")
    for title, key, kind, colour in (
        ("Engine speed", "engine_speed", "engine speed", palette.BLACK),
        ("Torque", "engine_torque", "torque", palette.VERMILLION),
        ("Exhaust before the turbine", "exhaust_temperature", "temperature", palette.PURPLE),
        ("Coolant", "coolant_temperature", "temperature", palette.BLUE),
    ):
        line = _line("run:play", f"run:{key}", "run:play", title.lower(), colour, main=True)
        sheet.plot(title, kind, TIME_AXIS, [line], floor=None)


def _governor(sheet: Sheet, result: DynoResult) -> None:
    """Engine speed and load in time, the speeds that are read, then two governors on a grade."""
    s = result.summary
    sheet.chapter("load off, load on, idle", result.columns, "run")
    for kind, columns in result.sets.items():
        sheet.chapter(f"{kind} governor on a rising road ({GRADE_PACE:g} times as fast)", columns, kind, GRADE_PACE)
    speed = [_line("run:play", "run:engine_speed", "run:play", "engine speed", palette.BLACK, main=True)]
    levels = (("N1 loaded", "loaded_rpm"), ("N2 highest", "highest_rpm"), ("N3 settled", "settled_rpm"),
              ("N5 lowest", "lowest_rpm"), ("N6 under load", "under_load_rpm"))  # fmt: skip
    span = np.array([0.0, sheet.chapters[0]["end"]])
    turning, play = sheet.columns["run:engine_speed"], sheet.columns["run:play"]
    after = 0.0
    for number, (label, key) in enumerate(levels):
        colour, dash = palette.line_of(number + 1)
        reached = np.flatnonzero((np.abs(turning - to_si(s[key], "rpm")) < to_si(3.0, "rpm")) & (play >= after))
        after = float(play[reached[0]]) if len(reached) else after
        known = sheet.put(f"level{number}:play", [after, after])
        x, y = sheet.put(f"level{number}:x", span), sheet.put(f"level{number}:y_rpm", [s[key], s[key]])
        speed.append(_line(x, y, known, f"{label} {s[key]:.0f}", colour, dash, 1.6))
    sheet.plot("Engine speed", "engine speed", TIME_AXIS, speed, 1.4, floor=None, chapter=0)
    load = _line("run:play", "run:absorber_torque", "run:play", "absorber", palette.VERMILLION, main=True)
    sheet.plot("Load", "torque", TIME_AXIS, [load], 0.7, floor=None, chapter=0)
    for title, key, kind in (("Engine speed on a rising road, pedal still", "engine_speed", "engine speed"),
                             ("Torque on a rising road, pedal still", "engine_torque", "torque")):  # fmt: skip
        both = []
        for number, name in enumerate(result.sets):
            colour, dash = palette.line_of(number)
            both.append(_line(f"{name}:grade", f"{name}:{key}", f"{name}:play", name, colour, dash, main=True))
        sheet.plot(title, kind, ("grade", "grade"), both, 0.9)


def _motoring(sheet: Sheet, result: DynoResult) -> None:
    """Torque and power to turn the engine."""
    points, columns = result.points, dict(result.columns)
    columns["motoring_torque_n_m"] = -columns["engine_torque_n_m"]
    sheet.chapter("the run", columns, "run")
    x = sheet.put("points:x_rpm", points["engine_speed_rpm"])
    known = sheet.put("points:play", _when_read(points["engine_speed_rpm"], columns))
    sound = _band(sheet, "sound", points["engine_speed_rpm"], points["expected_torque_n_m"], "n_m",
                  result.settings.dyno.band_percent, "sound engine")  # fmt: skip
    swept = _line("run:engine_speed", "run:motoring_torque", "run:play", "measured", palette.BLACK, main=True)
    read = _line(x, sheet.put("points:torque", points["motoring_torque_n_m"]), known, "read", palette.BLACK, dots=True)
    sheet.plot("Torque to turn the engine", "torque", SPEED_AXIS, [sound, swept, read], 1.2)
    power = _line(
        x,
        sheet.put("points:power_kw", points["motoring_power_kw"]),
        known,
        "read",
        palette.BLACK,
        dots=True,
        joined=True,
        main=True,
    )
    sheet.plot("Power to turn it", "power", SPEED_AXIS, [power], 0.9)


def _retarding(sheet: Sheet, result: DynoResult) -> None:
    """Retarding torque and power by stage as they settle, then each stage as it builds."""
    from sim.dyno.retarding import SETTLE

    points, columns = result.points, dict(result.columns)
    stages = list(dict.fromkeys(points["stage"]))
    rows = len(columns["time_s"]) // len(stages)
    step = float(columns["time_s"][1] - columns["time_s"][0])
    columns["time_s"] = step * np.arange(len(columns["time_s"]))
    sheet.chapter("stage by stage, speed by speed", columns, "run")
    for name, built in result.sets.items():
        sheet.chapter(f"{name} as it builds", built, name)
    torque, power = [], []
    for place, stage in enumerate(stages):
        mine, colour = points["stage"] == stage, palette.STAGE_COLOURS[int(stage)]
        count = int(mine.sum())
        first = rows * step - SETTLE * count  # the engine is brought to speed before
        known = sheet.put(f"stage{place}:play", place * rows * step + first + SETTLE * np.arange(1, count + 1) - step)
        x = sheet.put(f"stage{place}:x_rpm", points["engine_speed_rpm"][mine])
        style: dict[str, Any] = {"dash": palette.STAGE_DASHES[int(stage)], "dots": True, "joined": True, "main": True}
        torque.append(
            _line(
                x,
                sheet.put(f"stage{place}:torque", points["retarding_torque_n_m"][mine]),
                known,
                STAGES[int(stage)],
                colour,
                **style,
            )
        )
        power.append(
            _line(
                x,
                sheet.put(f"stage{place}:power_kw", points["retarding_power_kw"][mine]),
                known,
                STAGES[int(stage)],
                colour,
                **style,
            )
        )
    sheet.plot("Retarding torque", "torque", SPEED_AXIS, torque, 1.2)
    sheet.plot("Retarding power", "power", SPEED_AXIS, power, 1.2)
    building = []
    for name in result.sets:
        stage = int(name.split()[-1])
        building.append(_line(f"{name}:time", f"{name}:retarding_torque", f"{name}:play", name, palette.STAGE_COLOURS[stage],
                              palette.STAGE_DASHES[stage], main=True))  # fmt: skip
    if building:
        sheet.plot("Retarding torque from the call on", "torque", ("time since the call", "time"), building, 0.9)


def _cylinders(sheet: Sheet, result: DynoResult) -> None:
    """Torque in time as one cylinder after the other is cut out, and what each gave."""
    from sim.dyno.retarding import CUT_TIME

    points = result.points
    sheet.chapter("cylinder by cylinder", result.columns, "run")
    pulled = _line("run:play", "run:engine_torque", "run:play", "torque", palette.BLACK, main=True)
    sheet.plot("Torque", "torque", TIME_AXIS, [pulled], 1.0)
    number = len(points["cylinder_cut"]) - 1
    known = sheet.put("bars:play", CUT_TIME * (2.0 + 2.0 * np.arange(number)) - 0.1)
    x = sheet.put("bars:x", points["cylinder_cut"][1:])
    y = sheet.put("bars:y_percent", points["torque_lost_percent"][1:])
    sheet.plot("Torque lost", "share", ("cylinder cut out", "number"),
               [_line(x, y, known, "torque lost", palette.BLUE, bars=True, main=True)], 0.9)  # fmt: skip
