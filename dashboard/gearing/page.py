"""The Gearing page: two to six ways to gear a truck, driven over one road, and the charts a gearing handbook has."""

import json
import secrets
from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

import dash
from dash import Input, Output, dcc, html

from dashboard.panel import controls, ids
from dashboard.panel.attributes import attributes
from dashboard.panel.choices import LONGEST_TEXT, MOST_CHOICES, STEPS, choices_from, cruise_speed, setups_of
from dashboard.panel.pieces import answering, card, drawn, graph, refused, waiting_place, wide
from dashboard.paper import palette
from dashboard.server.runs import Workshop, key_for
from dashboard.server.setups import Setup, chosen_units, read_setup, setup_of, with_usual
from sim.charts.gearing import STARTABILITY_WANTED, TOP_GEAR_GRADES_WANTED
from sim.errors import HaulbenchError, SettingsError
from sim.laws.engine import WARM_OIL
from sim.messages import browser as say
from sim.units import POUND, clock_time, from_si, shown_unit, shown_value, to_si
from sim.wording import said

if TYPE_CHECKING:
    from dashboard.gearing.work import ChoiceAnswer

TITLE = "Gearing"
PATH = "/gearing"

CHOICES = "gearing-choices"  # store: the choices as text
SHOWN = "gearing-shown"  # store: which choice the charts are for, from 1
RESULTS = "gearing-results"
CHARTS = "gearing-charts"
STATE = "gearing-state"
USUAL = {"truck": "long-haul-manual", "road": "ollen-pass", "settings": "defaults"}
GROUPS = {
    "Load and air": ("vehicle.mass_kg", "vehicle.drag_area_m2", "weather.temperature_c", "weather.wind_m_s"),
    "How it is driven": ("cruise.set_speed_km_h", "road_speed.limit_km_h", "driver.speed_limit_share",
                         "shifting.upshift_rpm", "shifting.full_load_upshift_rpm"),
}  # fmt: skip
HEIGHT_WORTH_A_NOTE = 5.0  # m between the ends of a road
MOST_POINTS = 6000  # of all lines of one strip
NAMED_GRADE = 0.06  # for the climb in the table
CHOICE_OF_NONE = "-"


def layout(query: dict[str, Any]) -> html.Div:
    """The page.

    Parameters
    ----------
    query : dict
        Of its address; `choices` are the choices.
    """
    choices = str(query.get("choices", ""))[:LONGEST_TEXT]
    asked = {
        "store": CHOICES, "page": "gearing", "text": choices, "most": MOST_CHOICES, "steps": list(STEPS),
        "styles": [list(palette.line_of(number)) for number in range(MOST_CHOICES)], "shown": SHOWN,
    }  # fmt: skip
    panel = controls.panel("gearing", GROUPS, with_usual(query["?"], USUAL), start_with=("truck", "road", "settings"))
    editor = card(
        "Choices",
        dcc.Store(id=CHOICES, data=choices),
        html.Div(id="gearing-editor", **attributes(data_choices=json.dumps(asked))),
        kind="choices",
        label="Choices",
    )
    picks = [
        html.H2("Handbook charts"),
        html.Fieldset(id="gearing-picks", className="of-choice"),
        dcc.Store(id=SHOWN, data=1),
    ]
    handbook = card(html.Div(picks, className="bar"), html.Div(id=CHARTS), id="gearing-handbook", hidden=True)
    return answering(TITLE, [editor, panel], [*waiting_place(STATE, RESULTS, aria_live="off"), handbook])


