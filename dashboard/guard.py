"""Who may ask the server what: the adversary is somebody on the same network.

Names of hosts and origins are checked against what this server is, bodies have a size, the browser may run only this server's
own scripts and talk only to it, and no answer carries a traceback.
"""

import ipaddress
import socket
import sys
import threading
import traceback
from collections import Counter
from collections.abc import Callable, Mapping
from typing import Any
from urllib.parse import urlsplit

import flask
from werkzeug.exceptions import HTTPException, RequestEntityTooLarge

from sim.errors import HaulbenchError

MOST_BODY = 262_144  # bytes of a request, unless its path is named below
MOST_BODY_AT: dict[str, int] = {}  # path -> bytes; a page that takes uploads puts its own path here in `register`
MOST_QUERY = 32_768  # letters of an address
MOST_AT_ONCE = 12  # requests from one other machine that are being answered
LOCAL_NAMES = {"localhost"}


def limit_body(path: str, most: int) -> None:
    """Lets requests to one path be larger.

    Parameters
    ----------
    path : str
        [-]
    most : int
        [byte]
    """
    MOST_BODY_AT[path] = most


def own_names(host: str) -> set[str]:
    """Names by which a server that listens on a host may be asked; addresses in numbers are always allowed beside them.

    Parameters
    ----------
    host : str
        As it is bound. [-]

    Returns
    -------
    names : set of str
        Lower case. [-]

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
        In numbers, or `localhost`. [-]

    Returns
    -------
    loopback : bool
        [-]

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


def from_this_machine(request: flask.Request) -> bool:
    """Whether a request was made on the machine the server runs on: what an instructor's functions ask first.

    Parameters
    ----------
    request : Request
        [-]

    Returns
    -------
    here : bool
        False for one that was passed on by something in between. [-]
    """
    passed_on = any(name in request.headers for name in ("X-Forwarded-For", "Forwarded", "Via"))
    return is_loopback(request.remote_addr) and not passed_on


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


def refusal(code: int, message: str) -> flask.Response:
    """An answer that says why there is none.

    Parameters
    ----------
    code : int
        Of HTTP. [-]
    message : str
        [-]

    Returns
    -------
    response : Response
        JSON with `message`. [-]
    """
    response = flask.jsonify({"message": message})
    response.status_code = code
    return response


def protect(app: Any, host: str) -> None:
    """Puts the checks before every request of an app, and the headers on every answer.

    Parameters
    ----------
    app : Dash
        With all its callbacks registered. [-]
    host : str
        On which it listens. [-]
    """
    server: flask.Flask = app.server
    names, only_loopback = own_names(host), is_loopback(host)
    server.config["MAX_CONTENT_LENGTH"] = MOST_BODY
    server.config["PROPAGATE_EXCEPTIONS"] = False
    policy: list[str] = []
    counting, answering = threading.Lock(), Counter[str]()  # requests being answered, by the machine they came from

    @server.before_request
    def check() -> flask.Response | None:
        request = flask.request
        if not _host_is_ours(request.host, names, only_loopback):
            return refusal(403, "this server does not go by that name; use the address it printed when it started")
        origin = request.headers.get("Origin")
        if origin is not None and urlsplit(origin).netloc != request.host:
            return refusal(403, "this request comes from a page of another server")
        elsewhere = request.headers.get("Sec-Fetch-Site", "same-origin") not in ("same-origin", "none")
        followed = request.method == "GET" and request.headers.get("Sec-Fetch-Mode") == "navigate"  # a link to a page
        if elsewhere and not followed:
            return refusal(403, "this request comes from a page of another server")
        if len(request.full_path) > MOST_QUERY:
            return refusal(414, f"an address may have {MOST_QUERY} letters at most")
        most = MOST_BODY_AT.get(request.path, MOST_BODY)
        request.max_content_length = most
        if request.content_length is not None and request.content_length > most:
            return refusal(413, f"{request.content_length} bytes were sent; at most {most} are taken here")
        asker = request.remote_addr or ""
        if not is_loopback(asker):
            with counting:
                if answering[asker] >= MOST_AT_ONCE:
                    return refusal(
                        429, f"{MOST_AT_ONCE} requests of this machine are being answered already; wait for them"
                    )
                answering[asker] += 1
                flask.g.counted = asker
        return None

    @server.teardown_request
    def answered(_: BaseException | None) -> None:
        asker = flask.g.pop("counted", None)
        if asker is not None:
            with counting:
                answering[asker] -= 1
                if answering[asker] <= 0:
                    del answering[asker]

    @server.after_request
    def headers(response: flask.Response) -> flask.Response:
        if not policy:
            policy.append(_policy(app))
        response.headers["Content-Security-Policy"] = policy[0]
        response.headers["X-Content-Type-Options"] = "nosniff"
        response.headers["X-Frame-Options"] = "DENY"
        response.headers["Referrer-Policy"] = "same-origin"
        response.headers["Cross-Origin-Opener-Policy"] = "same-origin"
        response.headers["Cross-Origin-Resource-Policy"] = "same-origin"
        response.headers["Permissions-Policy"] = "camera=(), geolocation=(), microphone=()"
        return response

    @server.errorhandler(Exception)
    def failed(problem: Exception) -> flask.Response:
        return answer_to(problem)


def told(make: Callable[[], Mapping[str, Any]]) -> flask.Response:
    """An answer in JSON; a refusal of the model is one too, under `message`: whoever asks is still typing.

    Parameters
    ----------
    make : callable
        Gives what is told. [-]

    Returns
    -------
    response : Response
        Not to be kept by anybody between. [-]
    """
    try:
        response = flask.jsonify(make())
    except HaulbenchError as problem:
        response = flask.jsonify({"message": str(problem)})
    response.headers["Cache-Control"] = "no-store"
    return response


def columns(packed: bytes) -> flask.Response:
    """What `dashboard.packing.pack` has packed, as an answer.

    Parameters
    ----------
    packed : bytes
        [-]

    Returns
    -------
    response : Response
        [-]
    """
    response = flask.Response(packed, mimetype="application/octet-stream")
    response.headers["Content-Encoding"] = "gzip"
    response.headers["Cache-Control"] = "no-store"
    return response


def file(content: str | bytes, kind: str, name: str) -> flask.Response:
    """A file to be saved.

    Parameters
    ----------
    content : str or bytes
        [-]
    kind : str
        Its content type. [-]
    name : str
        Under which it is saved. [-]

    Returns
    -------
    response : Response
        [-]
    """
    response = flask.Response(content, content_type=kind)
    response.headers["Content-Disposition"] = f'attachment; filename="{name}"'
    response.headers["Cache-Control"] = "no-store"
    return response


def answer_to(problem: Exception) -> flask.Response:
    """What the client hears of a failure: why, when it is the input's fault, and never a traceback.

    Parameters
    ----------
    problem : Exception
        [-]

    Returns
    -------
    response : Response
        [-]
    """
    if isinstance(problem, HaulbenchError):
        return refusal(400, str(problem))
    if isinstance(problem, RequestEntityTooLarge):
        return refusal(413, "too many bytes were sent")
    if isinstance(problem, HTTPException):
        return refusal(problem.code or 400, f"{problem.name}: nothing here answers that")
    if flask.request.path.startswith("/_dash-update-component"):
        note(problem)
        return refusal(400, "this is no request of a page of this server")
    note(problem)
    return refusal(500, "something went wrong on the server; it has been noted there")


def note(problem: BaseException) -> None:
    """Says on the server's own terminal what went wrong, in one line and where.

    Parameters
    ----------
    problem : BaseException
        [-]
    """
    place = traceback.extract_tb(problem.__traceback__)[-1] if problem.__traceback__ else None
    where = f" at {place.filename}:{place.lineno}" if place else ""
    text = f"{type(problem).__name__}: {problem}".encode("ascii", "backslashreplace").decode()[:300]
    print(f"haulbench: {text}{where}".replace("\n", " "), file=sys.stderr, flush=True)


def _policy(app: Any) -> str:
    """What a browser may load for the pages: this server's own files, and the scripts that stand in its own page."""
    scripts = " ".join(dict.fromkeys(app.csp_hashes()))
    return (
        f"default-src 'self'; script-src 'self' {scripts}; style-src 'self' 'unsafe-inline'; img-src 'self' data: blob:;"
        " connect-src 'self'; font-src 'self'; object-src 'none'; base-uri 'none'; form-action 'none'; frame-ancestors 'none'"
    )
