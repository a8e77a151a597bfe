"""Where each board of a layout is: serial ports as stated, found by their serial number, or the bench's."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager

from frogfeed.bench.bench import Bench
from frogfeed.bench.setup import scenario_of
from frogfeed.board.ports import opener_for
from frogfeed.board.transport import Opener
from frogfeed.console.link import ClientLink, LinkMaker
from frogfeed.console.railway import Railway
from frogfeed.console.refusals import RefusedError


def serial_links(railway: Railway, ports: Sequence[str] = ()) -> dict[str, LinkMaker]:
    """A link for each board of the plan: "BOARD=PORT" or "PORT" as stated, else the port with its serial number.

    Raises RefusedError where a port is stated for no board, or for several boards at once.
    """
    boards = railway.plan.boards if railway.plan is not None else ()
    names = [b.name for b in boards]
    stated: dict[str, str] = {}
    for text in ports:
        board, sign, device = text.partition("=")
        if not sign:
            if len(names) != 1:
                raise RefusedError(
                    f"--port {text} does not say which board it is",
                    f"this layout has {len(names)} boards: {', '.join(names) or 'none'}",
                    "say it as --port BOARD=PORT, once for each board",
                )
            board, device = names[0], text
        if board not in names:
            raise RefusedError(f"this layout has no board {board}", cure=f"its boards are {', '.join(names) or 'none'}")
        if device in stated.values():
            raise RefusedError(f"{device} is stated for two boards", cure="each board has a port of its own")
        stated[board] = device
    serials = {b.name: b.serial for b in boards}
    return {
        n: _maker(n, opener_for(device=stated.get(n), serial_number=None if n in stated else serials[n]))
        for n in names
        if n in stated or serials[n] or len(names) == 1
    }


def _maker(board: str, opener: Opener) -> LinkMaker:
    return lambda: ClientLink(opener, board)


@contextmanager
def bench_links(railway: Railway) -> Iterator[tuple[Bench, Mapping[str, LinkMaker]]]:
    """The virtual boards of the layout, in real time, with a link to each; they hold no settings yet."""
    scenario = scenario_of(railway.layout, railway.network, list(railway.documents.values()))
    with Bench(scenario, virtual=False) as bench:
        yield bench, {b: _maker(b, opener_for(device=bench.port(b))) for b in railway.documents}
