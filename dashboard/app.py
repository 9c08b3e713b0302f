"""The browser side as one application: a head with the pages, a room for the page, and what all pages share.

`create_app` builds it; importing this file does no work.
"""

import json
from functools import cache
from pathlib import Path
from typing import Any
from urllib.parse import parse_qsl

import dash
from dash import Input, Output, State, dcc, html

from dashboard.pages import pages
from dashboard.panel import ids
from dashboard.panel.attributes import attributes
from dashboard.panel.fields import described
from dashboard.server import doors, guard
from dashboard.server.backend import Backend
from dashboard.server.runs import Workshop
from sim.compiled import MODEL_VERSION
from sim.errors import HaulbenchError
from sim.trips.result import CAUTIONS
from sim.units import quantity_kinds
from sim.wording import wordings

NAME = "haulbench"
ROOMS = Path(__file__).parent
STYLES = (
    "shared/shared", "trip/trip", "gearing/gearing", "roads/roads", "fuel_study/fuel_study", "sources/sources", "dyno/dyno",
    "knobs/knobs", "speedometer/speedometer", "hidden_fault/hidden_fault",
)  # fmt: skip
SCRIPTS = sorted(file.relative_to(ROOMS).as_posix() for file in ROOMS.glob("*/*.js"))

INDEX = f"""<!DOCTYPE html>
<html lang="en" data-units="metric">
<head>
{{%metas%}}
<title>{{%title%}}</title>
<link rel="icon" href="/assets/shared/mark.svg" type="image/svg+xml">
{{%css%}}
{"".join(f'<link rel="stylesheet" href="/assets/{name}.css">' for name in STYLES)}
{"".join(f'<link rel="modulepreload" href="/assets/{name}">' for name in SCRIPTS)}
<link rel="preload" href="/words.json" as="fetch" crossorigin>
<script type="module" src="/assets/shared/main.js"></script>
</head>
<body>
<noscript>These pages need JavaScript; it comes from this machine only.</noscript>
{{%app_entry%}}
<footer>{{%config%}}{{%scripts%}}{{%renderer%}}</footer>
</body>
</html>"""


def create_app(workshop: Workshop, host: str = "127.0.0.1") -> dash.Dash:
    """The application, ready to be served.

    Parameters
    ----------
    workshop : Workshop
        Drives the trips.
    host : str
        On which it will listen.
    """
    app = dash.Dash(
        NAME,
        assets_folder=str(ROOMS),
        include_assets_files=False,  # they stand in INDEX
        pages_folder="",
        use_pages=False,
        serve_locally=True,
        backend=Backend,
        title=NAME,
        update_title=None,  # type: ignore[arg-type]
        index_string=INDEX,
        suppress_callback_exceptions=True,
        add_log_handler=False,
        on_error=_say,
        enable_mcp=False,
        meta_tags=[{"name": "viewport", "content": "width=device-width, initial-scale=1"}],
    )
    app.enable_dev_tools(debug=False)
    there = pages()
    app.layout = _frame(there)

    @app.callback(Output(ids.PAGE, "children"), Input(ids.PLACE, "pathname"), State(ids.PLACE, "search"))
    def _show(path: Any, search: Any) -> Any:
        return _page_at(there, str(path or "/"), str(search or ""))

    titles = json.dumps({page.PATH.rstrip("/"): f"{page.TITLE} - {NAME}" for page in there})
    app.clientside_callback(
        f"function(path) {{ return document.title = {titles}[path.replace(/\\/$/, '')] || '{NAME}'; }}",
        Output(ids.TITLE, "data"),
        Input(ids.PLACE, "pathname"),
    )
    for page in there:
        page.register(app, workshop)
    backend: Any = app.backend
    backend.keep_file("/fields.json", lambda: json.dumps(described()).encode())
    words = {"quantities": quantity_kinds(), "wordings": wordings()}
    backend.keep_file("/words.json", lambda: json.dumps(words).encode())
    doors.get(app, "/ready", lambda _: {"ready": workshop.ready.is_set(), "trouble": workshop.trouble}, work=False)
    backend.answer_the_rest()
    app._setup_server()  # now and alone: many asking at once at the very first would be refused
    app.server.add_middleware(guard.Guard, host=host, policy=cache(lambda: guard.policy_of(app)))
    return app


def _say(problem: Exception) -> Any:
    """Says on the page what went wrong in a callback."""
    if isinstance(problem, HaulbenchError):
        message = str(problem)
    else:
        guard.note(problem)
        message = "Something went wrong on the server; it has been noted there."
    dash.set_props(ids.MESSAGE, {"children": message})
    return dash.no_update


def _frame(there: list[Any]) -> html.Div:
    """What stands around every page."""
    links = [html.A(page.TITLE, href=page.PATH, **attributes(data_path=page.PATH)) for page in there]
    return html.Div(
        [
            dcc.Location(id=ids.PLACE, refresh=False),
            dcc.Store(id=ids.UNITS, data="metric"),
            dcc.Store(id=ids.TITLE),
            html.A("To the page", href="#page", className="skip"),
            html.Header(
                [
                    html.A(
                        [html.Span(className="mark", **attributes(aria_hidden="true")), NAME],
                        href="/",
                        className="name",
                    ),
                    html.Nav(links, **attributes(aria_label="Pages")),
                    html.Div(
                        id=ids.UNIT_SWITCH, className="unit-switch", role="group", **attributes(aria_label="Units")
                    ),
                ],
                className="head",
            ),
            html.P(id=ids.MESSAGE, className="message", role="alert"),
            html.Main(html.P("Opening the page ...", className="quiet"), id=ids.PAGE, tabIndex=-1),
            html.Footer(
                [html.P(" ".join(CAUTIONS)), html.P(f"Model version {MODEL_VERSION}", className="quiet")],
                className="cautions",
                **attributes(aria_label="Cautions"),
            ),
        ],
        className="frame",
    )


def _page_at(there: list[Any], path: str, search: str) -> Any:
    """The content of the page at a path."""
    for page in there:
        if page.PATH.rstrip("/") == path.rstrip("/"):
            query = dict(parse_qsl(search.lstrip("?")[: guard.MOST_QUERY], keep_blank_values=True))
            return page.layout({**query, "?": search[: guard.MOST_QUERY]})
    return html.Div(
        [html.H1("There is no such page"), html.P(html.A("To the first page", href="/"))], className="empty"
    )