def register(app: dash.Dash, workshop: Workshop) -> None:
    """Adds what the page asks the server for."""
    waiting = "Driving the choices ... (the very first time the model is prepared, which takes a quarter of a minute)"

    @app.callback(
        Output(RESULTS, "children"),
        Output("gearing-handbook", "hidden"),
        Input(ids.setup("gearing"), "data"),
        Input(CHOICES, "data"),
        Input(ids.UNITS, "data"),
        running=[(Output(STATE, "children"), waiting, "")],
    )
    def _results(data: Any, text: Any, units: Any) -> tuple[Any, bool]:
        try:
            setup, answers = answers_of(workshop, data, text)
        except HaulbenchError as problem:
            return refused(problem), True
        return results(setup, answers, chosen_units(units), workshop), False

    @app.callback(
        Output(CHARTS, "children"),
        Input(ids.setup("gearing"), "data"),
        Input(CHOICES, "data"),
        Input(ids.UNITS, "data"),
        Input(SHOWN, "data"),
    )
    def _charts(data: Any, text: Any, units: Any, shown: Any) -> Any:
        try:
            _, answers = answers_of(workshop, data, text)
        except HaulbenchError:
            return []  # said above
        number = min(max(shown, 1), len(answers)) if isinstance(shown, int) else 1
        return charts(answers, number - 1, chosen_units(units))


