"""Whose turn it is to send settings to a board: a board takes one push at a time, from pages and terminals."""

from __future__ import annotations

import time
from collections.abc import Callable
from typing import Any

IDLE_S = 5.0
"""A push that has sent nothing for so long has been given up, and another may begin."""


class Turns:
    """The push that each board is taking. `now_s` is a clock in seconds."""

    def __init__(self, now_s: Callable[[], float] = time.monotonic) -> None:
        self._now_s = now_s
        self._taking: dict[str, tuple[Any, float]] = {}

    def may(self, board: str, crc32: Any) -> bool:
        """Whether a push of these bytes may begin: no other is under way. The same bytes may be sent by two."""
        taking = self._taking.get(board)
        return taking is None or taking[0] == crc32 or self._now_s() - taking[1] > IDLE_S

    def take(self, board: str, crc32: Any) -> bool:
        """Take the turn for a push that begins now; False where it may not."""
        if not self.may(board, crc32):
            return False
        self._taking[board] = (crc32, self._now_s())
        return True

    def went_on(self, board: str, method: str) -> None:
        """The board took another request of a push."""
        if method == "push.chunk" and board in self._taking:
            self._taking[board] = (self._taking[board][0], self._now_s())
        elif method == "push.commit":
            self._taking.pop(board, None)
