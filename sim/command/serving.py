"""`haulbench serve`: the browser side, served from this machine."""

import contextlib
import ipaddress
import signal
import socket
import ssl
import sys
from argparse import Namespace
from collections import Counter
from collections.abc import Callable
from typing import Any

from sim.errors import RunError, SettingsError
from sim.messages import browser as say
from sim.messages import hidden as say_hidden
from sim.messages import people as say_people

MOST_CONNECTIONS = 2000
MOST_OF_ONE = 64  # connections of one machine
SPARE_FILES = 200  # that connections leave for everything else
IDLE = 30  # s before a connection that says nothing, or does not read its answer, is closed
LEAST_READ = 262_144  # bytes of an answer that are to be read in that time
MOST_HEAD, FIELD = 65_536, 32  # bytes of the line and the headers of a request, each header counting so many more
ENDING = 1  # s that answers under way have when the server ends, once nobody works for them any more
MOST_MESSAGE = 262_144  # bytes of one message on a socket

SHARED = """This machine's name and network address now answer on port {port}. Everyone on the network who can reach it may open the
pages, drive trips with this machine's processor, and upload roads, which are kept in memory only. Nothing is written to disk
but the sessions of a hidden fault, where a folder is named for them.
Functions for the instructor open with the instructor's password, from any machine."""

INSTRUCTOR = """The instructor signs in on the page Hidden fault, under "For the instructor", from any machine.
Password: {password}"""


def serve(options: Namespace) -> int:
    """Serves the pages until it is interrupted.

    Parameters
    ----------
    options : Namespace
        Of the command line: host, port, share, open, certificate, private_key, proxy.

    Returns
    -------
    code : int
        0 after an interruption.

    Raises
    ------
    HaulbenchError
        The port is taken, the host needs the flag, or the certificate cannot be used.
    """
    from dashboard.app import create_app
    from dashboard.server.guard import is_loopback
    from dashboard.server.runs import Workshop
    from dashboard.trip.work import load_pages

    if not 0 <= options.port <= 65535:
        raise SettingsError(say.no_port(port=options.port))
    if not is_loopback(options.host) and not options.share:
        raise SettingsError(say.not_shared(host=options.host))
    _check_certificate(options.certificate, options.private_key)
    _check_proxy(options.proxy)
    for asked in (signal.SIGINT, signal.SIGTERM):
        signal.signal(asked, _end)  # also where the shell has had interruptions ignored
    identity, password = _identity_of(options)
    hosted = _round_of(options)
    place = _bound(options.host, options.port)
    workshop = Workshop(load=load_pages)
    try:
        workshop.hosted, workshop.identity = hosted, identity
        app = create_app(workshop, options.host)
        _greet(options, place.getsockname()[1], workshop, password)
        workshop.warm_in_background()
        server(app.server, workshop.close, options.certificate, options.private_key, options.proxy).run([place])
    except KeyboardInterrupt:
        pass
    finally:
        print("haulbench ends.", flush=True)
        place.close()
        workshop.close()
        if hosted:
            hosted.close()
    return 0


def _greet(options: Namespace, port: int, workshop: Any, password: str) -> None:
    """Says where the pages are and who can reach them."""
    from dashboard.server.guard import is_loopback

    shown = "localhost" if options.host in ("127.0.0.1", "::1", "localhost") else options.host
    scheme = "https" if options.certificate else "http"
    print(f"haulbench is at {scheme}://{shown}:{port}/ (Ctrl-C ends it)", flush=True)
    if not is_loopback(options.host):
        print(SHARED.format(port=port), flush=True)
    if workshop.hosted:
        kept = f"kept in {options.sessions}" if options.sessions else "kept in memory only: lost when this ends"
        print(
            f"Hidden fault for class {options.class_name}, round {options.round}, level {options.level}; sessions are {kept}."
            f" {INSTRUCTOR.format(password=password or 'the one in ' + options.password_file)}",
            flush=True,
        )
    if options.open:
        import webbrowser

        webbrowser.open(f"{scheme}://localhost:{port}/")


