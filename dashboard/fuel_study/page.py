"""The Fuel study page: roads, trucks and settings against each other, through the study core, shared by all who ask the same."""

import secrets
from typing import TYPE_CHECKING, Any
from urllib.parse import parse_qs

import dash
from dash import Input, Output, State, dcc, html

from dashboard.fuel_study.form import KEYS, OWN, READY, plan_of, uploaded_name
from dashboard.panel import ids
from dashboard.panel.attributes import attributes
from dashboard.panel.big_table import Cell, big_table, named
from dashboard.server import doors
from dashboard.server.guard import file, refusal
from dashboard.server.runs import UPLOAD, Workshop
from dashboard.server.setups import chosen_units
from sim.errors import HaulbenchError, StudyError
from sim.inputs.files import list_trucks
from sim.messages import browser as say
from sim.roads.route import list_routes
from sim.units import clock_time

if TYPE_CHECKING:
    from dashboard.fuel_study.desk import Desk, Running
    from sim.studies.table import StudyResult

TITLE = "Fuel study"
PATH = ids.STUDY_PATH

GRAPH: Any = {"displayModeBar": False, "responsive": True}
LOOK = 700  # ms between looks at a study under way
MOST_VALUES = 60  # of an address
MOST_ROWS = 600  # of the table; the download has all
FILES = {
    "results.csv": "text/csv; charset=utf-8",
    "report.html": "text/html; charset=utf-8",
    "study.toml": "application/toml; charset=utf-8",
}
USUAL = {
    "roads": ["ulmary-plain", "wendle-hills"],
    "trucks": ["long-haul-manual"],
    "keys": ["driveline.axle_ratio"],
    "values": ["3.08, 3.36, 3.70"],
}


def form_from(query: dict[str, Any]) -> dict[str, Any]:
    """The form as an address says it, or the usual one.

    Parameters
    ----------
    query : dict
        Of the address, whole under "?".

    Returns
    -------
    form : dict
        As `dashboard.fuel_study.form.plan_of` reads it.

    Raises
    ------
    StudyError
        The address has too much in it.
    """
    try:
        said = parse_qs(str(query.get("?", "")).lstrip("?"), keep_blank_values=True, max_num_fields=MOST_VALUES)
    except ValueError:
        raise StudyError(say.many_values(most=MOST_VALUES)) from None
    ready = said.get("study", [OWN if "road" in said else READY[0]])[0]
    if "road" not in said:
        return {"ready": ready, **USUAL}
    pairs = [text.partition("=")[::2] for text in said.get("vary", [])][:KEYS]
    return {
        "ready": ready,
        "roads": said.get("road", []),
        "trucks": said.get("truck", []),
        "keys": [key for key, _ in pairs],
        "values": [values for _, values in pairs],
    }


def layout(query: dict[str, Any]) -> html.Div:
    """The page.

    Parameters
    ----------
    query : dict
        Of its address.
    """
    from sim.studies.question import read_study

    wrong = ""
    try:
        form = form_from(query)
    except HaulbenchError as problem:
        form, wrong = form_from({}), f"{problem}. The usual question is shown instead."
    ready = [{"value": name, "label": read_study(name).title} for name in READY]
    ready.append({"value": OWN, "label": "A question of our own"})
    lines = []
    for number in range(KEYS):
        key = form["keys"][number] if number < len(form["keys"]) else ""
        values = form["values"][number] if number < len(form["values"]) else ""
        lines.append(
            html.Div(
                [
                    html.Label(f"vary {number + 1}", htmlFor=f"fuel-key-{number}"),
                    dcc.Input(
                        id=f"fuel-key-{number}", value=key, type="text", list="fuel-known", placeholder="key", maxLength=80
                    ),
                    html.Label("values", htmlFor=f"fuel-values-{number}", className="unseen"),
                    dcc.Input(
                        id=f"fuel-values-{number}", value=values, type="text", placeholder="values, with commas",
                        maxLength=300,
                    ),
                ],
                className="vary-line",
            )
        )  # fmt: skip
    left = html.Section(
        [
            html.H2("Question"),
            named("Question", dcc.RadioItems(id="fuel-ready", options=ready, value=form["ready"], className="picks")),
            html.Div(
                [
                    html.Button("Drive the study", id="fuel-start", className="strong"),
                    html.Button("Stop", id="fuel-stop", disabled=True),
                ],
                className="bar",
            ),
            html.Div(
                [
                    html.H3("Roads"),
                    named(
                        "Roads",
                        dcc.Checklist(id="fuel-roads", options=_roads(form), value=form["roads"], className="picks"),
                    ),
                    html.H3("Trucks"),
                    named(
                        "Trucks",
                        dcc.Checklist(id="fuel-trucks", options=list_trucks(), value=form["trucks"], className="picks"),
                    ),
                    html.H3("Settings"),
                    html.Datalist(id="fuel-known", children=[html.Option(value=key) for key in known_keys()]),
                    *lines,
                    html.P(
                        "A key of truck or settings, and its values with commas between them.", className="quiet fine"
                    ),
                ],
                id="fuel-own",
            ),
        ],
        className="card",
        **attributes(aria_label="Question"),
    )
    return html.Div(
        [
            dcc.Store(id="fuel-watcher", data=secrets.token_hex(12)),
            dcc.Store(id="fuel-key"),
            dcc.Store(id="fuel-link"),
            dcc.Interval(id="fuel-look", interval=LOOK, disabled=True),
            html.Div(left, className="left-side"),
            html.Div(
                [
                    html.H1("Fuel study", className="unseen"),
                    html.Div(
                        [
                            *([html.P(wrong, className="told", role="alert")] if wrong else []),
                            html.P(
                                "Choose a question and press Drive the study. Answers come when all trips are driven.",
                                className="quiet",
                            ),
                        ],
                        id="fuel-state",
                        className="card",
                        role="status",
                    ),
                    html.Div(id="fuel-results", className="stack"),
                ],
                className="stack",
            ),
        ],
        className="sheet",
    )


