"""Who may ask the server what: the adversary is somebody on the same network.

Names of hosts and origins are checked against what this server is, bodies have a size and a time, the browser may run only this
server's own scripts and talk only to it, and no answer carries a traceback. It stands before everything else, for requests and
for sockets alike. Who somebody is, is not asked here: neither an address nor a header says that.
"""

import asyncio
import contextlib
import ipaddress
import socket
import sys
import time
import traceback
from collections import Counter
from collections.abc import Callable, Mapping
from typing import Any
from urllib.parse import urlsplit

from starlette.datastructures import Headers, MutableHeaders
from starlette.exceptions import HTTPException
from starlette.requests import ClientDisconnect
from starlette.responses import JSONResponse, Response
from starlette.types import ASGIApp, Message, Receive, Scope, Send
from starlette.websockets import WebSocket

from dashboard.server.asking import place_of
from sim.errors import HaulbenchError

MOST_BODY = 262_144  # bytes of a request, unless its path is named below
MOST_BODY_AT: dict[str, int] = {}  # path -> bytes; a page that takes uploads puts its own path here in `register`
MOST_QUERY = 32_768  # letters of an address
MOST_FIELDS = 300  # values in it
MOST_AT_ONCE = 12  # requests from one machine that are being answered
MOST_SOCKETS = 4  # of one machine
A_SECOND, AT_A_STRETCH = 20.0, 120.0  # requests of one machine, and how many at a stretch before that counts
MOST_ASKERS = 4096  # machines remembered before those that have been quiet are let go
PATIENCE = 30.0  # s for a body to arrive ...
SLOWEST = 16_384.0  # ... and one more for so many bytes of it
SILENCE = 15.0  # s between two pieces of it
MOST_COMING = 134_217_728  # bytes of bodies that are on their way, of all machines together
MOST_DRAINED = 33_554_432  # bytes of a refused body that are taken in, so that its sender hears why
LONGEST_DRAIN = 5.0  # s
LOCAL_NAMES = {"localhost"}
SMALL_CHANGE = ("/assets/", "/_dash-component-suites/", "/fields.json", "/words.json")  # files of the pages: no work
CALLBACKS = "/_dash-update-component"
LATE = 1.0  # s: who asks too often hears so no sooner, and so has to ask less often
WORK = 3.0  # as how many requests one counts that has a trip or a run worked out
MEDIA = {"html": "text/html", "csv": "text/csv", "json": "application/json", "toml": "application/toml"}
HEADERS = {
    "X-Content-Type-Options": "nosniff",
    "X-Frame-Options": "DENY",
    "Referrer-Policy": "same-origin",
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
    "Permissions-Policy": "camera=(), geolocation=(), microphone=()",
}


def limit_body(path: str, most: int) -> None:
    """Lets requests to one path be larger.

    Parameters
    ----------
    most : int
        [byte]
    """
    MOST_BODY_AT[path] = most


def own_names(host: str) -> set[str]:
    """Names by which a server that listens on a host may be asked; addresses in numbers are always allowed beside them.

    Parameters
    ----------
    host : str
        As it is bound.

    Returns
    -------
    names : set of str
        Lower case.

    Notes
    -----
    A name that somebody else's name server points here (DNS rebinding) is none of these and is refused.
    """
    names = set(LOCAL_NAMES)
    if not is_loopback(host):
        own = socket.gethostname().lower()
        names |= {own, own.partition(".")[0], own.partition(".")[0] + ".local", host.lower()}
    return names


def is_loopback(address: str | None) -> bool:
    """Whether an address can only be reached from this machine.

    Parameters
    ----------
    address : str or None
        In numbers, or `localhost`.

    Examples
    --------
    >>> is_loopback("127.0.0.1"), is_loopback("::1"), is_loopback("192.0.2.7"), is_loopback("elsewhere")
    (True, True, False, False)
    """
    if address in LOCAL_NAMES:
        return True
    try:
        found = ipaddress.ip_address(str(address).strip("[]"))
    except ValueError:
        return False
    mapped = getattr(found, "ipv4_mapped", None)
    return bool((mapped or found).is_loopback)


