"""One board's place on the bench."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

from frogfeed.bench.process import Child
from frogfeed.bench.shapes import WorldState
from frogfeed.bench.terminal import Terminal


class Slot:
    """One board's place on the bench: its present child, what outlives it, and its serial side."""

    def __init__(self, name: str, index: int, root: Path) -> None:
        self.name = name
        self.index = index
        self.root = root
        self.child: Child | None = None
        self.state: WorldState | None = None
        """What its last life left of its world: relays, servos, chips."""
        self.now_us = 0
        """How far its present life has come, in microseconds since the bench began."""
        self.to_board = bytearray()
        """Bytes on their way to it: no more than it takes."""
        self.from_board = bytearray()
        """Bytes that it sent and nobody has read yet."""
        self.reading = True
        """Whether the laptop reads what it sends."""
        self.plugged = True
        self.pulled = 0
        """How often its cable was pulled."""
        self.lately = 0
        """Bytes that it sent in the last slice of time."""
        self.lives = 0
        """How often it was started."""
        self.mangle: Callable[[bytes], bytes] | None = None
        """What is done to the bytes on their way to it; None: nothing."""
        self.terminal: Terminal | None = None
        """Its port, in real time."""
        self.flash: Path | None = None
        """The file behind its simulated flash, where it has one."""
        self.next_cut: tuple[int, str] | None = None
        """At which erase or program of its next life the power goes, and whether before, amid or after it."""