def known_keys() -> list[str]:
    """Every key that can be varied."""
    from sim.inputs.specs import Settings, Truck, keys_of

    names = [f"{table}.{key}" for model in (Truck, Settings) for table, key in keys_of(model)]
    return [name for name in names if not name.startswith("simulation.")]


def register(app: dash.Dash, workshop: Workshop) -> None:
    """Adds what the page asks the server for."""
    from dashboard.fuel_study.desk import Desk

    desk = Desk(workshop)
    fields = [State(f"fuel-key-{number}", "value") for number in range(KEYS)]
    fields += [State(f"fuel-values-{number}", "value") for number in range(KEYS)]

    @app.callback(
        Output("fuel-key", "data"),
        Output("fuel-state", "children", allow_duplicate=True),
        Output("fuel-results", "children", allow_duplicate=True),
        Output("fuel-look", "disabled", allow_duplicate=True),
        Output("fuel-stop", "disabled", allow_duplicate=True),
        Output("fuel-link", "data"),
        Input("fuel-start", "n_clicks"),
        State("fuel-watcher", "data"),
        State("fuel-ready", "value"),
        State("fuel-roads", "value"),
        State("fuel-trucks", "value"),
        *fields,
        prevent_initial_call=True,
    )
    def _start(_: Any, watcher: Any, ready: Any, roads: Any, trucks: Any, *given: Any) -> tuple[Any, ...]:
        form = {"ready": ready, "roads": roads, "trucks": trucks, "keys": given[:KEYS], "values": given[KEYS:]}
        try:
            key = desk.join(watcher_of(watcher), plan_of(form, workshop))
        except HaulbenchError as problem:
            told = [
                html.P(str(problem), className="told", role="alert"),
                html.P("Nothing was driven.", className="quiet"),
            ]
            return None, told, dash.no_update, True, True, dash.no_update
        return key, html.P("Starting ..."), [], False, False, link_of(form)

    @app.callback(
        Output("fuel-state", "children"),
        Output("fuel-results", "children"),
        Output("fuel-look", "disabled"),
        Output("fuel-stop", "disabled"),
        Input("fuel-look", "n_intervals"),
        Input(ids.UNITS, "data"),
        State("fuel-key", "data"),
        State("fuel-watcher", "data"),
        prevent_initial_call=True,
    )
    def _look(_: Any, units: Any, key: Any, watcher: Any) -> tuple[Any, ...]:
        if not isinstance(key, str):
            return dash.no_update, dash.no_update, True, True
        running = desk.look(watcher_of(watcher), key)
        if running is None:
            gone = html.P("This study is no longer kept here; drive it again.", className="told")
            return gone, [], True, True
        if watcher_of(watcher) not in running.watchers and not running.over:
            raise dash.exceptions.PreventUpdate  # who has just left has been told so
        if not running.over:
            return state_of(running), dash.no_update, False, False
        return state_of(running), results(running, key, chosen_units(units)), True, True

    @app.callback(
        Output("fuel-state", "children", allow_duplicate=True),
        Output("fuel-look", "disabled", allow_duplicate=True),
        Output("fuel-stop", "disabled", allow_duplicate=True),
        Input("fuel-stop", "n_clicks"),
        State("fuel-key", "data"),
        State("fuel-watcher", "data"),
        prevent_initial_call=True,
    )
    def _stop(_: Any, key: Any, watcher: Any) -> tuple[Any, ...]:
        others = desk.leave(watcher_of(watcher), key) if isinstance(key, str) else 0
        if others:
            told = (
                f"You have left this study; {others} other{'s' if others > 1 else ''} still watch it, and it goes on."
            )
            return html.P(told, className="noted"), True, True
        return html.P("Stopping after the trips under way ..."), False, True

    app.clientside_callback(
        f"function(ready) {{ return ready !== '{OWN}'; }}",
        Output("fuel-own", "hidden"),
        Input("fuel-ready", "value"),
    )
    app.clientside_callback(
        "function(link) { if (link) { window.history.replaceState(null, '', link); } return window.dash_clientside.no_update; }",
        Output("fuel-link", "id"),
        Input("fuel-link", "data"),
        prevent_initial_call=True,
    )

    def whole_file(visitor: doors.Visitor) -> doors.Answer:
        """A whole file of a finished study."""
        name, running = visitor.names["name"], desk.look("", visitor.names["key"])
        if name not in FILES or running is None or running.result is None:
            return refusal(404, f"no such file; a finished study has {', '.join(FILES)}")
        return file(file_of(desk, running.result, name), FILES[name], name)

    doors.get(app, f"{PATH}/{{key}}/{{name}}", whole_file)


