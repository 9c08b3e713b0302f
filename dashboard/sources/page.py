"""The Sources page: every published number beside what the laws of the trip give, what is modelled, and what is left out."""

import re
from pathlib import Path
from typing import TYPE_CHECKING, Any

import dash
from dash import Input, Output, dcc, html

from dashboard.panel.big_table import Cell, big_table, named
from dashboard.panel.pieces import card, refused
from dashboard.server.runs import Workshop
from sim.compiled import MODEL_VERSION
from sim.errors import HaulbenchError
from sim.trips.result import CAUTIONS

if TYPE_CHECKING:
    from sim.checks import Check

TITLE = "Sources"
PATH = "/sources"
ALL = "all"


def layout(query: dict[str, Any]) -> html.Div:
    """The page.

    Parameters
    ----------
    query : dict
        Of its address.
    """
    wanted = str(query.get("topic", ""))[:60]
    words = dcc.Input(
        id="sources-words",
        type="text",
        value=wanted,
        debounce=0.4,
        maxLength=60,
        placeholder="a word of topic or source",
    )
    verdicts = dcc.RadioItems(
        id="sources-verdict", options=[ALL, "pass", "fail"], value=ALL, inline=True, className="verdicts"
    )
    bar = [html.Label("Show only rows with", htmlFor="sources-words"), words, named("Verdict", verdicts)]
    checks = html.Div(html.P("Asking the laws ...", className="quiet"), id="sources-checks", role="status")
    version = f"Model version {MODEL_VERSION}. MIT licence. Trucks and roads are invented."
    return html.Div(
        [
            html.H1("Sources", className="unseen"),
            card(*[html.P(text) for text in CAUTIONS], kind="cautions"),
            card("Published numbers against the laws of the trip", html.Div(bar, className="bar"), checks),
            *written(),
            card("This program", html.P(version)),
        ],
        className="stack",
    )


def written() -> list[html.Section]:
    """What `modelled.md` beside this file says: under each heading a table of two columns, or a paragraph."""
    sections = []
    file = Path(__file__).with_name("modelled.md")
    for section in re.split("^#+ ", file.read_text(encoding="utf-8"), flags=re.MULTILINE)[1:]:
        heading, _, text = section.partition("\n")
        rows = re.findall(r"^\| (.+?) \| (.+) \|$", text, re.MULTILINE)[1:]  # below the head
        table = html.Tbody([html.Tr([html.Th(one, scope="row"), html.Td(other)]) for one, other in rows])
        sections.append(card(heading, html.Table(table, className="modelled") if rows else html.P(text)))
    return sections


def register(app: dash.Dash, workshop: Workshop) -> None:
    """Adds what the page asks the server for."""

    @app.callback(
        Output("sources-checks", "children"), Input("sources-words", "value"), Input("sources-verdict", "value")
    )
    def _checks(words: Any, verdict: Any) -> Any:
        from sim.checks import run_checks

        try:
            found = workshop.ask("published checks", run_checks)
        except HaulbenchError as problem:
            return refused(problem)
        return shown(found, str(words or "")[:60], str(verdict))


def shown(checks: "list[Check]", words: str, verdict: str) -> list[Any]:
    """The checks that are asked for, and how many there are.

    Parameters
    ----------
    checks : list of Check
        All.
    words : str
        A word that must stand in id, topic, source or inputs.
    verdict : str
        pass, fail, or all.
    """
    wanted = words.lower().split()
    chosen = [
        check
        for check in checks
        if (verdict not in ("pass", "fail") or check.verdict == verdict)
        and all(
            word in f"{check.id} {check.topic} {check.source} {check.inputs} {check.mark}".lower() for word in wanted
        )
    ]
    passed = sum(check.verdict == "pass" for check in checks)
    count = html.P(
        f"{passed} of {len(checks)} checks pass; {len(chosen)} shown. Each stands in the units in which its source is printed.",
        className="noted",
    )
    if not chosen:
        return [count, html.P("No row has these words; take one of them out.", className="quiet")]
    heads = ("id", "topic", "source", "mark", "expected", "got", "tolerance", "unit", "verdict")
    rows: list[list[Cell]] = [
        [
            (check.id, check.id, ""),
            (f"{check.topic}\n{check.inputs}", check.topic, ""),
            (check.source, check.source, ""),
            (check.mark, check.mark, ""),
            *((f"{value:.6g}", repr(value), "number") for value in (check.expected, check.got, check.tolerance)),
            (check.unit, check.unit, ""),
            (check.verdict, check.verdict, f"outcome {check.verdict}"),
        ]
        for check in chosen
    ]
    return [count, big_table(heads, rows, "Published checks")]
