"""The doors of the server: what may be asked over the network, and how.

Every route is a plain function that may take its time: it runs in a thread, never in the event loop, and knows who asks
(`dashboard.server.asking`). What is sent to it is read by one schema that refuses what it does not know; its depth, its numbers and
its size are bounded before that. A route of a page is made here and nowhere else.
"""

import asyncio
import gzip
from collections.abc import Callable, Mapping
from concurrent.futures import ThreadPoolExecutor
from contextvars import copy_context
from dataclasses import dataclass
from functools import partial
from typing import Any, TypeVar
from urllib.parse import parse_qsl

import pydantic
from pydantic_core import from_json
from starlette.requests import Request
from starlette.responses import Response

from dashboard.server import guard
from dashboard.server.asking import Asking, asked_by, place_of
from dashboard.server.runs import Gone
from sim.errors import HaulbenchError, SettingsError
from sim.messages import browser as say

THREADS = 160  # they mostly wait for the workers
LIGHT_THREADS = 16  # for what waits for nobody
MOST_DEPTH = 12  # of lists and tables within each other
MOST_VALUES = 20_000  # in one request
LARGEST = 2**63  # of numbers
LONGEST_KEY = 400  # letters of a key that a browser sends back
LEAST_PACKED = 500  # bytes: smaller answers are sent as they are
PACKING = 5  # of gzip

# kind of a problem with a value -> what belongs there
WANTED = {
    "missing": "a value, which is missing",
    "string_type": "a text",
    "string_too_long": "a text of {max_length} letters at most",
    "int_type": "a whole number",
    "float_type": "a number",
    "greater_than_equal": "a number of {ge:g} at least",
    "less_than_equal": "a number of {le:g} at most",
    "list_type": "a list",
    "too_long": "{max_length} of them at most",
    "dict_type": "a table",
}

Body = TypeVar("Body", bound="Question")
Answer = Response | Mapping[str, Any]


class Question(pydantic.BaseModel):
    """What a request may hold; the schema of each route is one of these."""

    model_config = pydantic.ConfigDict(extra="forbid", strict=True, frozen=True, arbitrary_types_allowed=True)


@dataclass(frozen=True)
class Visitor:
    """Who stands at a door, and what the address says.

    Parameters
    ----------
    address : str
        From which the request came; tells nobody who somebody is.
    secure : bool
        Whether it came over TLS.
    search : str
        What follows the question mark.
    names : dict
        Parts of the path that the route leaves open.
    """

    address: str
    cookies: dict[str, str]
    secure: bool
    search: str
    names: dict[str, str]

    @property
    def query(self) -> dict[str, str]:
        """What follows the question mark, by name. [-]

        Raises
        ------
        SettingsError
            There are too many values.
        """
        try:
            return dict(parse_qsl(self.search, max_num_fields=guard.MOST_FIELDS, keep_blank_values=True))
        except ValueError:
            raise SettingsError(say.many_values(most=guard.MOST_FIELDS)) from None


# ---------------------------------------------------------------- what comes in


def read_json(content: bytes) -> Any:
    """What a body says, if it is plain: not too deep, not too much, no number beyond all bounds.

    Raises
    ------
    SettingsError
        It is no such JSON.
    """
    try:
        value = from_json(content, allow_inf_nan=False)
    except ValueError:
        raise SettingsError(say.no_json()) from None
    level, seen = [value], 0
    for _ in range(MOST_DEPTH):
        seen += len(level)
        if seen > MOST_VALUES or any(isinstance(each, int | float) and not abs(each) <= LARGEST for each in level):
            raise SettingsError(say.much_json(most=MOST_VALUES))
        level = [
            inner
            for each in level
            if isinstance(each, list | dict)
            for inner in (each.values() if isinstance(each, dict) else each)
        ]
    if level:
        raise SettingsError(say.deep_json(most=MOST_DEPTH))
    return value


def read(schema: type[Body], content: bytes) -> Body:
    """A body by the schema of its route.

    Raises
    ------
    HaulbenchError
        It does not fit; the message says where and why.
    """
    value = read_json(content)
    if not isinstance(value, dict):
        raise SettingsError(say.no_setup(allowed=tuple(schema.model_fields)))
    try:
        return schema.model_validate(value)
    except pydantic.ValidationError as problem:
        first = problem.errors(include_url=False)[0]
        if first["type"] == "extra_forbidden":
            raise SettingsError(say.no_setup(allowed=tuple(schema.model_fields))) from None
        where = ".".join(str(part) for part in first["loc"])
        wanted = WANTED.get(first["type"], "something else").format(**first.get("ctx", {}))
        raise SettingsError(say.not_as_asked(where=where, given=first["input"], wanted=wanted)) from None


