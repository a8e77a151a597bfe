"""Events kept until somebody reads them: a ring of fixed size that drops the oldest and counts what it drops.

Putting one in allocates nothing, so the control tick may do it at any time. No hardware.
"""

import array

from frogboard import methods

KINDS = tuple(kind for kind, _, _ in methods.EVENTS)
START = 0
MOVE = 1
REST = 2
LOST = 3
FEED = 4
TRIP = 5
FAULT = 6
CLEAR = 7
STALL = 8
ALL_OFF = 9
INPUT = 10
UNSAVED = 11
CHIP = 12
REFUSED = 13


class Events:
    """A ring of `size` events; each is (seq, ms, kind, index, value, extra), all whole numbers."""

    def __init__(self, size: int = 64) -> None:
        self._size = size
        self._ms = array.array("l", [0] * size)
        self._kind = bytearray(size)
        self._index = bytearray(size)
        self._value = bytearray(size)
        self._extra = bytearray(size)
        self._first = 0
        self._count = 0
        self.seq = 0
        self.dropped = 0
        self.now_ms = 0

    def put(self, kind: int, index: int = 0, value: int = 0, extra: int = 0) -> None:
        """Add an event at `now_ms`; the oldest goes where there is no room."""
        if self._count == self._size:
            self._first = (self._first + 1) % self._size
            self._count -= 1
            self.dropped = (self.dropped + 1) & 0x3FFFFFF
        at = (self._first + self._count) % self._size
        self._ms[at] = self.now_ms
        self._kind[at] = kind
        self._index[at] = index & 255
        self._value[at] = value & 255
        self._extra[at] = extra & 255
        self._count += 1
        self.seq = (self.seq + 1) & 0x3FFFFFF

    def __len__(self) -> int:
        return self._count

    def take(self) -> "tuple[int, int, int, int, int, int]":
        """The oldest event, removed. Only where there is one."""
        at = self._first
        seq = self.seq - self._count + 1
        self._first = (at + 1) % self._size
        self._count -= 1
        return seq, self._ms[at], self._kind[at], self._index[at], self._value[at], self._extra[at]

    def skip(self) -> int:
        """A number of its own for a measurement, which is never kept. Only while no event waits."""
        self.seq = (self.seq + 1) & 0x3FFFFFF
        return self.seq
