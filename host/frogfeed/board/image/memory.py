"""Runs of memory: an address and the bytes that belong there."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from frogfeed.board.errors import ImageError

__all__ = ["Run", "cut", "join_runs"]


@dataclass(frozen=True, slots=True)
class Run:
    """`data` from `address` on, without gaps."""

    address: int
    data: bytes

    @property
    def end(self) -> int:
        """The first address after it."""
        return self.address + len(self.data)


def join_runs(runs: Iterable[Run], *, name: str) -> tuple[Run, ...]:
    """`runs` in order of address, those that touch made one. Raises ImageError where two overlap."""
    joined: list[tuple[int, bytearray]] = []
    for run in sorted((run for run in runs if run.data), key=lambda run: run.address):
        if joined:
            address, data = joined[-1]
            end = address + len(data)
            if run.address < end:
                raise ImageError(
                    f"two parts both want the bytes at {run.address:#010x}",
                    where=name,
                    why="one of them would be lost",
                    cure="the file is damaged, or two files were put together that do not belong together",
                )
            if run.address == end:
                data += run.data
                continue
        joined.append((run.address, bytearray(run.data)))
    return tuple(Run(address, bytes(data)) for address, data in joined)


def cut(runs: Iterable[Run], start: int, end: int, *, fill: int = 0xFF) -> bytes:
    """The bytes from `start` up to `end` of memory that holds `runs`, and `fill` elsewhere."""
    out = bytearray([fill]) * (end - start)
    for run in runs:
        low, high = max(run.address, start), min(run.end, end)
        if low < high:
            out[low - start : high - start] = run.data[low - run.address : high - run.address]
    return bytes(out)
