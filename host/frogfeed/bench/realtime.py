"""The bench in real time: one thread carries bytes between pseudo terminals and boards, and hears their reports."""

from __future__ import annotations

import select
from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from frogfeed.bench.bench import Bench

WAIT_S = 0.05
MOST_WAITING = 4096
"""Bytes kept for a board, or from it, before the side that sends has to wait."""


def serve(bench: Bench) -> None:
    """Keep the boards going until the bench is closed."""
    while not bench._stop.is_set():
        with bench._lock:
            slots = [s for s in bench._slots if s.child is not None]
            readers: list[int] = []
            for slot in slots:
                assert slot.child is not None
                readers.append(slot.child.control_fd)
                if len(slot.from_board) < MOST_WAITING:
                    readers.append(slot.child.stdout_fd)
                if slot.terminal is not None and len(slot.to_board) < MOST_WAITING:
                    readers.append(slot.terminal.master)
            blocked = any(s.to_board or s.from_board for s in slots)
        ready = select.select(readers, [], [], 0.002 if blocked else WAIT_S)[0]
        with bench._lock:
            for slot in slots:
                _carry(bench, slot, ready)
            if bench._railway is not None:
                bench._share(min(s.now_us for s in bench._slots))
            bench.now_us = min(s.now_us for s in bench._slots)


def _carry(bench: Bench, slot: Any, ready: list[int]) -> None:
    child, terminal = slot.child, slot.terminal
    if child is None or terminal is None:
        return
    if terminal.master in ready and slot.plugged:
        data = terminal.read()
        slot.to_board += slot.mangle(data) if slot.mangle and data else data
    if slot.to_board:
        del slot.to_board[: child.feed(bytes(slot.to_board))]
    if child.stdout_fd in ready:
        slot.from_board += child.drain()
    if slot.from_board:
        del slot.from_board[: terminal.write(bytes(slot.from_board[:1024]))]
    if child.control_fd in ready:
        ended: Mapping[str, Any] | None = None
        for message in child.receive(0.0):
            if "at" in message:
                slot.now_us = max(slot.now_us, message["at"])
            elif "end" in message or "closed" in message:
                ended = ended or message
            elif "prompt" in message:
                child.at_prompt = True
            else:
                if "r" in message:
                    slot.now_us = max(slot.now_us, message["r"]["t"])
                bench._hear(slot, message)
        if ended is not None:
            slot.from_board += child.drain()
            bench._restart(slot, child, ended)