def _host_is_ours(text: str, names: set[str], only_loopback: bool) -> bool:
    """Whether a Host header names this server."""
    try:
        host = urlsplit(f"//{text}").hostname or ""
    except ValueError:
        return False
    if host in names:
        return True
    try:
        ipaddress.ip_address(host)
    except ValueError:
        return False
    return is_loopback(host) or not only_loopback


def _place_of(origin: str) -> str:
    """Host and port of an origin."""
    try:
        return urlsplit(origin).netloc
    except ValueError:
        return ""


def refusal(code: int, message: str) -> Response:
    """An answer that says why there is none.

    Parameters
    ----------
    code : int
        Of HTTP.

    Returns
    -------
    response : Response
        JSON with `message`.
    """
    return JSONResponse({"message": message}, code)


class TooMuch(Exception):  # noqa: N818 - an answer, no error of the program
    """A body is larger or slower than its path takes.

    Parameters
    ----------
    code : int
        Of HTTP.
    """

    def __init__(self, code: int, message: str) -> None:
        super().__init__(message)
        self.code, self.message = code, message


class Guard:
    """Stands before an application: refuses what is not for it, bounds what comes in, puts the headers on what goes out.

    Parameters
    ----------
    app : callable
        ASGI.
    host : str
        On which the server listens.
    policy : callable
        Gives the content-security policy, once all scripts are known.
    """

    def __init__(self, app: ASGIApp, host: str, policy: Callable[[], str]) -> None:
        self._app, self._policy = app, policy
        self._names, self._only_loopback = own_names(host), is_loopback(host)
        self._answering, self._sockets = Counter[str](), Counter[str]()  # by the address they came from
        self._pace = Pace(A_SECOND, AT_A_STRETCH)
        self._coming = Coming()

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Serves one request or socket.

        Parameters
        ----------
        scope : mapping
            As in the ASGI specification.
        """
        if scope["type"] not in ("http", "websocket"):
            await self._app(scope, receive, send)
            return
        asker = place_of((scope.get("client") or ("", 0))[0])
        http = scope["type"] == "http"
        counting, most = (self._answering, MOST_AT_ONCE) if http else (self._sockets, MOST_SOCKETS)
        refused = self._refused(scope)
        if refused is None and (refused := self._crowded(asker, scope, counting, most)):
            await asyncio.sleep(LATE)
        counting[asker] += 1
        try:
            if not http:
                await (_refuse_socket(refused, scope, receive, send) if refused else self._app(scope, receive, send))
            else:
                await self._answer(refused, scope, receive, send)
        finally:
            counting[asker] -= 1
            if counting[asker] <= 0:
                del counting[asker]

    async def _answer(self, refused: Response | None, scope: Scope, receive: Receive, send: Send) -> None:
        """Answers a request, whatever comes of it."""
        begun = False

        async def with_headers(message: Message) -> None:
            nonlocal begun
            if message["type"] == "http.response.start":
                begun = True
                headers = MutableHeaders(raw=message.setdefault("headers", []))
                headers["Content-Security-Policy"] = self._policy()
                headers.update(HEADERS)
            await send(message)

        body = _Body(receive, MOST_BODY_AT.get(scope["path"], MOST_BODY), self._coming)
        try:
            if refused is None:
                await self._app(scope, body, with_headers)
                return
        except TooMuch as problem:
            refused = refusal(problem.code, problem.message)
        except ClientDisconnect:
            return
        except Exception as problem:
            if body.left:  # what goes wrong when nobody listens is nobody's fault
                return
            refused = answer_to(problem)
        finally:
            body.arrived()
        if not begun:
            if {b"content-length", b"transfer-encoding"} & {name for name, _ in scope["headers"]}:
                await body.drain()  # or the sender hears of a broken connection instead of the reason
            await refused(scope, receive, with_headers)

    def _refused(self, scope: Scope) -> Response | None:
        """Why this is not for this server, or None."""
        headers = Headers(scope=scope)
        host = ",".join(headers.getlist("host"))
        if not _host_is_ours(host, self._names, self._only_loopback):
            return refusal(403, "this server does not go by that name; use the address it printed when it started")
        origin = headers.get("origin")
        if origin is not None and _place_of(origin) != host:
            return refusal(403, "this request comes from a page of another server")
        elsewhere = headers.get("sec-fetch-site", "same-origin") not in ("same-origin", "none")
        link = (
            scope.get("method") == "GET"
            and headers.get("sec-fetch-mode") == "navigate"
            and headers.get("sec-fetch-dest", "document") == "document"
            and "." not in scope["path"]  # a page, and no file that is worked out for whoever follows the link
        )
        if elsewhere and not link:
            return refusal(403, "this request comes from a page of another server")
        if len(scope.get("raw_path") or scope["path"]) + len(scope["query_string"]) > MOST_QUERY:
            return refusal(414, f"an address may have {MOST_QUERY} letters at most")
        most = MOST_BODY_AT.get(scope["path"], MOST_BODY)
        stated = headers.get("content-length", "0")
        if stated.isascii() and stated.isdigit() and int(stated[:18]) > most:
            return refusal(413, f"{stated[:18]} bytes were sent; at most {most} are taken here")
        return None

    def _crowded(self, asker: str, scope: Scope, counting: Counter[str], most: int) -> Response | None:
        """Why this machine has to wait, or None."""
        if counting[asker] >= most:
            return refusal(429, f"{most} requests of this machine are being answered already; wait for them")
        work = scope.get("method") == "POST" and scope["path"] != CALLBACKS
        small = scope["path"].startswith(SMALL_CHANGE)
        if not small and not self._pace.takes(asker, time.monotonic(), WORK if work else 1.0):
            return refusal(429, f"this machine asks more than {A_SECOND} times a second; wait a moment")
        return None


class Pace:
    """How often each machine has asked lately: so many a second, and so many at a stretch before that counts.

    Parameters
    ----------
    a_second : float
        [1/s]
    """

    def __init__(self, a_second: float, at_a_stretch: float) -> None:
        self._a_second, self._stretch = a_second, at_a_stretch
        self._full: dict[str, float] = {}  # when a machine has all its places again; no entry for one that has

    def takes(self, asker: str, now: float, weight: float = 1.0) -> bool:
        """Whether one more is taken.

        Parameters
        ----------
        now : float
            [s]
        weight : float
            As how many it counts.

        Examples
        --------
        >>> pace = Pace(1.0, 2.0)
        >>> [pace.takes("a", 0.0), pace.takes("a", 0.0), pace.takes("a", 0.0), pace.takes("b", 0.0), pace.takes("a", 1.0)]
        [True, True, False, True, True]
        """
        if len(self._full) > MOST_ASKERS:
            self._full = {each: until for each, until in self._full.items() if until > now}
        until = max(self._full.get(asker, now), now) + weight / self._a_second
        if until > now + self._stretch / self._a_second + 1e-9:
            return False
        self._full[asker] = until
        return True


class Coming:
    """How many bytes of bodies have come in for requests whose bodies are not whole yet, of all machines together."""

    def __init__(self) -> None:
        self.bytes = 0


class _Body:
    """Receives the body of a request as far as it may be large, and as long as it may take."""

    def __init__(self, receive: Receive, most: int, coming: Coming) -> None:
        self._receive, self._most, self._coming = receive, most, coming
        self._got, self._counted, self._over, self._begun = 0, 0, False, time.monotonic()
        self.left = False

    def arrived(self) -> None:
        """Nothing more is waited for."""
        self._coming.bytes -= self._counted
        self._counted = 0

    async def __call__(self) -> Message:
        """The next message."""
        if self._over:
            message = await self._receive()  # waits until the browser has left
            self.left = self.left or message["type"] == "http.disconnect"
            return message
        left = min(self._begun + PATIENCE + self._got / SLOWEST - time.monotonic(), SILENCE)
        try:
            message = await asyncio.wait_for(self._receive(), max(left, 0.0))
        except TimeoutError:
            self._over = True
            raise TooMuch(408, f"the request did not arrive within {PATIENCE:.0f} s; send it again") from None
        size = len(message.get("body", b""))
        self._got += size
        self._counted += size
        self._coming.bytes += size
        self._over = not message.get("more_body", False)
        self.left = message["type"] == "http.disconnect"
        if self._over:
            self.arrived()
        elif self._coming.bytes > MOST_COMING:
            raise TooMuch(503, "too much is being sent to this server at once; wait a moment and send it again")
        if self._got > self._most:
            raise TooMuch(413, f"more than {self._most} bytes were sent; at most that many are taken here")
        return message

    async def drain(self) -> None:
        """Takes in what is still coming, as long as that is worth it."""
        self._begun, self._most = time.monotonic(), self._got + MOST_DRAINED
        with contextlib.suppress(TooMuch, TimeoutError):
            async with asyncio.timeout(LONGEST_DRAIN):
                while not self._over:
                    await self()


async def _refuse_socket(refused: Response, scope: Scope, receive: Receive, send: Send) -> None:
    """Says why a socket is not opened."""
    await WebSocket(scope, receive, send).send_denial_response(refused)


def answer(values: Mapping[str, Any]) -> Response:
    """An answer in JSON.

    Returns
    -------
    response : Response
        Not to be kept by anybody between.
    """
    return JSONResponse(dict(values), headers={"Cache-Control": "no-store"})


def columns(packed: bytes) -> Response:
    """What `dashboard.server.packing.pack` has packed, as an answer."""
    headers = {"Content-Encoding": "gzip", "Cache-Control": "no-store"}
    return Response(packed, media_type="application/octet-stream", headers=headers)


def file(content: str | bytes, name: str) -> Response:
    """A file to be saved under a name whose ending says what it is."""
    headers = {
        "Content-Type": f"{MEDIA[name.rpartition('.')[2]]}; charset=utf-8",
        "Content-Disposition": f'attachment; filename="{name}"',
        "Cache-Control": "no-store",
    }
    return Response(content, headers=headers)


def answer_to(problem: Exception) -> Response:
    """What the client hears of a failure: why, when it is the input's fault, and never a traceback."""
    if isinstance(problem, HaulbenchError):
        return refusal(400, str(problem))
    if isinstance(problem, HTTPException):
        return refusal(problem.status_code, f"{problem.detail}: nothing here answers that")
    note(problem)
    return refusal(500, "something went wrong on the server; it has been noted there")


def note(problem: BaseException) -> None:
    """Says on the server's own terminal what went wrong, in one line and where."""
    if not _noting.takes("", time.monotonic()):
        return
    place = traceback.extract_tb(problem.__traceback__)[-1] if problem.__traceback__ else None
    where = f" at {place.filename}:{place.lineno}" if place else ""
    text = ascii(f"{type(problem).__name__}: {problem}"[:300])[1:-1]
    print(f"haulbench: {text}{where}", file=sys.stderr, flush=True)


_noting = Pace(0.5, 20.0)  # lines a second, and at a stretch: a terminal stays legible


def policy_of(app: Any) -> str:
    """What a browser may load for the pages: this server's own files, and the scripts that stand in its own page.

    Parameters
    ----------
    app : Dash
        With all its callbacks registered.

    Returns
    -------
    policy : str
        The value of the header Content-Security-Policy.
    """
    scripts = " ".join(dict.fromkeys(app.csp_hashes()))
    return (
        f"default-src 'self'; script-src 'self' {scripts}; style-src 'self' 'unsafe-inline'; img-src 'self' data: blob:;"
        " connect-src 'self'; font-src 'self'; object-src 'none'; base-uri 'none'; form-action 'none'; frame-ancestors 'none'"
    )
