"""Dash on FastAPI, with every door shut that the pages do not use, and none of its work in the event loop.

As it comes, that backend runs callbacks in the event loop, packs answers there, opens pages of documentation and a socket for
callbacks, and answers what it does not expect with a traceback or a 500.
"""

import gzip
import hashlib
import mimetypes
import pkgutil
from collections.abc import Callable
from pathlib import Path
from typing import Any

from dash.backends._fastapi import FastAPIDashServer, reset_current_request, set_current_request
from dash.exceptions import PreventUpdate
from dash.fingerprint import check_fingerprint
from fastapi import FastAPI
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import Response

from dashboard.server import doors, guard
from sim.errors import SettingsError
from sim.messages import browser as say

KEPT_FOR_EVER = "public, max-age=31536000, immutable"
SMALLER = 9  # packing of files, done once
KINDS = mimetypes.MimeTypes()  # not what a machine calls them: a browser runs no module that is sent as another kind
PACKED_ALREADY = {".png", ".woff", ".woff2", ".jpg", ".gif"}


class Kept:
    """A file that never changes while the server runs: read and packed once, sent from memory.

    Parameters
    ----------
    name : str
        Whose ending tells its kind.
    lasting : bool
        Whether its address changes with its content.
    """

    def __init__(self, content: bytes, name: str, lasting: bool = False) -> None:
        self._whole = content
        self._small = b"" if Path(name).suffix in PACKED_ALREADY else gzip.compress(content, SMALLER, mtime=0)
        self._tag = f'"{hashlib.blake2b(content, digest_size=12).hexdigest()}"'
        kind = KINDS.guess_type(name)[0] or "application/octet-stream"
        self._headers = {"Content-Type": f"{kind}; charset=utf-8" if kind.startswith("text/") else kind}
        self._headers |= {"Cache-Control": KEPT_FOR_EVER if lasting else "no-cache", "ETag": self._tag}

    def answer(self, request: Request) -> Response:
        """The file, or that the browser has it."""
        if self._tag in request.headers.get("if-none-match", ""):
            return Response(status_code=304, headers={"ETag": self._tag})
        headers = {**self._headers, "Vary": "Accept-Encoding"}
        if self._small and "gzip" in request.headers.get("accept-encoding", ""):
            return Response(self._small, headers={**headers, "Content-Encoding": "gzip"})
        return Response(self._whole, headers=headers)


