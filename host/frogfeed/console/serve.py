"""Starting the console: addresses, tokens, ports or the bench, and the server."""

from __future__ import annotations

import socket
from collections.abc import Callable
from dataclasses import dataclass

import uvicorn

from frogfeed.console.app import build_app
from frogfeed.console.commands import MOST_BYTES
from frogfeed.console.guard import Access, hosts_for
from frogfeed.console.refusals import RefusedError
from frogfeed.console.session import Session

LOOPBACK = ("127.0.0.1", "localhost", "::1")


@dataclass(frozen=True, slots=True)
class Served:
    """Where the console is: its addresses with the operator's and the visitors' keys."""

    operator: str
    visitor: str
    port: int


def own_address() -> str:
    """This machine's address as others see it; no packet is sent to find it."""
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        try:
            probe.connect(("192.0.2.1", 9))
            return str(probe.getsockname()[0])
        except OSError:
            return "127.0.0.1"


def listen(host: str, port: int) -> socket.socket:
    """A socket that listens at the address (port 0: any free one), so that nobody who is told of it is turned away.

    Raises RefusedError.
    """
    family = socket.AF_INET6 if ":" in host else socket.AF_INET
    sock = socket.socket(family, socket.SOCK_STREAM)
    sock.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    try:
        sock.bind((host, port))
        sock.listen(128)
    except OSError as problem:
        sock.close()
        raise RefusedError(
            f"the console cannot listen on {host} port {port}: {problem.strerror}",
            "another program (perhaps another console) has it, or the address is not this machine's",
            "close the other one, or choose another --http-port",
        ) from problem
    sock.set_inheritable(True)
    return sock


def run(
    session: Session,
    *,
    host: str = "127.0.0.1",
    port: int = 0,
    names: tuple[str, ...] = (),
    ready: Callable[[Served], None] | None = None,
    stop: Callable[[uvicorn.Server], None] | None = None,
) -> None:
    """Serve until Ctrl-C. `names`: further names by which pages may call the console (none unless stated).

    `ready` is told the addresses once the socket listens; `stop` gets the server, for tests that end it.
    """
    sock = listen(host, port)
    real = int(sock.getsockname()[1])
    loopback = host in LOOPBACK
    known = (*LOOPBACK, *names) if loopback else (*LOOPBACK, host, *names)
    access = Access(hosts_for(real, known), f"frogfeed-{real}", by_address=not loopback)
    app = build_app(session, access)
    seen = own_address() if host in ("0.0.0.0", "::") else host
    shown = f"[{seen}]" if ":" in seen else seen
    served = Served(
        f"http://{shown}:{real}/?key={access.operator}", f"http://{shown}:{real}/?key={access.visitor}", real
    )
    config = uvicorn.Config(
        app,
        log_level="error",
        access_log=False,
        server_header=False,
        date_header=False,
        ws="websockets-sansio",
        ws_max_size=MOST_BYTES,
        ws_ping_interval=20.0,
        ws_ping_timeout=20.0,
        h11_max_incomplete_event_size=16_384,
        limit_concurrency=64,
        timeout_graceful_shutdown=2,
    )
    server = uvicorn.Server(config)
    if stop is not None:
        stop(server)
    if ready is not None:
        ready(served)
    try:
        server.run(sockets=[sock])
    finally:
        sock.close()