def server(
    application: Any, ending: Callable[[], None], certificate: str | None = None, private_key: str | None = None,
    proxy: str | None = None,
) -> Any:  # fmt: skip
    """A server for an application; `run([socket])` serves until an interruption.

    Parameters
    ----------
    application : callable
        ASGI.
    ending : callable
        Called as soon as the server is to end, before it waits for answers under way.
    certificate : str or None
        File of a certificate chain in PEM; with it the server speaks TLS.
    private_key : str or None
        File of its key in PEM.
    proxy : str or None
        Address of a proxy in front of it, whose word on who asks from where is taken.

    Returns
    -------
    server : Server
        Of uvicorn.
    """
    import asyncio

    import uvicorn
    from uvicorn.protocols.http.auto import AutoHTTPProtocol

    from dashboard.server.asking import place_of

    class Patient(AutoHTTPProtocol):  # type: ignore[misc, valid-type]
        """Nobody holds a place by saying nothing, by not reading, by connecting without end, or with a head without end."""

        def connection_made(self, transport: asyncio.Transport) -> None:
            super().connection_made(transport)
            self._silence = self.loop.call_later(IDLE, self._look, None, True, 0)
            self._head = 0
            self._place = place_of((transport.get_extra_info("peername") or ("",))[0])
            connected[self._place] += 1
            if connected.total() > most or (connected[self._place] > MOST_OF_ONE and self._place != proxy):
                transport.abort()

        def on_message_begin(self) -> None:
            self._head = 0
            super().on_message_begin()

        def on_url(self, url: bytes) -> None:
            self._count(len(url))
            super().on_url(url)

        def on_header(self, name: bytes, value: bytes) -> None:
            self._count(len(name) + len(value) + FIELD)
            super().on_header(name, value)

        def _count(self, size: int) -> None:
            """Refuses a head that is too long, or trailers, while they come in."""
            self._head += size
            if self._head > MOST_HEAD:
                raise ValueError

        def _look(self, cycle: Any, idle: bool, unread: int) -> None:
            """Ends a connection that is as it was at the look before: silent, or with an answer that is not being read."""
            if self.transport.get_protocol() is not self:  # it has become a socket
                return
            now_idle = self.cycle is None or self.cycle.response_complete
            now_unread = self.transport.get_write_buffer_size()
            stuck = unread > 0 and now_unread > unread - LEAST_READ
            if self.cycle is cycle and ((idle and now_idle) or stuck):
                self.transport.abort()
            self._silence = self.loop.call_later(IDLE, self._look, self.cycle, now_idle, now_unread)

        def connection_lost(self, problem: Exception | None) -> None:
            self._silence.cancel()
            connected[self._place] -= 1
            if not connected[self._place]:
                del connected[self._place]
            super().connection_lost(problem)

    class Ending(uvicorn.Server):
        """Lets go of everything that waits before it waits itself."""

        async def shutdown(self, sockets: list[socket.socket] | None = None) -> None:
            await asyncio.to_thread(ending)
            await super().shutdown(sockets)

    most = min(MOST_CONNECTIONS, _more_files() - SPARE_FILES)
    connected = Counter[str]()
    config = uvicorn.Config(
        application,
        http=Patient,
        lifespan="off",
        log_level="critical",
        access_log=False,
        server_header=False,
        headers=[("Server", "haulbench")],
        proxy_headers=proxy is not None,
        forwarded_allow_ips=proxy,
        timeout_keep_alive=IDLE,
        timeout_graceful_shutdown=ENDING,
        backlog=MOST_CONNECTIONS,
        ws_max_size=MOST_MESSAGE,
        ws_max_queue=8,
        ssl_certfile=certificate,
        ssl_keyfile=private_key,
    )
    return Ending(config)


