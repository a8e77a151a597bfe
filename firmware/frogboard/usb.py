"""The USB serial port, a byte at a time and never waiting: standard input and output with a poll before each byte.

One byte at a time because a longer read waits until it is whole, and a longer write waits (for up to half a second)
where the laptop does not read.
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
        self._in = sys.stdin.buffer
        self._out = sys.stdout.buffer
        self._flush: "Any" = getattr(self._out, "flush", None)
        self._poll_in = _poll(sys.stdin, select.POLLIN)
        self._poll_out = _poll(sys.stdout, select.POLLOUT)
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

    def take(self) -> int:
        """The next byte, or -1 where there is none now. At the end of the input: -1, and `gone`."""
        if not _ready(self._poll_in, select.POLLIN):
            return -1
        got = self._in.readinto(self._one)
        if got:
            return self._one[0]
        self.gone = got == 0
        return -1

    @property
    def sending(self) -> bool:
        """Whether the last message is not out yet."""
        return self._sent < self._length

    def send(self, line: bytes) -> None:
        """Begin to send a line of at most MAX_LINE bytes. Only while not `sending`."""
        self._buffer[: len(line)] = line
        self._length = len(line)
        self._sent = 0

    def push(self) -> bool:
        """Send one byte if it can be taken now. Whether it was."""
        if self._sent >= self._length or not _ready(self._poll_out, select.POLLOUT):
            return False
        self._one[0] = self._buffer[self._sent]
        self._out.write(self._one)
        self._sent += 1
        if self._sent == self._length and self._flush is not None:
            self._flush()
        return True


def _poll(stream: "Any", event: int) -> "Any":
    """A function that gives what is ready now. Looked up once: a method that is looked up takes memory."""
    poll = select.poll()
    poll.register(stream, event)
    return getattr(poll, "ipoll", poll.poll)


def _ready(poll: "Any", event: int) -> bool:
    for item in poll(0):
        if item[1] & (event | select.POLLHUP):
            return True
    return False
