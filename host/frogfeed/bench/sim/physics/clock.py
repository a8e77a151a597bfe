"""The bench's clock: numbered event slots in one heap, time in whole microseconds.

Each slot holds one due time, so an event scheduled again replaces the earlier one. Of the events of one instant
the slot reserved first runs last: who judges an instant reserves slot 0. The heap holds plain integers, so
scheduling allocates nothing.
"""

from heapq import heappop, heappush

if False:
    from collections.abc import Callable
    from typing import Any, TypeVar

    T = TypeVar("T")

SLOT_BITS = 14
SLOT_MASK = (1 << SLOT_BITS) - 1
FAR = 1 << 46
"""Later than any event: two years in microseconds, small enough to be packed with a slot number."""


class Clock:
    """Simulated time and the events still to come. `now` and every time are microseconds since power-on."""

    def __init__(self, start_us: int = 0) -> None:
        self.now = start_us
        self.next = FAR
        self.heap: "list[int]" = []
        self.due: "list[int]" = []
        self.handlers: "list[Callable[[Any], None]]" = []
        self.args: "list[object]" = []

    def slot(self, handler: "Callable[[T], None]", arg: "T | int" = 0) -> int:
        """Reserve a slot: `handler(arg)` is called at the time given to `at`."""
        if len(self.due) > SLOT_MASK:
            raise ValueError("the scenario needs more than %d event slots" % SLOT_MASK)
        self.due.append(-1)
        self.handlers.append(handler)
        self.args.append(arg)
        return len(self.due) - 1

    def at(self, time_us: int, slot: int) -> None:
        """Schedule (or reschedule) a slot. A time already past means now."""
        if time_us < self.now:
            time_us = self.now
        self.due[slot] = time_us
        heappush(self.heap, time_us << SLOT_BITS | (SLOT_MASK - slot))
        if time_us < self.next:
            self.next = time_us

    def cancel(self, slot: int) -> None:
        """Forget a slot's event, if it has one."""
        self.due[slot] = -1

    def pending(self, slot: int) -> int:
        """The slot's due time, or -1."""
        return self.due[slot]

    def run_events(self, until_us: int) -> None:
        """Run every event up to and at `until_us`; `now` follows them."""
        heap = self.heap
        due = self.due
        limit = (until_us << SLOT_BITS) | SLOT_MASK
        while heap and heap[0] <= limit:
            key = heappop(heap)
            slot = SLOT_MASK - (key & SLOT_MASK)
            time_us = key >> SLOT_BITS
            if due[slot] == time_us:
                due[slot] = -1
                if time_us > self.now:
                    self.now = time_us
                self.handlers[slot](self.args[slot])
        self.next = heap[0] >> SLOT_BITS if heap else FAR

    def run_to(self, time_us: int) -> None:
        """Run every event up to `time_us`, then let it be that time."""
        self.run_events(time_us)
        if time_us > self.now:
            self.now = time_us
