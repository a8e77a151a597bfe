"""The serial side of a virtual board in virtual time."""

from __future__ import annotations

from collections.abc import Callable
from typing import Protocol

from frogfeed.bench.slot import Slot


class Stepping(Protocol):
    """What lets time go by."""

    def advance(self, ms: float) -> None:
        """Let so many milliseconds go by."""
        ...


class VirtualSerial:
    """The serial side of one board in virtual time. Reading and writing take no time; `advance` lets it go by."""

    def __init__(self, bench: Stepping, slot: Slot) -> None:
        self._bench = bench
        self._slot = slot

    def write(self, data: bytes) -> int:
        """Bytes for the board; it finds them when its time goes on. An unplugged cable raises OSError."""
        if not self._slot.plugged:
            raise OSError("the cable is out")
        data = bytes(data)
        self._slot.to_board += self._slot.mangle(data) if self._slot.mangle else data
        return len(data)

    def read(self) -> bytes:
        """All that the board has sent so far and that has not been read."""
        if not self._slot.plugged:
            raise OSError("the cable is out")
        data = bytes(self._slot.from_board)
        self._slot.from_board.clear()
        return data

    def advance(self, ms: float) -> None:
        """Let time go by for the whole bench."""
        self._bench.advance(ms)

    @property
    def plugged(self) -> bool:
        """Whether the cable is in."""
        return self._slot.plugged

    @property
    def connection(self) -> tuple[int, int]:
        """Changes whenever the port has gone and come back: with each pull of the cable and each start of the board."""
        return self._slot.pulled, self._slot.lives

    def plug(self, plugged: bool) -> None:
        """Pull the cable out, or put it back. What was on its way is lost."""
        self._slot.plugged = plugged
        if not plugged:
            self._slot.pulled += 1
            self._slot.to_board.clear()
            self._slot.from_board.clear()

    def listen(self, reading: bool) -> None:
        """Stop taking what the board sends, as a program does that holds the port open and never reads; or go on."""
        self._slot.reading = reading

    def mangle(self, change: Callable[[bytes], bytes] | None) -> None:
        """Let a noisy cable change the bytes on their way to the board; None: a good cable."""
        self._slot.mangle = change
