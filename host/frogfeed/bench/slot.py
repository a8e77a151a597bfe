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
        self.now_us = 0
        self.to_board = bytearray()
        self.from_board = bytearray()
        self.reading = True
        self.plugged = True
        self.pulled = 0
        self.lately = 0
        self.lives = 0
        self.mangle: Callable[[bytes], bytes] | None = None
        self.terminal: Terminal | None = None
        self.flash: Path | None = None
        self.next_cut: tuple[int, str] | None = None
