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
from dashboard.panel.pieces import answering, card, drawn, graph, said
from dashboard.server import doors, guard
from dashboard.server.runs import UPLOAD, Workshop
from dashboard.server.setups import chosen_units
from sim.errors import HaulbenchError, StudyError
from sim.inputs.files import list_trucks
from sim.messages import browser as say
from sim.roads.route import list_routes
from sim.units import clock_time
from sim.wording import said as worded

if TYPE_CHECKING:
    from dashboard.fuel_study.desk import Running
    from sim.studies.result import StudyResult

TITLE = "Fuel study"
PATH = ids.STUDY_PATH

LOOK = 700  # ms between looks at a study under way
MOST_VALUES = 60  # of an address
MOST_ROWS = 600  # of the table; the download has all
FILES = ("results.csv", "report.html", "study.toml")
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
        asked = parse_qs(str(query.get("?", "")).lstrip("?"), keep_blank_values=True, max_num_fields=MOST_VALUES)
    except ValueError:
        raise StudyError(say.many_values(most=MOST_VALUES)) from None
    ready = asked.get("study", [OWN if "road" in asked else READY[0]])[0]
    if "road" not in asked:
        return {"ready": ready, **USUAL}
    pairs = [text.partition("=")[::2] for text in asked.get("vary", [])][:KEYS]
    return {
        "ready": ready,
        "roads": asked.get("road", []),
        "trucks": asked.get("truck", []),
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
    own = [
        html.H3("Roads"),
        named("Roads", dcc.Checklist(id="fuel-roads", options=_roads(form), value=form["roads"], className="picks")),
        html.H3("Trucks"),
        named(
            "Trucks", dcc.Checklist(id="fuel-trucks", options=list_trucks(), value=form["trucks"], className="picks")
        ),
        html.H3("Settings"),
        html.Datalist(id="fuel-known", children=[html.Option(value=key) for key in known_keys()]),
        *(_vary_line(form, number) for number in range(KEYS)),
        html.P("A key of truck or settings, and its values with commas between them.", className="quiet fine"),
    ]
    buttons = [
        html.Button("Drive the study", id="fuel-start", className="strong"),
        html.Button("Stop", id="fuel-stop", disabled=True),
    ]
    left = card(
        "Question",
        named("Question", dcc.RadioItems(id="fuel-ready", options=ready, value=form["ready"], className="picks")),
        html.Div(buttons, className="bar"),
        html.Div(own, id="fuel-own"),
        label="Question",
    )
    before = "Choose a question and press Drive the study. Answers come when all trips are driven."
    state = [*([said(wrong)] if wrong else []), html.P(before, className="quiet")]
    return answering(
        TITLE,
        [left],
        [
            html.Div(state, id="fuel-state", className="card", role="status"),
            html.Div(id="fuel-results", className="stack"),
        ],
        stores=[
            dcc.Store(id="fuel-watcher", data=secrets.token_hex(12)),
            dcc.Store(id="fuel-key"),
            dcc.Store(id="fuel-link"),
            dcc.Interval(id="fuel-look", interval=LOOK, disabled=True),
        ],
    )


def _vary_line(form: dict[str, Any], number: int) -> html.Div:
    """A key that is varied, and its values."""
    key, values = (form[what][number] if number < len(form[what]) else "" for what in ("keys", "values"))
    keys, given = f"fuel-key-{number}", f"fuel-values-{number}"
    return html.Div(
        [
            html.Label(f"vary {number + 1}", htmlFor=keys),
            dcc.Input(id=keys, value=key, type="text", list="fuel-known", placeholder="key", maxLength=80),
            html.Label("values", htmlFor=given, className="unseen"),
            dcc.Input(id=given, value=values, type="text", placeholder="values, with commas", maxLength=300),
        ],
        className="vary-line",
    )


def known_keys() -> list[str]:
    """Every key that can be varied."""
    from sim.inputs.specs import Settings, Truck, keys_of

    names = [f"{table}.{key}" for model in (Truck, Settings) for table, key in keys_of(model)]
    return [name for name in names if not name.startswith("simulation.")]


class Asked:
    """What the page asks the server for: each method answers one callback or one door."""

    def __init__(self, workshop: Workshop) -> None:
        from dashboard.fuel_study.desk import Studies

        self._workshop, self._desk = workshop, Studies(workshop)

    def start(self, _: Any, watcher: Any, ready: Any, roads: Any, trucks: Any, *given: Any) -> tuple[Any, ...]:
        """Key, state, results, whether nobody looks, whether nothing can be stopped, and address of a study asked for."""
        form = {"ready": ready, "roads": roads, "trucks": trucks, "keys": given[:KEYS], "values": given[KEYS:]}
        try:
            key = self._desk.join(watcher_of(watcher), plan_of(form, self._workshop))
        except HaulbenchError as problem:
            refusal = [said(str(problem)), html.P("Nothing was driven.", className="quiet")]
            return None, refusal, dash.no_update, True, True, dash.no_update
        return key, html.P("Starting ..."), [], False, False, link_of(form)

    def look(self, _: Any, units: Any, key: Any, watcher: Any) -> tuple[Any, ...]:
        """State, results, whether nobody looks, and whether nothing can be stopped."""
        if not isinstance(key, str):
            return dash.no_update, dash.no_update, True, True
        running = self._desk.look(watcher_of(watcher), key)
        if running is None:
            gone = html.P("This study is no longer kept here; drive it again.", className="told")
            return gone, [], True, True
        if watcher_of(watcher) not in running.watchers and not running.over:
            raise dash.exceptions.PreventUpdate  # who has just left has been told so
        if not running.over:
            return state_of(running), dash.no_update, False, False
        return state_of(running), results(running, key, chosen_units(units)), True, True

    def stop(self, _: Any, key: Any, watcher: Any) -> tuple[Any, ...]:
        """State, whether nobody looks, and whether nothing can be stopped."""
        others = self._desk.leave(watcher_of(watcher), key) if isinstance(key, str) else 0
        if others:
            left = (
                f"You have left this study; {others} other{'s' if others > 1 else ''} still watch it, and it goes on."
            )
            return html.P(left, className="noted"), True, True
        return html.P("Stopping after the trips under way ..."), False, True

    def whole_file(self, visitor: doors.Visitor) -> doors.Answer:
        """A whole file of a finished study."""
        name, running = visitor.names["name"], self._desk.look("", visitor.names["key"])
        if name not in FILES or running is None or running.result is None:
            return guard.refusal(404, f"no such file; a finished study has {', '.join(FILES)}")
        return guard.file(file_of(running.result, name, chosen_units(visitor.query.get("units"))), name)


def register(app: dash.Dash, workshop: Workshop) -> None:
    """Adds what the page asks the server for."""
    asked = Asked(workshop)
    state, found, idle, done = (
        Output("fuel-state", "children", allow_duplicate=True),
        Output("fuel-results", "children", allow_duplicate=True),
        Output("fuel-look", "disabled", allow_duplicate=True),
        Output("fuel-stop", "disabled", allow_duplicate=True),
    )
    key, watcher = State("fuel-key", "data"), State("fuel-watcher", "data")
    form = [State(f"fuel-{name}", "value") for name in ("ready", "roads", "trucks")]
    form += [State(f"fuel-{what}-{number}", "value") for what in ("key", "values") for number in range(KEYS)]
    app.callback(
        Output("fuel-key", "data"), state, found, idle, done, Output("fuel-link", "data"),
        Input("fuel-start", "n_clicks"), watcher, *form, prevent_initial_call=True,
    )(asked.start)  # fmt: skip
    app.callback(
        state, found, idle, done, Input("fuel-look", "n_intervals"), Input(ids.UNITS, "data"), key, watcher,
        prevent_initial_call=True,
    )(asked.look)  # fmt: skip
    app.callback(state, idle, done, Input("fuel-stop", "n_clicks"), key, watcher, prevent_initial_call=True)(asked.stop)
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
    doors.get(app, f"{PATH}/{{key}}/{{name}}", asked.whole_file)


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
    known = [{"value": road, "label": road} for road in list_routes()]
    return known + [{"value": road, "label": uploaded_name(road)} for road in uploaded]


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


def file_of(result: "StudyResult", name: str, units: str) -> bytes:
    """A file of a finished study.

    Parameters
    ----------
    name : str
        One of `FILES`.
    units : str
        Of its reader, metric or us.
    """
    if name == "results.csv":
        return result.csv(units).encode()
    from dashboard.fuel_study.report import study_file, study_report

    return (study_file(result.plan.study) if name == "study.toml" else study_report(result, units)).encode()


# ---------------------------------------------------------------- what is shown


def state_of(running: "Running") -> list[Any]:
    """How far a study is, in words and as a bar."""
    if running.problem is not None:
        return [said(str(running.problem))]
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
    from sim.studies.findings import answer_sentences, trips_text, warning_counts

    result = running.result
    if result is None:
        return []
    study = result.plan.study
    noted = [html.P(worded(note, units), className="told") for note in result.answers["notes"]]
    noted += [html.P(f"{words}: {trips} trips", className="told") for words, trips in warning_counts(result)]
    files = [
        piece
        for name in FILES
        for piece in (html.A(name, href=f"{PATH}/{key}/{name}?units={units}", download=name), " ")
    ]
    answer = card(
        study.title,
        html.P(study.question, className="quiet"),
        *noted,
        *[html.P(html.B(text)) for text in answer_sentences(result, units)],
        html.P([f"{trips_text(result)}. Download: ", *files], className="quiet"),
    )
    figures = [
        card(title, drawn(graph(f"fuel-figure-{number}", figure, figure.layout.height), caption))
        for number, (title, caption, figure) in enumerate(figures_of(result, units))
    ]
    return [answer, _table(result, units), *_effects(result, units), *figures, *_refused(result, units)]


def _table(result: "StudyResult", units: str) -> html.Section:
    """Every trip, sortable by each column."""
    import numpy as np

    from sim.studies.amounts import key_text, key_words, quantity_text
    from sim.studies.quantities import QUANTITIES

    names = list(result.report)
    heads = ["trip", *map(key_words, result.plan.varied_keys), "ended", *(QUANTITIES[name][0] for name in names)]
    columns = {name: result.column(name).astype(float) for name in names}
    ended, numbers = result.column("state"), result.column("number")
    rows: list[list[Cell]] = []
    for row in range(min(result.trips, MOST_ROWS)):
        number = int(numbers[row])
        cells: list[Cell] = [(str(number), str(number), "number")]
        cells += [(key_text(key, value, units), str(value), "") for key, value in result.varied(row).items()]
        cells.append((str(ended[row]), str(ended[row]), ""))
        for name in names:
            value = float(columns[name][row])
            missing = bool(np.isnan(value))
            text = "-" if missing else quantity_text(name, value, units)
            cells.append((text, "" if missing else f"{value:.9g}", "number"))
        rows.append(cells)
    cut = f"The first {MOST_ROWS} trips; results.csv has all. " if result.trips > MOST_ROWS else ""
    sort = html.P(f"{cut}Press a heading to sort by it.", className="quiet fine")
    return card("Every trip", sort, big_table(heads, rows, "Table of trips"))


def _effects(result: "StudyResult", units: str) -> list[Any]:
    """Main effects of the first quantity: what each value of each key does, everything else averaged."""
    from sim.studies.amounts import difference_text, key_text, key_words, quantity_text
    from sim.studies.quantities import QUANTITIES

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
    means = "Means over the trips that arrived. Shares are shown only when every trip of the grid was driven."
    title = f"What each value does to {QUANTITIES[name][0]}"
    return [card(title, html.P(means, className="quiet fine"), big_table(heads, rows, "Main effects"))]


def _refused(result: "StudyResult", units: str) -> list[Any]:
    """The trips that could not be driven, named by what was combined."""
    from sim.studies.findings import trip_words

    refused = result.refused()
    if not refused:
        return []
    listed = [
        html.Li([html.B(trip_words(result, number, units)), f" (trip {number}): {problem}"])
        for number, problem in refused[:50]
    ]
    title = f"{len(refused)} trip{'s' if len(refused) > 1 else ''} could not be driven"
    return [card(title, html.Ul(listed))]
