"""From a stream of bytes to the messages in it. All that is not a whole, true line is counted and dropped.

The check of a line is the firmware's own (`frogboard.frame`); here the stream is only cut into lines.
"""

from __future__ import annotations

import json
from collections import deque
from typing import Any

from frogboard import frame, methods

from frogfeed.board.messages import LinkCounters

__all__ = ["MessageReader", "request_line"]

_KEPT_LINES = 8


def request_line(number: int, method: str, params: dict[str, Any]) -> bytes:
    """One request as it goes over the wire. Raises ValueError where it would be longer than a line may be."""
    message = {"jsonrpc": "2.0", "id": number, "method": method, "params": params}
    line: bytes = frame.encode(json.dumps(message, separators=(",", ":")).encode("ascii"))
    if len(line) > methods.MAX_LINE:
        raise ValueError(f"{method} makes a line of {len(line)} bytes; {methods.MAX_LINE} is the most")
    return line


class MessageReader:
    """Takes bytes as they come, gives back the JSON objects of the lines whose CRC is right.

    `noise` keeps the last lines that were dropped: what a person may want to see when no answer came.
    """

    def __init__(self, counters: LinkCounters) -> None:
        self._counters = counters
        self._held = bytearray()
        self._skipping = False
        self.noise: deque[str] = deque(maxlen=_KEPT_LINES)

    def feed(self, data: bytes) -> list[dict[str, Any]]:
        """The messages that `data` completes, in order."""
        messages = []
        for piece in _lines(data):
            self._held += piece
            if not piece.endswith(b"\n"):
                if len(self._held) > methods.MAX_LINE:
                    self._skip()
                continue
            message = None if self._skipping else self._message(bytes(self._held))
            if message is not None:
                messages.append(message)
            self._held.clear()
            self._skipping = False
        return messages

    def reset(self) -> None:
        """Forget a half line: the port was closed."""
        self._held.clear()
        self._skipping = False

    def _skip(self) -> None:
        if not self._skipping:
            self._counters.overlong += 1
            self._note(bytes(self._held))
        self._skipping = True
        self._held.clear()

    def _message(self, line: bytes) -> dict[str, Any] | None:
        if not line.strip():
            return None
        text = frame.decode(line)
        if text is not None:
            try:
                message = json.loads(text)
            except ValueError:
                message = None
            if isinstance(message, dict) and message.get("jsonrpc") == "2.0":
                self._counters.received += 1
                return message
        self._counters.bad_lines += 1
        self._note(line)
        return None

    def _note(self, line: bytes) -> None:
        text = "".join(c if c.isprintable() else "." for c in line[:120].decode("ascii", "replace").strip())
        self.noise.append(text)


def _lines(data: bytes) -> list[bytes]:
    parts = data.split(b"\n")
    return [part + b"\n" for part in parts[:-1]] + ([parts[-1]] if parts[-1] else [])
