"""Time for one virtual board: virtual, granted by the host piece by piece, or real.

In virtual time the clock moves only when the firmware sleeps or asks for the time (each question costs a
microsecond or two, so that a loop that polls gets on); at the granted horizon the process reports and waits for
the next grant. In real time the same events run when their time has come by the real clock.
"""

import json
import sys

MYPY = False
"""True for the type checker alone, which knows the modules here by their package; a board by their bare names."""

if MYPY:
    import select
    from collections.abc import Callable
    from typing import Any, BinaryIO

    from frogfeed.bench.sim.physics.clock import SLOT_BITS, Clock

    RealTime = tuple[Callable[[], int], Callable[[BinaryIO], select.poll], Callable[[int], None]]
else:
    from physics.clock import SLOT_BITS, Clock

CALL_US = 2
"""What one look at the time or a pin costs the firmware (from memory, of a 125 MHz MicroPython board)."""
REPORT_US = 20_000
"""In real time the host hears at least this often how far the board has come."""


class Leave(Exception):
    """The board's life ends here: a reset, or the host has gone."""


class Kernel(Clock):
    """The clock of a virtual board, its horizon, and the control channel to the host.

    `ctl_in` and `ctl_out` are binary streams of JSON lines. `commands` maps a command's name to a function of its
    message; what it returns, if anything, is answered. `restless` and `heard` are set before the firmware starts.
    """

    restless: "Callable[[], bool]"  # whether something moves or rolls, so that no tick may be skipped
    heard: "Callable[[], bool]"  # whether serial input waits for the firmware
    real_us: "Callable[[], int]"  # the real clock; this and the two below in real time only
    poller: "select.poll"
    wait_us: "Callable[[int], None]"

    def __init__(self, ctl_in: "BinaryIO", ctl_out: "BinaryIO", start_us: int, real: "RealTime | None") -> None:
        Clock.__init__(self, start_us)
        self.ctl_in = ctl_in
        self.ctl_out = ctl_out
        self.horizon = start_us
        self.commands: "dict[str, Callable[[dict[str, Any]], object]]" = {}
        self.real = real is not None
        self.offset = 0
        self.reported = start_us
        self.woken = False
        self.skipped_us = 0
        self.next = start_us
        if real is not None:
            self.real_us, poller_for, self.wait_us = real
            self.poller = poller_for(ctl_in)
            self.offset = start_us - self.real_us()
            self.horizon = 1 << 62

    def send(self, message: "dict[str, Any]") -> None:
        """One line to the host."""
        self.ctl_out.write((json.dumps(message) + "\n").encode())

    # ---- virtual time ---------------------------------------------------------------------------------

    def advance(self, time_us: int) -> None:
        """Let time run to `time_us`: events happen on the way, and at the horizon the host is asked for more."""
        while True:
            limit = time_us if time_us < self.horizon else self.horizon
            self.run_events(limit)
            if limit > self.now:
                self.now = limit
            if time_us < self.horizon:
                break
            self._ask()
        if self.horizon < self.next:
            self.next = self.horizon

    def _ask(self) -> None:
        """Report the horizon reached; obey commands until the host grants more."""
        self.send({"at": self.now})
        while True:
            message = self._read()
            if "go" in message:
                self.horizon = message["go"]
                return
            self._obey(message)

    def _read(self) -> "dict[str, Any]":
        line = self.ctl_in.readline()
        if not line:
            sys.exit(0)
        message: "dict[str, Any]" = json.loads(line)
        return message

    def _obey(self, message: "dict[str, Any]") -> None:
        name = message["do"]
        try:
            answer = self.commands[name](message)
            self.send({"re": message.get("id"), "ok": answer})
        except (KeyError, ValueError, IndexError, TypeError) as problem:
            self.send({"re": message.get("id"), "error": "%s: %s" % (type(problem).__name__, problem)})

    # ---- real time ------------------------------------------------------------------------------------

    def sync(self) -> int:
        """Catch up with the real clock: run what is due. Returns the time in microseconds."""
        real = self.real_us() + self.offset
        if self.heap and self.next <= real:
            self.run_events(real)
        if real > self.now:
            self.now = real
        if real - self.reported > REPORT_US:
            self.reported = real
            self.send({"at": real})
        return self.now

    def hear(self, wait_ms: int) -> None:
        """Wait for commands from the host, at most so many milliseconds, and obey them."""
        while self.poller.poll(wait_ms):
            message = self._read()
            self.sync()
            self._obey(message)
            wait_ms = 0

    def sleep_real(self, us: int) -> None:
        """Sleep in real time, with events and commands served meanwhile."""
        end = self.sync() + us
        while True:
            left = end - self.now
            if left <= 0:
                self.hear(0)
                return
            until = self.next - self.now
            if until < left:
                left = until
            if left >= 2000:
                self.hear(left // 1000)
            elif left > 0:
                self.wait_us(left)
            self.sync()

    def sleep(self, us: int) -> None:
        """Sleep as the firmware asks."""
        if self.real:
            self.sleep_real(us)
            return
        time_us = self.now + us
        if time_us < self.next:
            self.now = time_us
        else:
            self.advance(time_us)

    def sleep_idle(self, us: int, tick_us: int) -> None:
        """Sleep up to `us`, to the firmware's own next deadline, or until something comes in from outside.

        Only a tick at a time while anything moves or rolls. What goes beyond a tick is counted as skipped.
        """
        began = self.now
        if us <= tick_us or self.restless() or self.heard():
            self.sleep(tick_us if us > tick_us else us)
            return
        end = began + us
        self.woken = False
        while self.now < end and not self.woken:
            until = end if end < self.horizon else self.horizon
            if self.heap and self.heap[0] >> SLOT_BITS < until:
                until = self.heap[0] >> SLOT_BITS
            at_horizon = until == self.horizon
            self.advance(until)
            if self.restless() or (at_horizon and self.heard()):
                break
        # the tick that would have come next: the firmware's grid of ticks goes on
        over = (self.now - began) % tick_us
        if over and self.woken:
            self.advance(self.now + tick_us - over)
        self.skipped_us += max(0, self.now - began - tick_us)

    def spend(self, us: int) -> None:
        """The firmware is busy for so long."""
        if self.real:
            self.sync()
            return
        time_us = self.now + us
        if time_us < self.next:
            self.now = time_us
        else:
            self.advance(time_us)
