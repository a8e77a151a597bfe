"""The USB serial port, never waiting: standard input and output with a poll before each byte.

A poll says that there is one byte, or room for one, and no more than that: a longer read waits until it is whole, and
a longer write waits (for up to half a second) where the laptop does not read.
"""

import select
import sys

from frogboard.methods import MAX_LINE

if False:
    from typing import Any

try:
    from micropython import kbd_intr
except ImportError:  # no such thing outside MicroPython, and not in every one of its ports

    def kbd_intr(chr: int) -> None:
        """Do nothing."""


class Usb:
    """Bytes from and to the laptop. `out` is a message being sent; it is sent as far as it is taken now."""

    def __init__(self) -> None:
        out: "Any" = sys.stdout.buffer
        self._readinto = sys.stdin.buffer.readinto
        self._write: "Any" = out.write
        self._flush: "Any" = getattr(out, "flush", None)
        self._incoming = _poll(sys.stdin, select.POLLIN)
        self._room = _poll(sys.stdout, select.POLLOUT)
        self._one = bytearray(1)
        self._buffer = bytearray(MAX_LINE)
        self._length = 0
        self._sent = 0
        self.gone = False

    def open(self) -> None:
        """From now on every byte is data, Ctrl-C included."""
        kbd_intr(-1)

    def close(self) -> None:
        """Ctrl-C interrupts again."""
        kbd_intr(3)

    def receive(self, into: bytearray, at: int, most: int) -> int:
        """Put what has come into `into` from `at` on: at most `most` bytes, up to and with a newline. Where it ends.

        At the end of the input nothing is put, and it is `gone`.
        """
        one, incoming, readinto = self._one, self._incoming, self._readinto
        end = at + most
        while at < end:
            got: "Any" = -1
            for _ in incoming(0):
                got = readinto(one)
            if got != 1:
                self.gone = got == 0
                break
            byte = one[0]
            into[at] = byte
            at += 1
            if byte == 10:
                break
        return at

    @property
    def sending(self) -> bool:
        """Whether the last message is not out yet."""
        return self._sent < self._length

    def send(self, line: bytes) -> None:
        """Begin to send a line of at most MAX_LINE bytes. Only while not `sending`."""
        self._buffer[: len(line)] = line
        self._length = len(line)
        self._sent = 0

    def push(self, most: int) -> int:
        """Send as many bytes as can be taken now, at most `most`. How many."""
        one, room, write = self._one, self._room, self._write
        buffer = self._buffer
        begin = sent = self._sent
        end = min(self._length, sent + most)
        while sent < end:
            able = False
            for _ in room(0):
                able = True
            if not able:
                break
            one[0] = buffer[sent]
            write(one)
            sent += 1
        self._sent = sent
        if sent > begin and sent == self._length and self._flush is not None:
            self._flush()
        return sent - begin


def _poll(stream: "Any", event: int) -> "Any":
    """A function that gives what is ready now. Looked up once: a method that is looked up takes memory."""
    poll = select.poll()
    poll.register(stream, event)
    return getattr(poll, "ipoll", poll.poll)
