"""What the boards said lately, as they said it, for programs in a terminal that share a port with the console."""

from __future__ import annotations

import asyncio
from collections import deque
from typing import Any

from frogboard import methods
from frogfeed.board.messages import Event, Notification

MOST_KEPT = 512
"""Events and measurements kept for each board; a terminal that is slower than that misses the oldest."""


class Heard:
    """The last notifications of every board, counted from 0. Used from one event loop."""

    def __init__(self) -> None:
        self._kept: dict[str, deque[dict[str, Any]]] = {}
        self._count: dict[str, int] = {}
        self._news = asyncio.Event()

    def put(self, board: str, notification: Notification) -> None:
        """Keep one more; the oldest goes."""
        self._kept.setdefault(board, deque(maxlen=MOST_KEPT)).append(message_of(notification))
        self._count[board] = self.count(board) + 1
        self._news.set()

    def count(self, board: str) -> int:
        """How many there have been: the number of the next one."""
        return self._count.get(board, 0)

    async def after(self, board: str, number: int, limit_s: float) -> list[dict[str, Any]]:
        """Those kept from `number` on, as messages of the link; waits up to `limit_s` seconds for the first."""
        loop = asyncio.get_running_loop()
        end_s = loop.time() + limit_s
        while self.count(board) <= number and (left_s := end_s - loop.time()) > 0:
            self._news.clear()
            try:
                await asyncio.wait_for(self._news.wait(), left_s)
            except TimeoutError:
                break
        fresh = max(0, self.count(board) - number)
        return list(self._kept.get(board, ()))[-fresh:] if fresh else []


def message_of(notification: Notification) -> dict[str, Any]:
    """A notification as the board sent it: method and parameters."""
    stamp = {"seq": notification.seq, "ms": notification.ms}
    if isinstance(notification, Event):
        return {"method": methods.EVENT_METHOD, "params": {**stamp, "kind": notification.kind, **notification.facts}}
    measured = {**stamp, "start": notification.start, "ma": list(notification.ma)}
    return {"method": methods.MEASURE_METHOD, "params": measured}