class Backend(FastAPIDashServer):
    """What Dash asks of a web framework, as these pages need it.

    Parameters
    ----------
    server : FastAPI
        Of `create_app`.
    """

    websocket_capability = False

    def __init__(self, server: FastAPI) -> None:
        super().__init__(server)
        doors.open_threads(server)
        self._files: dict[Any, Kept] = {}

    @staticmethod
    def create_app(name: str = "", config: dict[str, Any] | None = None) -> FastAPI:
        """An application that tells nobody about itself."""
        server = FastAPI(docs_url=None, redoc_url=None, openapi_url=None, redirect_slashes=False)
        server.add_exception_handler(HTTPException, lambda _, problem: guard.answer_to(problem))
        return server

    def enable_compression(self) -> None:
        """Answers are packed where they are made."""

    def setup_backend(self, dash_app: Any) -> None:
        """What would run before every request runs once, when the application is made."""

    # ------------------------------------------------------------ files

    def register_assets_blueprint(self, blueprint_name: str, assets_url_path: str, assets_folder: str) -> None:
        """The files of the pages, as they are when the server begins: an upgrade under it mixes nothing."""
        folder = Path(assets_folder)
        there = {
            file.relative_to(folder).as_posix(): file.read_bytes()
            for kind in ("js", "css", "svg")
            for file in folder.glob(f"*/*.{kind}")
        }
        self._add_files(
            f"{assets_url_path.rstrip('/')}/{{name:path}}",
            lambda name: name if name in there else None,
            lambda name: Kept(there[name], name),
        )

    def setup_component_suites(self, dash_app: Any) -> None:  # type: ignore[override]
        """The files of the component libraries: those a page may ask for, and no other."""

        def known(name: str) -> tuple[str, str, bool] | None:
            package, _, inside = name.partition("/")
            path, lasting = check_fingerprint(inside)
            return (package, path, lasting) if path in dash_app.registered_paths.get(package, ()) else None

        def make(file: tuple[str, str, bool]) -> Kept:
            package, path, lasting = file
            return Kept(pkgutil.get_data(package, path) or b"", path, lasting)

        self._add_files("/_dash-component-suites/{name:path}", known, make)

    def keep_file(self, path: str, make: Callable[[], bytes]) -> None:
        """Serves something that is worked out once."""
        self._add_files(path, lambda _: path, lambda name: Kept(make(), name))

    def _add_files(self, path: str, known: Callable[[str], Any], make: Callable[[Any], Kept]) -> None:
        """Files below a path: from memory, or read in a thread when they are asked for first; kept by what they are, not by
        how they were asked for.
        """

        async def endpoint(request: Request) -> Response:
            file = known(request.path_params.get("name", ""))
            if file is None:
                return guard.refusal(404, "Not Found: nothing here answers that")
            if (path, file) not in self._files:

                def look(_: doors.Visitor) -> Response:
                    self._files[path, file] = make(file)
                    return self._files[path, file].answer(request)

                return await doors.served(request, look, work=False)
            return self._files[path, file].answer(request)

        self.server.add_route(path, endpoint, methods=["GET"])

    # ------------------------------------------------------------ what pages ask for

    def add_url_rule(
        self,
        rule: str,
        view_func: Any,
        endpoint: str | None = None,
        methods: list[str] | None = None,
        include_in_schema: bool = False,
    ) -> None:
        """What the browser's side of Dash asks for: layout, list of callbacks, and the callbacks themselves.

        Parameters
        ----------
        view_func : callable
            Takes nothing.
        """
        if rule.endswith(UNUSED):
            return

        async def answered(request: Request) -> Response:
            content = await request.body()

            def work(_: doors.Visitor) -> Response:
                request.state.json_body = doors.read_json(content) if content else None
                token = set_current_request(request)
                try:
                    response: Response = view_func()
                finally:
                    reset_current_request(token)
                return response

            return await doors.served(request, work, work=methods == ["POST"])

        self.server.add_route(rule or "/", answered, methods=methods or ["GET"])

    def setup_index(self, dash_app: Any) -> None:
        """The frame of the pages, under every address that nothing else answers."""
        self._frame_of = lambda: Response(dash_app.index(), media_type="text/html")
        self.add_url_rule("", self._frame_of)

    def setup_catchall(self, dash_app: Any) -> None:
        """Nothing yet: the routes of the pages come first; `answer_the_rest` is called after them."""

    def answer_the_rest(self) -> None:
        """Has the frame of the pages answer what nothing else does."""
        self.add_url_rule("/{path:path}", self._frame_of)

    def serve_callback(self, dash_app: Any) -> Any:
        """How a callback is called."""

        def dispatch() -> Response:
            body = self.request_adapter().get_json()
            _check_callback(dash_app.callback_map, body)
            context = dash_app._initialize_context(body)
            function = dash_app._prepare_callback(context, body)
            given = dash_app._inputs_to_vals(context.inputs_list + context.states_list)
            try:
                text = dash_app._execute_callback(function, given, context.outputs_list, context)()
            except PreventUpdate:
                return Response(status_code=204)
            return Response(text, media_type="application/json", headers={"Cache-Control": "no-store"})

        return dispatch


UNUSED = ("_reload-hash", "_favicon.ico")


def _check_callback(known: dict[str, Any], body: Any) -> None:
    """Refuses what is no call of a callback of these pages: only the values in it are anybody's choice."""
    try:
        called = known[body["output"]]
        fits = "callback" in called and all(
            isinstance(body.get(name, []), list)
            and [(each["id"], each["property"]) for each in body.get(name, [])]
            == [(each["id"], each["property"]) for each in called[name]]
            for name in ("inputs", "state")
        )
        outputs = body["outputs"] if body["output"].startswith("..") else [body["outputs"]]
        named = [f"{each['id']}.{each['property'].partition('@')[0]}" for each in outputs]
        changed = body.get("changedPropIds", [])
        names = {f"{each['id']}.{each['property']}" for each in called["inputs"]}
        fits = fits and named == _outputs_of(body["output"]) and isinstance(changed, list) and names.issuperset(changed)
    except (KeyError, TypeError, AttributeError):
        fits = False
    if not fits:
        raise SettingsError(say.no_callback())


def _outputs_of(name: str) -> list[str]:
    """What a callback writes, by its name: `..a.children...b.data..`, or `a.children`; what stands behind an @ is no part."""
    names = name[2:-2].split("...") if name.startswith("..") else [name]
    return [each.partition("@")[0] for each in names]