def watcher_of(given: Any) -> str:
    """The word a browser watches under.

    Returns
    -------
    watcher : str
        At most 64 letters.
    """
    return str(given)[:64]


def _roads(form: dict[str, Any]) -> list[dict[str, str]]:
    """Roads of the catalogue, and the uploaded ones of the address."""
    uploaded = [road for road in form["roads"] if road.startswith(UPLOAD)]
    named = [{"value": road, "label": uploaded_name(road)} for road in uploaded]
    return [{"value": road, "label": road} for road in list_routes()] + named


def link_of(form: dict[str, Any]) -> str:
    """The address that reopens a form.

    Parameters
    ----------
    form : dict
        As `plan_of` reads it.
    """
    from urllib.parse import urlencode

    if form["ready"] != OWN:
        return f"{PATH}?{urlencode({'study': form['ready']})}"
    pairs = [
        ("study", OWN),
        *(("road", road) for road in form["roads"]),
        *(("truck", truck) for truck in form["trucks"]),
    ]
    pairs += [("vary", f"{key}={values}") for key, values in zip(form["keys"], form["values"], strict=True) if key]
    return f"{PATH}?{urlencode(pairs)}"


def file_of(desk: "Desk", result: "StudyResult", name: str) -> bytes:
    """A file of a finished study.

    Parameters
    ----------
    name : str
        One of `FILES`.
    """
    if name == "results.csv":
        return (result.folder / name).read_bytes()
    from dashboard.fuel_study.report import study_file, study_report

    return (study_file(result.plan.study) if name == "study.toml" else study_report(result)).encode()


# ---------------------------------------------------------------- what is shown


def state_of(running: "Running") -> list[Any]:
    """How far a study is, in words and as a bar."""
    if running.problem is not None:
        return [html.P(str(running.problem), className="told", role="alert")]
    progress, total = running.progress, running.plan.total
    done = progress.done if progress else 0
    if running.over:
        kind = "noted" if running.complete else "told"
        refused = progress.refused if progress else 0
        whole = (
            f"All trips are finished; {refused} of {total} could not be driven." if refused else "All trips are driven."
        )
        trips = running.result.trips if running.result else 0
        text = whole if running.complete else (
            f"Stopped: {trips} of {total} trips are finished and shown; drive the study again to go on."
        )  # fmt: skip
        return [html.P(text, className=kind)]
    if running.before:
        many = "studies" if running.before > 1 else "study"
        return [html.P(f"Waiting: {running.before} {many} before this one")]
    text = f"{done} of {total} trips"
    if progress and progress.refused:
        text += f", {progress.refused} cannot be driven"
    if progress and progress.seconds_left is not None and done < total:
        text += f", about {clock_time(max(progress.seconds_left, 1.0))} left"
    return [
        html.P(text),
        html.Progress(value=str(done), max=str(max(total, 1)), className="done-so-far", **attributes(aria_label=text)),
    ]


