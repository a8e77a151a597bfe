"""Lines of the link: JSON text, a space, eight hex digits of CRC-32, a newline. Bounded in size and in time.

The CRC-32 is ISO-HDLC, as in the settings document: the one that the interpreter computes by itself. No hardware.
"""

import binascii
import json

from frogboard.methods import MAX_LINE

if False:
    from typing import Any

TAIL_BYTES = 10
"""What follows the JSON text: a space, eight digits, a newline."""


def tail(text: "bytes | bytearray | memoryview") -> bytes:
    """What follows this JSON text in its line."""
    return b" %08x\n" % (binascii.crc32(text) & 0xFFFFFFFF)


def pack(message: "dict[str, Any]") -> bytes:
    """A message as a line. Raises ValueError where it would be longer than MAX_LINE."""
    text = json.dumps(message, separators=(",", ":"))
    if any(c > "~" for c in text):
        text = "".join(c if c <= "~" else _escape(c) for c in text)
    data = text.encode()
    if len(data) + TAIL_BYTES > MAX_LINE:
        raise ValueError("message too long")
    return data + tail(data)


def _escape(c: str) -> str:
    code = ord(c)
    if code < 0x10000:
        return "\\u%04x" % code
    code -= 0x10000
    return "\\u%04x\\u%04x" % (0xD800 + (code >> 10), 0xDC00 + (code & 0x3FF))


class LineReader:
    """Collects bytes into lines in a buffer of fixed size.

    A line that is too long, holds other than printable ASCII, or whose CRC does not fit is dropped and counted in
    `bad`; the next newline starts afresh. An empty line is nothing, and a carriage return before the newline too.
    """

    def __init__(self) -> None:
        self.buffer = bytearray(MAX_LINE)
        self.length = 0
        """How many bytes of a line are in the buffer; more are to be put behind them. There is room for one always."""
        self.good = 0
        self.bad = 0
        self._view = memoryview(self.buffer)
        self._text = 0
        self._spoilt = False

    def put(self, byte: int) -> bool:
        """Take one byte. True where it ends a good line: then `text()` is its JSON, until the next byte."""
        self.buffer[self.length] = byte
        return self.took(self.length + 1)

    def took(self, end: int) -> bool:
        """The buffer has been filled up to `end`, and at most the last byte is a newline. True as with `put`."""
        if self.buffer[end - 1] == 10:
            return self._end(end - 1)
        if end == MAX_LINE:
            self._spoilt = True
            end = 0
        self.length = end
        return False

    def _end(self, n: int) -> bool:
        if n and self.buffer[n - 1] == 13:
            n -= 1
        fits = not self._spoilt and n > TAIL_BYTES - 1 and self._fits(n + 1 - TAIL_BYTES, n)
        if fits:
            self.good = (self.good + 1) & 0x3FFFFFF
        elif n or self._spoilt:
            self.bad = (self.bad + 1) & 0x3FFFFFF
        self.length = 0
        self._spoilt = False
        return fits

    def _fits(self, text: int, end: int) -> bool:
        self._text = text
        if self.buffer[text] != 32:
            return False
        line = self._view[:text]
        if tail(line)[:-1] != bytes(self._view[text:end]):
            return False
        return min(line) >= 32 and max(line) <= 126

    def text(self) -> str:
        """The JSON text of the line that has just ended."""
        return bytes(self._view[: self._text]).decode()