def _check_proxy(proxy: str | None) -> None:
    """Refuses a proxy that is no address: a name, or anybody at all, could be somebody else."""
    try:
        if proxy is not None:
            ipaddress.ip_address(proxy)
    except ValueError:
        raise SettingsError(say.no_proxy(given=str(proxy))) from None


def _check_certificate(certificate: str | None, private_key: str | None) -> None:
    """Refuses a certificate or key that cannot be used, before anything is served."""
    if not certificate and not private_key:
        return
    if not certificate or not private_key:
        raise SettingsError(say.half_certificate(missing="--private-key" if certificate else "--certificate"))

    def no_password() -> str:
        raise SettingsError(say.locked_key(file=private_key))

    try:
        ssl.create_default_context(ssl.Purpose.CLIENT_AUTH).load_cert_chain(certificate, private_key, no_password)
    except OSError as problem:  # those of ssl are among them
        reason = getattr(problem, "reason", None) or problem.strerror or "it is no PEM file"
        raise SettingsError(say.no_certificate(certificate=certificate, key=private_key, reason=str(reason))) from None


def _round_of(options: Namespace) -> Any:
    """The round of a class whose hidden faults are hosted here, or None."""
    flags = {"--class": options.class_name, "--round": options.round, "--sessions": options.sessions}
    if not options.key_file:
        given = [flag for flag, value in flags.items() if value]
        if given:
            raise SettingsError(say_hidden.hosting_without_key(given=given))
        return None
    missing = [flag for flag in ("--class", "--round") if not flags[flag].strip()]
    if missing:
        raise SettingsError(say_hidden.hosting_needs(missing=missing))
    from dashboard.hidden_fault.round import Round
    from sim.hidden.key import read_key
    from sim.hidden.record import LEVELS

    if not LEVELS[0] <= options.level <= LEVELS[1]:
        raise SettingsError(say_hidden.level_range(given=options.level, least=LEVELS[0], most=LEVELS[1]))
    key = read_key(options.key_file)
    return Round(key, options.class_name, options.round, options.level, options.sessions or None)


def _identity_of(options: Namespace) -> tuple[Any, str]:
    """What says who somebody is, and the instructor's password where it was made here."""
    from dashboard.server.identity import Identity, make_password

    if options.password_file and not options.key_file:
        raise SettingsError(say_people.password_without_class(file=options.password_file))
    password = make_password() if options.key_file and not options.password_file else ""
    return Identity(password, options.password_file or ""), password


def _end(*_: object) -> None:
    """Asked to end: the same as an interruption."""
    raise KeyboardInterrupt


def _bound(host: str, port: int) -> socket.socket:
    """A socket at an address of this machine."""
    try:
        family, _, _, _, address = socket.getaddrinfo(host, port, type=socket.SOCK_STREAM, flags=socket.AI_PASSIVE)[0]
    except OSError:
        raise RunError(say.no_host(host=host)) from None
    place = socket.socket(family, socket.SOCK_STREAM)
    if sys.platform != "win32":  # there it would let two programs have the same port
        place.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    try:
        place.bind(address)
        place.listen(MOST_CONNECTIONS)
    except OSError as problem:
        place.close()
        raise RunError(say.port_taken(port=port, host=host, reason=str(problem.strerror), other=port + 1)) from None
    return place


def _more_files() -> int:
    """Lets the process have as many files as connections need and the system allows; how many those are."""
    wanted = MOST_CONNECTIONS + SPARE_FILES
    try:
        import resource
    except ImportError:
        return wanted
    low, high = resource.getrlimit(resource.RLIMIT_NOFILE)
    if low < wanted:
        with contextlib.suppress(OSError, ValueError):
            resource.setrlimit(resource.RLIMIT_NOFILE, (min(wanted, high) if high > 0 else wanted, high))
    low = resource.getrlimit(resource.RLIMIT_NOFILE)[0]
    if low < wanted:
        print(f"haulbench: at most {low - SPARE_FILES} connections at once, as the system has it", file=sys.stderr)
    return min(low, wanted)
