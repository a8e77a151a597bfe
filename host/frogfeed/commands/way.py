"""The one place that decides how a command reaches a board: over its port, or by a seat at the console that has it."""

from __future__ import annotations

from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path

from frogfeed.board.client import Limits
from frogfeed.board.errors import AmbiguousPort, BoardError, NoPort, PortBusy
from frogfeed.board.ports import opener_for, same_serial
from frogfeed.board.transport import Opener, Transport
from frogfeed.console.attach import Held, attach, holder_of, look
from frogfeed.console.refusals import RefusedError
from frogfeed.console.seat import AttachedSeat
from frogfeed.console.seat_port import LIMITS, ConsoleGone, SeatTransport


@dataclass(frozen=True, slots=True)
class Way:
    """How to reach a board. `through`: the console that has its port, or None where the port is this command's own."""

    opener: Opener
    through: Held | None = None

    @property
    def limits(self) -> Limits | None:
        """Waits that fit the way; None: the usual ones."""
        return LIMITS if self.through is not None else None

    @property
    def first_number(self) -> int | None:
        """The number of the first request; through a console it is short, so that answers fit their lines."""
        return 1 if self.through is not None else None


def way_to(port: str | None, serial: str | None, *, file: Path | None = None, board: str | None = None) -> Way:
    """The way to the board on a port, with a serial number, or the only one there is.

    A port that a running console has is reached through that console; and so is, where no port is named and none is
    found, the only board that a running console (on `file`, where it is named) has. Raises BoardErrors.
    """
    opener = opener_for(device=port, serial_number=serial)
    try:
        return Way(_at_hand(opener(), opener))
    except PortBusy as busy:
        held = holder_of(busy.where)
        if held is None:
            raise
    except NoPort:
        held = None if port is not None else _only(file, board, serial)
        if held is None:
            raise
    return Way(lambda: _seat_at(held), held)


def own_way(port: str | None, serial: str | None) -> Way:
    """The way for a command that needs the port itself. Raises BoardErrors, which name a console that has it."""
    opener = opener_for(device=port, serial_number=serial)
    try:
        return Way(_at_hand(opener(), opener))
    except BoardError as problem:
        raise named(problem) from problem


def named(problem: BoardError) -> BoardError:
    """An error as it is; a busy port that a running console has, with that console and how to end it."""
    held = holder_of(problem.where) if isinstance(problem, PortBusy) else None
    if held is None:
        return problem
    return PortBusy(
        f"{held.console} has this port open",
        where=problem.where,
        why="this needs the port itself: it cannot be done through the console",
        cure="end that console (Ctrl-C in its terminal), then give the command again",
    )


def seat_for(file: Path, ports: tuple[str, ...]) -> AttachedSeat | None:
    """A seat at the console that runs on a layout file; None where the ports are free for a session of one's own.

    `ports` as stated: PORT or BOARD=PORT. Raises PortBusy where a console on another file has one of them.
    """
    if not ports:
        return attach(file)
    for text in ports:
        device = text.partition("=")[2] or text
        held = holder_of(device)
        if held is not None and held.console.layout == file.resolve():
            return held.console.sit()
        if held is not None:
            raise named(PortBusy("another program has this port open", where=device))
    return None


def _seat_at(held: Held) -> Transport:
    try:
        return SeatTransport(held.console.sit(), held.board, held.port)
    except RefusedError as refused:
        raise ConsoleGone(refused.what, where=held.port, why=refused.why, cure=refused.cure) from refused


def _only(file: Path | None, board: str | None, serial: str | None) -> Held | None:
    """The one board of the running consoles that can be meant.

    Raises AmbiguousPort where several can, and ConsoleGone where none can and a console on `file` does not answer.
    """
    seen = look(file)
    found = [h for h in seen.boards if board in (None, h.board)]
    if not found and file is not None and seen.silent:
        raise ConsoleGone(
            f"{seen.silent[0]} does not answer",
            why="its process lives, but it let nobody in; the machine may be very busy",
            cure="try again in a while; or end that console and give the command again",
        )
    if serial is not None and file is None:
        found = [h for h in found if same_serial(h.id, serial)]
    if len(found) > 1:
        told = "; ".join(f"{h.board} on {h.port}, {h.console}" for h in found)
        raise AmbiguousPort(
            f"running consoles have {len(found)} boards: {told}",
            candidates=[h.port for h in found],
            cure="name one with --port",
        )
    return found[0] if found else None


def _at_hand(first: Transport, opener: Opener) -> Callable[[], Transport]:
    """An opener that gives out the port that is open already, and opens it anew after that."""
    waiting = [first]

    def open_it() -> Transport:
        with suppress(IndexError):
            return waiting.pop()
        return opener()

    return open_it
