"""Boards in real time: bytes are carried between pseudo terminals and boards, and the boards' reports are heard."""

from __future__ import annotations

import select
from collections.abc import Callable, Mapping, Sequence
from typing import Any

from frogfeed.bench.slot import Slot

Message = Mapping[str, Any]

IDLE_S = 0.05
BLOCKED_S = 0.002
"""How long nothing is looked at unless something can be read: while nothing waits, and while bytes wait for room."""
MOST_WAITING = 4096
"""Bytes kept for a board, or from it, before the side that sends has to wait."""


def readers(slots: Sequence[Slot]) -> list[int]:
    """The file descriptors from which something is taken now: reports always, bytes only while there is room."""
    found: list[int] = []
    for slot in slots:
        if slot.child is None:
            continue
        found.append(slot.child.control_fd)
        if len(slot.from_board) < MOST_WAITING:
            found.append(slot.child.stdout_fd)
        if slot.terminal is not None and len(slot.to_board) < MOST_WAITING:
            found.append(slot.terminal.master)
    return found


def wait(watched: Sequence[int], blocked: bool) -> list[int]:
    """Those of the descriptors that can be read, as soon as one can. `blocked`: bytes wait for room to be written."""
    return select.select(watched, [], [], BLOCKED_S if blocked else IDLE_S)[0]


def carry(slot: Slot, ready: Sequence[int], hear: Callable[[Slot, Message], None]) -> Message | None:
    """Move what can be moved on one board, and hand its reports to `hear`; its last words where its process ended."""
    child, terminal = slot.child, slot.terminal
    if child is None or terminal is None:
        return None
    if terminal.master in ready and slot.plugged:
        data = terminal.read()
        slot.to_board += slot.mangle(data) if slot.mangle and data else data
    if slot.to_board:
        del slot.to_board[: child.feed(bytes(slot.to_board))]
    if child.stdout_fd in ready:
        slot.from_board += child.drain()
    if slot.from_board:
        del slot.from_board[: terminal.write(bytes(slot.from_board[:1024]))]
    ended: Message | None = None
    if child.control_fd in ready:
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
                hear(slot, message)
        if ended is not None:
            slot.from_board += child.drain()
    return ended