# ---------------------------------------------------------------- who is let in


def post(
    app: Any, path: str, schema: type[Body], function: Callable[[Body, Visitor], Answer], most: int = guard.MOST_BODY
) -> None:
    """Opens a door to which something is sent. A refusal of the model is an answer too: whoever asks is still typing.

    Parameters
    ----------
    schema : type
        What may be sent: a `Question`.
    function : callable
        Answers; runs in a thread.
    most : int
        Of a body. [byte]
    """

    def answered(content: bytes, visitor: Visitor) -> Answer:
        body = read(schema, content)
        try:
            return function(body, visitor)
        except HaulbenchError as problem:
            return {"message": str(problem)}

    _open(app, path, answered, most)


def upload(app: Any, path: str, function: Callable[[bytes, Visitor], Answer], most: int) -> None:
    """Opens a door to which a file is sent, as it is.

    Parameters
    ----------
    function : callable
        Answers; runs in a thread.
    most : int
        Of a file. [byte]
    """
    _open(app, path, function, most)


def get(app: Any, path: str, function: Callable[[Visitor], Answer], work: bool = True) -> None:
    """Opens a door at which something is fetched.

    Parameters
    ----------
    path : str
        May leave parts open, in braces.
    function : callable
        Answers; runs in a thread.
    work : bool
        As in `served`.
    """

    async def endpoint(request: Request) -> Response:
        return await served(request, function, work)

    app.server.add_route(path, endpoint, methods=["GET"])


def _open(app: Any, path: str, function: Callable[[bytes, Visitor], Answer], most: int) -> None:
    """A door to which something is sent."""
    guard.limit_body(path, most)

    async def endpoint(request: Request) -> Response:
        content = await request.body()
        return await served(request, partial(function, content))

    app.server.add_route(path, endpoint, methods=["POST"])


# ---------------------------------------------------------------- how they are served


def open_threads(server: Any) -> None:
    """Gives an application the threads in which its doors are served."""
    server.state.threads = ThreadPoolExecutor(THREADS, "door")
    server.state.light = ThreadPoolExecutor(LIGHT_THREADS, "light")
    server.state.working = 0


async def served(request: Request, function: Callable[[Visitor], Answer], work: bool = True) -> Response:
    """Answers a request in a thread, and tells whoever works for it when the browser leaves.

    Parameters
    ----------
    request : Request
        Its body has been read.
    work : bool
        Whether it may wait for workers: so many of these are served at once, and they hold up no others.

    Returns
    -------
    response : Response
        Packed where that is worth it.
    """
    visitor = Visitor(
        address=request.client.host if request.client else "",
        cookies=request.cookies,
        secure=request.url.scheme == "https",
        search=request.scope["query_string"].decode("utf-8", "replace"),
        names=request.path_params,
    )
    packs = "gzip" in request.headers.get("accept-encoding", "")
    asking = Asking(place_of(visitor.address))

    def answer_it() -> Response:
        with asked_by(asking):
            answer = function(visitor)
        response = answer if isinstance(answer, Response) else guard.answer(answer)
        return packed(response) if packs else response

    state, loop = request.app.state, asyncio.get_running_loop()
    if work and state.working >= THREADS:
        return guard.refusal(503, "everybody asks this server at once; wait a moment and ask again")
    state.working += work
    watching = loop.create_task(_leave(request, asking))
    try:
        threads = state.threads if work else state.light
        return await loop.run_in_executor(threads, copy_context().run, answer_it)
    except Gone:
        return guard.refusal(499, "nobody waits for this any longer")
    finally:
        state.working -= work
        watching.cancel()
        asking.leave()


async def _leave(request: Request, asking: Asking) -> None:
    """Waits until the browser has left."""
    while (await request.receive())["type"] != "http.disconnect":
        pass
    asking.leave()


def packed(response: Response) -> Response:
    """An answer in fewer bytes, where it is large enough and not packed already.

    Parameters
    ----------
    response : Response
        Changed.
    """
    if "content-encoding" not in response.headers and len(response.body) >= LEAST_PACKED:
        response.body = gzip.compress(response.body, PACKING, mtime=0)
        response.headers["Content-Encoding"] = "gzip"
        response.headers["Content-Length"] = str(len(response.body))
        response.headers["Vary"] = "Accept-Encoding"
    return response