def answers_of(workshop: Workshop, data: Any, text: Any) -> "tuple[Setup, list[ChoiceAnswer]]":
    """Every choice driven and charted, in worker processes.

    Parameters
    ----------
    data : any
        Of the panel's store.
    text : any
        Of the store of choices.

    Returns
    -------
    setup : Setup
        What all have in common.

    Raises
    ------
    HaulbenchError
        An input cannot be used; the message names the choice.
    """
    from dashboard.gearing.work import work_out

    if not isinstance(text, str | None):
        raise SettingsError(say.no_line(name="choices"))
    setup = setup_of(data)
    common = read_setup(setup, workshop)
    cruise = cruise_speed(common.route, common.settings)
    choices = choices_from(text or "", setup.truck)
    most = max(MOST_POINTS // len(choices), 600)
    inputs = []
    for number in range(len(choices)):
        try:
            (own,) = setups_of(setup, choices[number : number + 1])
            inputs.append(read_setup(own, workshop))
        except HaulbenchError as problem:
            raise type(problem)(say.of_choice(number=number + 1, problem=str(problem))) from None

    keys = [key_for("gearing", each, cruise, most) for each in inputs]
    watcher = f"gearing {secrets.token_hex(8)}"
    answers: list[ChoiceAnswer] = []
    number = 0
    try:
        for number, each in enumerate(inputs, start=1):  # all are begun before the first is waited for
            workshop.join(watcher, keys[number - 1], work_out, each, cruise, most)
        for number, each in enumerate(inputs, start=1):
            answers.append(workshop.ask(keys[number - 1], work_out, each, cruise, most))
    except HaulbenchError as problem:
        raise type(problem)(say.of_choice(number=number, problem=str(problem))) from None
    finally:
        for key in keys:
            workshop.leave(watcher, key)
    return setup, answers


# ---------------------------------------------------------------- what is shown


def labels_of(answers: "Sequence[ChoiceAnswer]", units: str) -> list[str]:
    """Each choice in a few words: what sets it apart from the others.

    Parameters
    ----------
    units : str
        metric or us.

    Returns
    -------
    labels : list of str
        The axle ratio where nothing does.
    """
    trucks = [answer.truck for answer in answers]
    parts = [
        [f"axle {truck.driveline.axle_ratio:g}" for truck in trucks],
        [truck.gearbox.name for truck in trucks],
        [f"tyre {tyre_of(answer, units)}" for answer in answers],
    ]
    apart = [part for part in parts if len(set(part)) > 1] or parts[:1]
    return [", ".join(part[number] for part in apart) for number in range(len(trucks))]


def tyre_of(answer: "ChoiceAnswer", units: str) -> str:
    """The tyre of a choice as the trade names it.

    Parameters
    ----------
    units : str
        metric or us.

    Returns
    -------
    text : str
        Rolling radius, or turns on a mile. [as shown]
    """
    radius = answer.truck.tyres.rolling_radius_m
    return f"{answer.tyre_revolutions:.0f} rev/mi" if units == "us" else f"{radius:.3f} m"


def results(setup: Setup, answers: "Sequence[ChoiceAnswer]", units: str, workshop: Workshop) -> html.Div:
    """Verdicts, table and overlay.

    Parameters
    ----------
    units : str
        metric or us.
    workshop : Workshop
        For the road's title.
    """
    from dashboard.gearing.figures import overlay_figure
    from dashboard.server.setups import read_road

    route = read_road(setup.road, workshop)
    labels = labels_of(answers, units)
    figure = overlay_figure([answer.drawn for answer in answers], labels, units, answers[0].truck.engine.governed_rpm)
    mass = f"{shown_value(80_000.0 * POUND, 'mass', units):,.0f} {shown_unit('mass', units)}"
    wanted = (
        f"Wanted, by common practice without a source: startability over {100 * STARTABILITY_WANTED:.0f} %",
        f" at {mass}, in the top gear {100 * TOP_GEAR_GRADES_WANTED[0]:.1f} % at best and",
        f" {100 * TOP_GEAR_GRADES_WANTED[1]:.1f} % at cruise. The rule of startability reads the engine's",
        " torque at 800 rpm, where the clutch takes hold; the line below it asks the laws of the trip.",
    )
    look = "Drag across the figure to look closer, double-click to see all; a click on a name hides or shows it."
    return html.Div(
        [
            card(
                f"On {route.title}",
                *verdicts(answers, units),
                *remarks(answers, route.net_height, units),
                wide(table(answers, units), "Table of choices"),
                html.P(list(wanted), className="quiet fine"),
            ),
            card("Over one another", drawn(graph("gearing-overlay", figure, 820), look)),
        ],
        className="stack",
    )


def verdicts(answers: "Sequence[ChoiceAnswer]", units: str) -> list[Any]:
    """What a reader must see first: trips that did not arrive, and warnings."""
    found = [
        html.Li([html.B(f"Choice {number}: "), said(warning, units)])
        for number, answer in enumerate(answers, start=1)
        for warning in answer.summary["warnings"]
    ]
    if not found:
        return [html.P("All choices arrive without a warning.", className="noted")]
    return [html.Ul(found, className="told")]


def remarks(answers: "Sequence[ChoiceAnswer]", net_height: float, units: str) -> list[Any]:
    """What must be known to read the fuel, and what makes a comparison an empty one.

    Parameters
    ----------
    net_height : float
        End of the road over its start. [m]
    units : str
        metric or us.
    """
    from dashboard.paper.drawing import with_unit

    found = []
    if abs(net_height) >= HEIGHT_WORTH_A_NOTE:
        which, does = ("below", "drives the truck too") if net_height < 0.0 else ("above", "was paid for with fuel")
        found.append(
            f"The road ends {with_unit(abs(net_height), 'height', units)} {which} its start; that height {does}. Compare the fuel"
            " of these choices with one another, not with other roads."
        )
    if len(answers) == 1:
        found.append("One choice only: add a second to compare it with.")
    trucks = [answer.truck for answer in answers]
    for number, truck in enumerate(trucks):
        if truck in trucks[:number]:
            first = trucks.index(truck) + 1
            found.append(f"Choices {first} and {number + 1} are the same: their trips do not differ.")
    return [html.P(text, className="noted") for text in found]


def _against(value: float, first: float) -> str:
    """How much more or less than the first choice, in percent; nothing where they are the same."""
    return "" if first in (0.0, value) else f" ({100.0 * (value / first - 1.0):+.1f} %)"


def rows(answers: "Sequence[ChoiceAnswer]", units: str) -> list[tuple[str, list[tuple[str, list[str]]]]]:
    """The table's groups, each with its rows: a name and a text for each choice.

    Parameters
    ----------
    units : str
        metric or us.

    Returns
    -------
    groups : list of tuple
        [as shown]
    """
    from dashboard.paper.drawing import with_unit

    us = units == "us"
    first = answers[0].summary
    cruise = with_unit(answers[0].cruise, "speed", units)

    def each(name: str, text: Any) -> tuple[str, list[str]]:
        return name, [text(answer) for answer in answers]

    def fuel(answer: "ChoiceAnswer") -> str:
        key = "fuel_mpg_us" if us else "fuel_l_per_100km"
        value, base = answer.summary[key], first[key]
        if value is None:
            return CHOICE_OF_NONE
        return f"{value:.2f}{_against(value, base)}" if us else f"{value:.1f}{_against(value, base)}"

    def top_time(answer: "ChoiceAnswer") -> str:
        seconds = answer.summary["top_gear_time_s"]
        return f"{clock_time(seconds)} ({100.0 * seconds / answer.summary['time_s']:.0f} %)"

    def top_turning(answer: "ChoiceAnswer") -> str:
        turning = answer.summary["top_gear_engine_speed_rpm"]
        return CHOICE_OF_NONE if turning is None else f"{turning:.0f} rpm"

    def at_cruise(answer: "ChoiceAnswer") -> str:
        top = answer.facts[-1]
        lugging = "" if top.grade_there is not None else " *"
        return f"{from_si(top.engine_speed, 'rpm'):.0f} rpm{lugging}"

    def top_grade(answer: "ChoiceAnswer") -> str:
        held = answer.facts[-1].grade_there
        return CHOICE_OF_NONE if held is None else f"{100.0 * held:.2f} %"

    def best_there(answer: "ChoiceAnswer") -> str:
        held = [(gear.grade_there, gear.gear) for gear in answer.facts if gear.grade_there is not None]
        return f"{100.0 * max(held)[0]:.1f} % in {max(held)[1]}" if held else CHOICE_OF_NONE

    def hottest(answer: "ChoiceAnswer") -> str:
        return with_unit(to_si(answer.summary["max_brake_temperature_c"], "c"), "temperature", units)

    def top_best(answer: "ChoiceAnswer") -> str:
        top = answer.facts[-1]
        return f"{100.0 * top.best_grade:.2f} % at {with_unit(top.best_speed, 'speed', units)}"

    def climb(answer: "ChoiceAnswer") -> str:
        found = answer.chart.best_climb(NAMED_GRADE)
        return f"{with_unit(found.speed, 'speed', units)} in {found.gear}" if found else "none holds"

    return [
        (
            "Choice",
            [
                each("axle ratio", lambda a: f"{a.truck.driveline.axle_ratio:g}"),
                each("gearbox", lambda a: a.truck.gearbox.name),
                each("tyre" if us else "tyre, rolling radius", lambda a: tyre_of(a, units)),
            ],
        ),
        (
            "On this road",
            [
                each(
                    "time",
                    lambda a: f"{clock_time(a.summary['time_s'])}{_against(a.summary['time_s'], first['time_s'])}"
                    if a.summary["ended"] == "arrived"
                    else a.summary["ended"],
                ),
                each("fuel, mi/gal" if us else "fuel, L/100 km", fuel),
                each("gear shifts", lambda a: str(a.summary["gear_shifts"])),
                each("time in the top gear", top_time),
                each("mean engine speed in the top gear", top_turning),
                each("highest mean brake temperature", hottest),
            ],
        ),
        (
            f"At cruise, {cruise}",
            [
                each("engine speed, top gear", at_cruise),
                each("grade held, top gear", top_grade),
                each("grade held, best gear", best_there),
            ],
        ),
        (
            "The truck alone",
            [
                each("grade held, top gear, at best", top_best),
                each("geared speed, top gear", lambda a: with_unit(a.facts[-1].geared_speed, "speed", units)),
                each(f"climbs {100 * NAMED_GRADE:.0f} % with", climb),
                each("startability, by the rule", lambda a: f"{100 * a.start.handbook:.1f} %"),
                each("startability, engine", lambda a: f"{100 * a.start.settled:.1f} %"),
                each("startability, engine before boost", lambda a: f"{100 * a.start.unboosted:.1f} %"),
                each("startability, grip of the tyres", lambda a: f"{100 * a.start.grip:.1f} %"),
            ],
        ),
    ]  # fmt: skip


def table(answers: "Sequence[ChoiceAnswer]", units: str) -> html.Table:
    """The choices side by side.

    Parameters
    ----------
    units : str
        metric or us.
    """
    count = len(answers)
    head = html.Tr(
        [html.Th(html.Span("quantity", className="unseen"), scope="col")]
        + [html.Th([swatch(number), f" {number + 1}"], scope="col") for number in range(count)]
    )
    body = []
    for title, group in rows(answers, units):
        body.append(html.Tr(html.Th(title, colSpan=count + 1, scope="colgroup", className="group-name")))
        body += [
            html.Tr([html.Th(name, scope="row"), *(html.Td(text) for text in texts)], className="one-row")
            for name, texts in group
        ]
    notes = []
    if any(answer.facts[-1].grade_there is None for answer in answers):
        notes = [
            html.Caption(
                "* The engine does not run there: below idle or above governed speed.",
                className="quiet fine under",
            )
        ]
    return html.Table([*notes, html.Thead(head), html.Tbody(body)], className="compared")


def swatch(number: int) -> html.Span:
    """The line of a choice, as in the figures.

    Parameters
    ----------
    number : int
        From 0.

    Returns
    -------
    swatch : Span
        The browser draws it.
    """
    colour, dash_ = palette.line_of(number)
    return html.Span(className="swatch", **attributes(data_colour=colour, data_dash=dash_, aria_hidden="true"))


def charts(answers: "Sequence[ChoiceAnswer]", number: int, units: str) -> html.Div:
    """The three charts of a gearing handbook for one choice.

    Parameters
    ----------
    number : int
        Of the choice, from 0.
    units : str
        metric or us.
    """
    from dashboard.gearing.figures import pull_figure, retarding_figure, speed_figure
    from dashboard.paper.drawing import with_unit

    answer = answers[number]
    truck, height = answer.truck, with_unit(answer.elevation, "height", units)
    oil = with_unit(WARM_OIL, "temperature", units)
    fastest = min(1.35 * answer.cruise, float(answer.chart.curves[-1].speed[-1]))
    top = answer.facts[-1]
    best = answer.chart.best_climb(0.06)
    climbs = (
        f"6 % is climbed with {with_unit(best.speed, 'speed', units)} in gear {best.gear}."
        if best
        else "No gear holds 6 %."
    )
    holds = [each for each in answer.control.crossings if each.stage == 3 and each.grade == -0.06]
    steady = max(holds, key=lambda each: each.speed, default=None)
    down = (
        f"On 6 % down, stage 3 holds {with_unit(steady.speed, 'speed', units)} in gear {steady.gear}."
        if steady
        else "On 6 % down, no gear has a steady speed with stage 3 between 900 rpm and governed speed."
    )
    figures = [
        (
            "gearing-speed-chart", "Engine speed by gear",
            speed_figure([each.chart for each in answers], number, truck.engine, answer.cruise, units),
            f"At {with_unit(answer.cruise, 'speed', units)} the top gear turns the engine"
            f" {from_si(top.engine_speed, 'rpm'):.0f} rpm.",
        ),
        (
            "gearing-pull-chart", "Pull at full load by gear, and climbs of 0 to 8 %", pull_figure(answer.chart, units),
            f"{climbs} Boost settled, losses and accessories taken off, oil at {oil}, fan clutch open, air at"
            f" {height}. The lowest gears pull more than is shown. Hotter oil turns easier: a long climb is 1 to 2 % faster.",
        ),
        (
            "gearing-retarding-chart", "Retarding by gear and stage, and descents",
            retarding_figure(answer.control, units, fastest),
            f"{down} Gear numbers stand on stage 3. The engine brake does not replace the service brakes.",
        ),
    ]  # fmt: skip
    return html.Div(
        [
            html.Figure([html.H3(title), graph(name, figure, 430), html.Figcaption(text, className="fine")])
            for name, title, figure, text in figures
        ],
        className="charts",
    )
