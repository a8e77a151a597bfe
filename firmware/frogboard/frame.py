"""Lines of the link: JSON text, a space, four hex digits of CRC-16, a newline. Bounded in size and in time.

The CRC-16 is CCITT-FALSE (polynomial 1021, start ffff, no reflection, nothing added). No hardware.
"""

import array
import json

from frogboard.methods import MAX_LINE

if False:
    from typing import Any


def _table() -> "array.array[int]":
    table = array.array("H", [0] * 256)
    for i in range(256):
        crc = i << 8
        for _ in range(8):
            crc = (crc << 1) ^ 0x1021 if crc & 0x8000 else crc << 1
        table[i] = crc & 0xFFFF
    return table


_TABLE = _table()


def crc16(data: "bytes | bytearray | memoryview", start: int = 0, end: int = -1, crc: int = 0xFFFF) -> int:
    """CRC-16 of data[start:end]; `crc` goes on from an earlier part. The end -1 is the whole length."""
    table = _TABLE
    for i in range(start, len(data) if end < 0 else end):
        crc = ((crc << 8) & 0xFFFF) ^ table[(crc >> 8) ^ data[i]]
    return crc


def pack(message: "dict[str, Any]") -> bytes:
    """A message as a line. Raises ValueError where it would be longer than MAX_LINE."""
    text = json.dumps(message, separators=(",", ":"))
    if any(c > "~" for c in text):
        text = "".join(c if c <= "~" else _escape(c) for c in text)
    data = text.encode()
    if len(data) + 6 > MAX_LINE:
        raise ValueError("message too long")
    return data + b" %04x\n" % crc16(data)


def _escape(c: str) -> str:
    code = ord(c)
    if code < 0x10000:
        return "\\u%04x" % code
    code -= 0x10000
    return "\\u%04x\\u%04x" % (0xD800 + (code >> 10), 0xDC00 + (code & 0x3FF))


class LineReader:
    """Collects bytes into lines in a buffer of fixed size; the CRC is computed as they come.

    A line that is too long, holds other than printable ASCII, or whose CRC does not fit is dropped and counted in
    `bad`; the next newline starts afresh. An empty line is nothing.
    """

    def __init__(self) -> None:
        self.buffer = bytearray(MAX_LINE)
        self.good = 0
        self.bad = 0
        self._length = 0
        self._text = 0
        self._spoilt = False
        self._crc = 0xFFFF

    def put(self, byte: int) -> bool:
        """Take one byte. True where it ends a good line: then `text()` is its JSON, until the next byte."""
        if byte == 10:
            return self._end()
        if self._spoilt or byte == 13:
            return False
        n = self._length
        if n >= MAX_LINE - 1 or not 32 <= byte <= 126:
            self._spoilt = True
            return False
        self.buffer[n] = byte
        self._length = n + 1
        if n >= 5:
            crc = self._crc
            self._crc = ((crc << 8) & 0xFFFF) ^ _TABLE[(crc >> 8) ^ self.buffer[n - 5]]
        return False

    def _end(self) -> bool:
        n = self._length
        fits = not self._spoilt and n > 5 and self._tail(n)
        if fits:
            self.good = (self.good + 1) & 0x3FFFFFF
        elif n or self._spoilt:
            self.bad = (self.bad + 1) & 0x3FFFFFF
        self._text = n - 5
        self._length = 0
        self._spoilt = False
        self._crc = 0xFFFF
        return fits

    def _tail(self, n: int) -> bool:
        if self.buffer[n - 5] != 32:
            return False
        stated = 0
        for i in range(n - 4, n):
            digit = self.buffer[i]
            if 48 <= digit <= 57:
                digit -= 48
            elif 97 <= digit <= 102:
                digit -= 87
            else:
                return False
            stated = stated * 16 + digit
        return stated == self._crc

    def text(self) -> str:
        """The JSON text of the line that has just ended."""
        return bytes(self.buffer[: self._text]).decode()
