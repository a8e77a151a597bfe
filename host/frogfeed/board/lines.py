"""From a stream of bytes to the messages in it. All that is not a whole, true line is counted and dropped.

The framing is the firmware's own (`frogboard.frame`); nothing here knows it a second time.
"""

from __future__ import annotations

import json
from collections import deque
from typing import Any

from frogboard import frame
from frogfeed.board.messages import LinkCounters

__all__ = ["MessageReader", "request_line"]

_KEPT_LINES = 8
_KEPT_BYTES = 120


def request_line(number: int, method: str, params: dict[str, Any]) -> bytes:
    """One request as it goes over the wire. Raises ValueError where it would be longer than a line may be."""
    return frame.pack({"jsonrpc": "2.0", "id": number, "method": method, "params": params})


class MessageReader:
    """Takes bytes as they come, gives back the JSON objects of the lines whose CRC is right.

    `noise` keeps the last lines that were dropped: what a person may want to see when no answer came.
    """

    def __init__(self, counters: LinkCounters) -> None:
        self._counters = counters
        self._lines = frame.LineReader()
        self._seen = bytearray()
        self.noise: deque[str] = deque(maxlen=_KEPT_LINES)

    def feed(self, data: bytes) -> list[dict[str, Any]]:
        """The messages that `data` completes, in order."""
        messages = []
        for byte in data:
            is_good = self._lines.put(byte)
            if byte != 0x0A:
                if len(self._seen) < _KEPT_BYTES:
                    self._seen.append(byte)
                continue
            message = _message(self._lines.text()) if is_good else None
            if message is not None:
                self._counters.received += 1
                messages.append(message)
            elif self._seen.strip():
                self._counters.bad_lines += 1
                self._note()
            self._seen.clear()
        return messages

    def reset(self) -> None:
        """Forget a half line: the port was closed."""
        if self._seen:
            self._note()
        self._lines = frame.LineReader()
        self._seen.clear()

    def heard(self) -> tuple[str, ...]:
        """The last lines that were dropped, and the half line now being received."""
        return (*self.noise, _readable(self._seen)) if self._seen.strip() else tuple(self.noise)

    def _note(self) -> None:
        self.noise.append(_readable(self._seen))


def _message(text: str) -> dict[str, Any] | None:
    try:
        message = json.loads(text)
    except (ValueError, RecursionError):
        return None
    if not isinstance(message, dict) or message.get("jsonrpc") != "2.0":
        return None
    return message


def _readable(line: bytes | bytearray) -> str:
    return "".join(c if c.isprintable() else "." for c in line.decode("ascii", "replace").strip())