def results(running: "Running", key: str, units: str) -> list[Any]:
    """Answer, table, figures and downloads.

    Parameters
    ----------
    running : Running
        Finished or stopped.
    key : str
        Of the study.
    units : str
        metric or us.
    """
    from dashboard.fuel_study.figures import figures_of
    from sim.studies.sentences import answer_sentences, trips_text, warning_counts

    result = running.result
    if result is None:
        return []
    study = result.plan.study
    told = [html.P(note, className="told") for note in result.answers["notes"]]
    told += [html.P(f"{words}: {trips} trips", className="told") for words, trips in warning_counts(result)]
    answer = html.Section(
        [
            html.H2(study.title),
            html.P(study.question, className="quiet"),
            *told,
            *[html.P(html.B(text)) for text in answer_sentences(result, units)],
            html.P(
                [
                    f"{trips_text(result)}. Download: ",
                    *[
                        piece
                        for name in FILES
                        for piece in (html.A(name, href=f"/fuel-study/{key}/{name}", download=name), " ")
                    ],
                ],
                className="quiet",
            ),
        ],
        className="card",
    )
    figures = [
        html.Section(
            [
                html.H2(title),
                html.Figure(
                    [
                        dcc.Graph(
                            id=f"fuel-figure-{number}", figure=figure, config=GRAPH, style={"height": height_of(figure)}
                        ),
                        html.Figcaption(caption, className="quiet fine"),
                    ]
                ),
            ],
            className="card",
        )
        for number, (title, caption, figure) in enumerate(figures_of(result, units))
    ]
    return [answer, _table(result, units), *_effects(result, units), *figures, *_refused(result, units)]


def height_of(figure: Any) -> str:
    """The height a figure asks for.

    Returns
    -------
    height : str
        For a style. [px]
    """
    return f"{int(figure.layout.height or 420)}px"


def _table(result: "StudyResult", units: str) -> html.Section:
    """Every trip, sortable by each column."""
    import numpy as np

    from sim.studies.quantities import QUANTITIES
    from sim.studies.sentences import key_text, key_words, quantity_text

    keys = list(result.plan.varied_keys)
    names = list(result.report)
    heads = ["trip", *map(key_words, keys), "ended", *(QUANTITIES[name][0] for name in names)]
    columns = {name: result.column(name).astype(float) for name in names}
    ended, numbers = result.column("state"), result.column("number")
    rows: list[list[Cell]] = []
    for row in range(min(result.trips, MOST_ROWS)):
        number = int(numbers[row])
        varied = result.plan.point(number).varied
        cells: list[Cell] = [(str(number), str(number), "number")]
        cells += [(key_text(key, varied[key], units), varied[key], "") for key in keys]
        cells.append((str(ended[row]), str(ended[row]), ""))
        for name in names:
            value = float(columns[name][row])
            missing = bool(np.isnan(value))
            text = "-" if missing else quantity_text(name, value, units)
            cells.append((text, "" if missing else f"{value:.9g}", "number"))
        rows.append(cells)
    cut = f"The first {MOST_ROWS} trips; results.csv has all. " if result.trips > MOST_ROWS else ""
    return html.Section(
        [
            html.H2("Every trip"),
            html.P(f"{cut}Press a heading to sort by it.", className="quiet fine"),
            big_table(heads, rows, "Table of trips"),
        ],
        className="card",
    )


def _effects(result: "StudyResult", units: str) -> list[Any]:
    """Main effects of the first quantity: what each value of each key does, everything else averaged."""
    from sim.studies.quantities import QUANTITIES
    from sim.studies.sentences import difference_text, key_text, key_words, quantity_text

    name = result.report[0]
    keys = result.answers.get("effects", {}).get(name, {})
    if not keys:
        return []
    rows: list[list[Cell]] = []
    for key, found in keys.items():
        share = "-" if found["share"] is None else f"{100.0 * found['share']:.1f} %"
        levels = zip(found["values"], found["means"], found["effects"], found["trips"], strict=True)
        for value, mean, effect, trips in levels:
            rows.append(
                [
                    (key_words(key), key, ""),
                    (key_text(key, value, units), value, ""),
                    (quantity_text(name, mean, units), "" if mean is None else repr(mean), "number"),
                    (difference_text(name, effect, units), "" if effect is None else repr(effect), "number"),
                    (str(trips), str(trips), "number"),
                    (share, "" if found["share"] is None else repr(found["share"]), "number"),
                ]
            )
    heads = ("key", "value", "mean", "against the mean of all", "trips", "share the key decides")
    told = "Means over the trips that arrived. Shares are shown only when every trip of the grid was driven."
    return [
        html.Section(
            [
                html.H2(f"What each value does to {QUANTITIES[name][0]}"),
                html.P(told, className="quiet fine"),
                big_table(heads, rows, "Main effects"),
            ],
            className="card",
        )
    ]


def _refused(result: "StudyResult", units: str) -> list[Any]:
    """The trips that could not be driven, named by what was combined."""
    from sim.studies.sentences import trip_words

    refused = result.refused()
    if not refused:
        return []
    listed = [
        html.Li([html.B(trip_words(result, number, units)), f" (trip {number}): {problem}"])
        for number, problem in refused[:50]
    ]
    return [
        html.Section(
            [html.H2(f"{len(refused)} trip{'s' if len(refused) > 1 else ''} could not be driven"), html.Ul(listed)],
            className="card",
        )
    ]
