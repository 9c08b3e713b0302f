"""What pages are made of: cards, tables, drawings, and the skeletons of pages that play a run and of pages that answer a form."""

from collections.abc import Iterable, Mapping, Sequence
from typing import Any

from dash import dcc, html
from dash.development.base_component import Component

from dashboard.panel.attributes import attributes, part
from sim.errors import HaulbenchError

GRAPH: Any = {"displayModeBar": False, "responsive": True}
RATES = (1, 2, 5, 10, 20, 50)  # times as fast as the clock

Pieces = Sequence[Any]


# ---------------------------------------------------------------- small ones


def card(*content: Any, kind: str = "", label: str = "", **more: Any) -> html.Section:
    """A part of a page with a frame around it.

    Parameters
    ----------
    *content : any
        A text at its beginning is the heading.
    kind : str
        Further classes.
    label : str
        What it is, for those who do not see it.
    **more : any
        Attributes of the section.
    """
    first = [html.H2(content[0]), *content[1:]] if content and isinstance(content[0], str) else list(content)
    named = attributes(aria_label=label) if label else {}
    return html.Section(first, className=f"card {kind}".strip(), **named, **more)


def said(text: str) -> html.P:
    """What went wrong, read out at once."""
    return html.P(text, className="told", role="alert")


def refused(problem: HaulbenchError) -> html.Div:
    """What stands in the place of results when there are none."""
    return html.Div(
        [html.P(str(problem), className="told"), html.P("Nothing was driven. Change what is named above.")],
        className="card",
        role="alert",
    )


def wide(content: Any, label: str) -> html.Div:
    """Something that scrolls by itself where it is too wide."""
    return html.Div(content, className="wide", tabIndex=0, role="region", **attributes(aria_label=label))


def table(head: Sequence[str], body: Iterable[Sequence[Any]], label: str) -> html.Div:
    """A table of a few rows."""
    rows = [html.Tr([html.Td(cell) for cell in row]) for row in body]
    top = html.Thead(html.Tr([html.Th(text, scope="col") for text in head]))
    return wide(html.Table([top, html.Tbody(rows)]), label)


def facts(pairs: Iterable[tuple[str, str]], kind: str = "facts") -> html.Dl:
    """Names with what they are."""
    return html.Dl([html.Div([html.Dt(name), html.Dd(text)]) for name, text in pairs], className=kind)


def graph(name: str, figure: Any, height: int) -> dcc.Graph:
    """A figure of a fixed height in px."""
    return dcc.Graph(id=name, figure=figure, config=GRAPH, style={"height": f"{height}px"})


def drawn(graphed: dcc.Graph, caption: Any) -> html.Figure:
    """A figure with what it says."""
    return html.Figure([graphed, html.Figcaption(caption, className="quiet fine")])


def cautions(title: str, texts: Iterable[str], *more: Any) -> html.Section:
    """What must be known before this is done with a truck."""
    return card(title, html.Ul([html.Li(text) for text in texts], className="small"), *more)


# ---------------------------------------------------------------- pages that answer a form


def answering(title: str, left: Pieces, answers: Pieces, stores: Pieces = ()) -> html.Div:
    """The skeleton of a page with a form on its left and answers beside it.

    Parameters
    ----------
    stores : sequence
        Parts that are not seen.
    """
    heading = html.H1(title, className="unseen")
    return html.Div(
        [*stores, html.Div(left, className="left-side"), html.Div([heading, *answers], className="stack")],
        className="sheet",
    )


def waiting_place(state: str, results: str, **more: str) -> list[Component]:
    """Where a page says that it works, and where its answers will stand.

    Parameters
    ----------
    state : str
        Id of the one.
    results : str
        Id of the other.
    **more : str
        Attributes of the other that begin with `aria_`.
    """
    return [
        html.P(id=state, className="quiet working", role="status"),
        html.Div(html.P("Opening ...", className="quiet"), id=results, **attributes(**more)),
    ]


# ---------------------------------------------------------------- pages that play a run


def playing(title: str, panel: Component, main: Pieces, kind: str = "", **data: str) -> html.Div:
    """The skeleton of a page with a panel of inputs and a run that a script plays.

    Parameters
    ----------
    kind : str
        Further classes.
    **data : str
        For the script of the page; their names begin with `data_`.
    """
    heading = html.H1(title, className="unseen")
    return html.Div(
        [html.Div(panel, className="trip-panel"), html.Div([heading, *main], className="trip-main")],
        className=f"sheet trip {kind}".strip(),
        **attributes(**data),
    )


def state_and_error() -> list[Component]:
    """Where the script says what it waits for, and what went wrong."""
    return [
        part("state", html.P, className="state", role="status"),
        part("error", html.P, className="told", role="alert", hidden=True),
    ]


def opening(waiting: str, label: str, first: Pieces = (), then: Pieces = ()) -> html.Section:
    """What stands on top: how it went, and what can be done with it.

    Parameters
    ----------
    waiting : str
        Stands there until the first run is there.
    """
    verdict = part("verdict", html.Div, html.H2(waiting), className="verdict", aria_live="polite")
    return card(*first, *state_and_error(), verdict, *then, kind="opening", label=label)


def actions(path: str, files: Mapping[str, str], *more: Component) -> list[Component]:
    """What can be done with a run: keep it, link to it, predict it, save its files.

    Parameters
    ----------
    path : str
        Of the folder of its files.
    files : mapping
        What a file is called, by its name.
    *more : component
        Further buttons.
    """
    saved = [
        part("file", html.A, words, href=f"{path}/{name}", className="file", download=name, data_file=name)
        for name, words in files.items()
    ]
    buttons = [
        part("keep", html.Button, "Keep this run", type="button", disabled=True),
        part("release", html.Button, "Drop the kept run", type="button", hidden=True),
        part("link", html.Button, "Copy the link", type="button"),
        part("predict_button", html.Button, "Predict first", type="button", aria_expanded="false"),
        *more,
        part("link_text", html.Span, className="quiet", role="status"),
        html.Span([html.Span("Download: ", className="quiet"), *saved], className="files"),
    ]
    return [html.Div(buttons, className="bar actions"), part("predict", className="predict", hidden=True)]


def cluster(
    readings: Pieces, play: tuple[str, str], before: Pieces = (), after: Pieces = (), **data: str
) -> html.Section:
    """Large readings at the cursor, and what moves it.

    Parameters
    ----------
    play : (str, str)
        What stands on the button, and what it does.
    before : sequence
        What else stands on the left of the bar.
    after : sequence
        What else stands on its right.
    """
    words, does = play
    drive = [
        *before,
        part("play", html.Button, words, type="button", className="play", aria_label=does),
        html.Label(["at ", part("rate", className="rate-place")], className="rate"),
        part("scrub_place", className="scrub-place"),
        *after,
        part("class_view", html.Button, "Class view", type="button", className="large", aria_pressed="false",
             title="Large readings, for a class"),
    ]  # fmt: skip
    return html.Section(
        [*readings, html.Div(drive, className="drive-bar")],
        className="cluster",
        **attributes(aria_label="Readings at the cursor", **data),
    )


def at_the_cursor(strips: Component, beside: Pieces) -> html.Div:
    """What was driven, and beside it what it is like where the cursor stands."""
    side = html.Div(beside, className="side", tabIndex=0, role="region", **attributes(aria_label="At the cursor"))
    return html.Div([strips, side], className="work")
