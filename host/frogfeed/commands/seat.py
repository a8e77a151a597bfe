"""What `trim` and `prove` share: a seat at a running console, or a session of their own."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from pathlib import Path

from frogfeed.bench.errors import BenchError
from frogfeed.board.errors import BoardError
from frogfeed.commands.shared import BOARD, fail, open_layout
from frogfeed.commands.way import seat_for
from frogfeed.console.own_seat import OwnSeat
from frogfeed.console.ports import bench_links, serial_links
from frogfeed.console.railway import Railway, railway_of
from frogfeed.console.refusals import RefusedError
from frogfeed.console.seat import Seat
from frogfeed.console.session import Session
from frogfeed.console.terminal import wait_ready

READY_S = 8.0
BENCH_S = 60.0
"""A virtual board comes for certain, on a slow machine later."""


@contextmanager
def seated(file: Path, ports: tuple[str, ...], bench: bool, board: str | None = None) -> Iterator[tuple[Seat, Railway]]:
    """A seat with its boards answering. Refusals end the command with exit code 3 and what to do."""
    railway = railway_of(open_layout(file))
    try:
        with ExitStack() as stack:
            seat: Seat | None = None if bench else seat_for(file, ports)
            if seat is None:
                links = stack.enter_context(bench_links(railway))[1] if bench else serial_links(railway, ports)
                seat = OwnSeat(Session(file, railway, links))
            stack.callback(seat.close)
            for name in railway.documents if board is None else [board]:
                wait_ready(seat, name, BENCH_S if bench else READY_S)
                if bench:
                    seat.ask("push", board=name)
                    wait_ready(seat, name, BENCH_S)
            yield seat, railway
    except RefusedError as refused:
        fail(str(refused), BOARD)
    except (BenchError, BoardError) as e:
        fail(str(e), BOARD)
