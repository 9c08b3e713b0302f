"""`haulbench serve`: the browser side, served from this machine."""

import contextlib
import signal
import socket
import sys
from argparse import Namespace
from typing import Any

from sim.errors import RunError, SettingsError
from sim.messages import browser as say
from sim.messages import hidden as say_hidden

THREADS = 48  # they only wait for the workers
MOST_CONNECTIONS = 2000
IDLE = 30  # s before a connection that says nothing is closed
MOST_BODY = 16_777_216  # bytes of a request that are read at all; pages take less
IN_MEMORY = (
    MOST_BODY + 1_048_576
)  # bytes of a request or an answer that are kept in memory: all of them, nothing is written

SHARED = """This machine's name and network address now answer on port {port}. Everyone on the network who can reach it may open the
pages, drive trips with this machine's processor, and upload roads, which are kept in memory only. Nothing is written to disk
but the sessions of a hidden fault, where a folder is named for them.
Functions for the instructor answer on this machine only."""


def serve(options: Namespace) -> int:
    """Serves the pages until it is interrupted.

    Parameters
    ----------
    options : Namespace
        Of the command line: host, port, share, open. [-]

    Returns
    -------
    code : int
        0 after an interruption. [-]

    Raises
    ------
    HaulbenchError
        The port is taken, or the host needs the flag.
    """
    from dashboard.app import create_app
    from dashboard.guard import is_loopback
    from dashboard.runs import Workshop

    if not 0 <= options.port <= 65535:
        raise SettingsError(say.no_port(port=options.port))
    if not is_loopback(options.host) and not options.share:
        raise SettingsError(say.not_shared(host=options.host))
    workshop = Workshop()
    workshop.hosted = _round_of(options)
    app = create_app(workshop, options.host)
    server = _listening(app.server, options.host, options.port)
    port = server.effective_port
    shown = "localhost" if options.host in ("127.0.0.1", "::1", "localhost") else options.host
    print(f"haulbench is at http://{shown}:{port}/ (Ctrl-C ends it)", flush=True)
    if not is_loopback(options.host):
        print(SHARED.format(port=port), flush=True)
    if workshop.hosted:
        kept = f"kept in {options.sessions}" if options.sessions else "kept in memory only: lost when this ends"
        print(
            f"Hidden fault for class {options.class_name}, round {options.round}, level {options.level}; sessions are {kept}."
            f" Progress: http://localhost:{port}/hidden-fault on this machine.",
            flush=True,
        )
    if options.open:
        import webbrowser

        webbrowser.open(f"http://localhost:{port}/")
    workshop.warm_in_background()
    signal.signal(signal.SIGTERM, _end)
    try:
        server.run()
    except KeyboardInterrupt:
        pass
    finally:
        print("haulbench ends.", flush=True)
        with contextlib.suppress(OSError):
            server.close()
        workshop.close()
    return 0


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
    from dashboard.fault_desk import Round
    from sim.hidden.key import read_key
    from sim.hidden.record import LEVELS

    if not LEVELS[0] <= options.level <= LEVELS[1]:
        raise SettingsError(say_hidden.level_range(given=options.level, least=LEVELS[0], most=LEVELS[1]))
    key = read_key(options.key_file)
    return Round(key, options.class_name, options.round, options.level, options.sessions or None)


def _end(*_: object) -> None:
    """Asked to end: the same as an interruption."""
    raise KeyboardInterrupt


def _listening(app: Any, host: str, port: int) -> Any:
    """A server bound to its port."""
    from waitress.server import create_server

    _more_files()
    place = _bound(host, port)
    return create_server(
        app,
        sockets=[place],
        threads=THREADS,
        connection_limit=MOST_CONNECTIONS,
        channel_timeout=IDLE,
        cleanup_interval=5,
        channel_request_lookahead=1,  # so that a request knows when its browser has left
        max_request_body_size=MOST_BODY,
        inbuf_overflow=IN_MEMORY,
        outbuf_overflow=IN_MEMORY,
        asyncore_use_poll=True,
        ident="haulbench",
        clear_untrusted_proxy_headers=True,
    )


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
    except OSError as problem:
        place.close()
        raise RunError(say.port_taken(port=port, host=host, reason=str(problem.strerror), other=port + 1)) from None
    return place


def _more_files() -> None:
    """Lets the process have as many connections as the system allows it, where that can be asked."""
    try:
        import resource
    except ImportError:
        return
    low, high = resource.getrlimit(resource.RLIMIT_NOFILE)
    wanted = MOST_CONNECTIONS + 200
    if low < wanted:
        with contextlib.suppress(OSError, ValueError):
            resource.setrlimit(resource.RLIMIT_NOFILE, (min(wanted, high) if high > 0 else wanted, high))
    low = resource.getrlimit(resource.RLIMIT_NOFILE)[0]
    if low < wanted:
        print(f"haulbench: at most {low} connections at once, as the system has it", file=sys.stderr)
