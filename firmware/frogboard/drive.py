"""One servo drive: an eased move of the pulse between two ends, and whether its position is known.

Whole-number arithmetic only, nothing of 2**30 or more, no allocation in `step`. No hardware: the pulse to be sent
is `out_us` (0: none). The drive waits for its feeds: `clear` says whether it may take its first step.
"""

from frogboard.table import UNKNOWN

if False:
    from typing import Any

    from frogboard.sleeper import Sleeper

REST = 0
WAIT = 1
WAKE = 2
MOVE = 3
SETTLE = 4
JUMP = 5

FRAME_MS = 20
"""A new pulse takes effect with the next frame of the servo signal (50 Hz)."""
WAKE_MS = 3 * FRAME_MS
"""The remembered end is sent for this long before the first step, so the servo holds before it moves."""
LONGEST_WAIT_MS = 5000
"""Longer than any lead. Feeds not ready by then: the move is given up and the position counts as unknown."""
NOT_SENT = -1
"""In place of the time done: its count begins with the next step."""
LONGEST_STEP_MS = 10
"""A late tick slows a move down; it never makes the pulse jump."""


def eased(elapsed_ms: int, whole_ms: int) -> int:
    """How far along a move is, 0 to 1024: smooth at both ends (3x^2 - 2x^3)."""
    if elapsed_ms >= whole_ms:
        return 1024
    x = elapsed_ms * 1024 // whole_ms
    return ((x * x >> 6) * (3072 - 2 * x)) >> 14


class Drive:
    """A servo. `at` is the setting it is KNOWN to be at, else UNKNOWN; `to` the setting of the move under way."""

    def __init__(self, spec: "dict[str, Any]") -> None:
        self.name = spec["name"]
        self.servo = True
        self.ends = list(spec["pulse_us"])
        self.travel_ms = spec["travel_ms"]
        self.lag_ms = spec["lag_ms"] + FRAME_MS
        self.hold = spec["rest"] == "hold"
        self.at = UNKNOWN
        self.to = UNKNOWN
        self.phase = REST
        self.pulse_us = 0
        self.out_us = 0
        self.rising = True
        """Whether the pulse of the move under way gets longer."""
        self.called = False
        """A sleeper sleeps until the pulse has reached `call_us`, or is not eased any more."""
        self.call_us = 0
        self.sleepers: "list[Sleeper]" = []
        """Its feeds: those that rely on where it is."""
        self.stalled = False
        """The servo's current says that it may be stuck."""
        self.disturbed = False
        """Its pulses were lost on the way: they may never have reached the servo."""
        self.doubtful = False
        """Either of them: wherever the pulse is, nobody knows where the servo is."""
        self.started = False
        """Set at the first step or pulse of a move, for whoever reports it; they clear it."""
        self._from_us = 0
        self._far_us = 0
        self._whole_ms = 1
        self._done_ms = 0

    def remember(self, setting: int, pulse_us: int) -> None:
        """Known from before the reset: at rest at `setting`, with this pulse last sent."""
        self.at = setting
        self.pulse_us = pulse_us
        self.out_us = pulse_us if self.hold else 0

    @property
    def jumps(self) -> bool:
        """Whether the next move starts from a place nobody knows, so that its first pulse is the end."""
        return self.pulse_us == 0 or self.doubtful

    def begin(self, to: int) -> None:
        """Start a move to `to`, or turn one round that is under way (not a jump)."""
        self.to = to
        self.rising = self.ends[to] > self.ends[1 - to]
        self.phase = WAIT
        self._done_ms = 0

    def call_at(self, point_us: int) -> None:
        """Wake the sleepers where the pulse reaches this point, if it is the first of those asked for."""
        if not self.called or (point_us < self.call_us if self.rising else point_us > self.call_us):
            self.call_us = point_us
        self.called = True

    def call(self) -> None:
        """Wake the sleepers, if a point asked for has been reached."""
        if self.phase == MOVE and (self.pulse_us < self.call_us if self.rising else self.pulse_us > self.call_us):
            return
        self.called = False
        for sleeper in self.sleepers:
            sleeper.active = True

    def stall(self) -> None:
        """The servo may be stuck."""
        self.stalled = True
        self._doubt()

    def disturb(self) -> None:
        """Pulses were lost. One end is all that a jump sends, so its time begins anew with the next pulse: that is sent
        after the next step at the earliest.
        """
        if self.phase == JUMP and self._whole_ms < LONGEST_WAIT_MS:
            self._done_ms = NOT_SENT
            return
        self.disturbed = True
        self._doubt()

    def _doubt(self) -> None:
        self.doubtful = True
        for sleeper in self.sleepers:
            sleeper.stir()

    def step(self, dt_ms: int, clear: bool) -> None:
        """`dt_ms` have passed. `clear`: every feed that must be off before the first step is off for certain."""
        phase = self.phase
        if phase == MOVE:
            self._move(dt_ms)
        elif phase == WAIT:
            if clear:
                self._leave()
            else:
                self._done_ms += dt_ms
                if self._done_ms >= LONGEST_WAIT_MS:
                    self._rest(UNKNOWN)
        elif phase == WAKE:
            self._done_ms += dt_ms
            if self._done_ms >= WAKE_MS:
                self._go()
        elif phase == SETTLE:
            self._done_ms += dt_ms
            if self._done_ms > self.lag_ms:
                self._rest(self.to)
        elif phase == JUMP:
            self._done_ms = self._done_ms + dt_ms if self._done_ms != NOT_SENT else 0
            self._whole_ms += dt_ms
            if self._done_ms > self.travel_ms + self.lag_ms:
                self._rest(self.to)

    def _move(self, dt_ms: int) -> None:
        done_ms = self._done_ms + (dt_ms if dt_ms < LONGEST_STEP_MS else LONGEST_STEP_MS)
        whole_ms = self._whole_ms
        if done_ms < whole_ms:
            self._done_ms = done_ms
            pulse_us = self._from_us + (self._far_us * eased(done_ms, whole_ms) >> 10)
        else:
            self._done_ms = 0
            self.phase = SETTLE
            pulse_us = self.ends[self.to]
        self.pulse_us = pulse_us
        self.out_us = pulse_us

    def _leave(self) -> None:
        self.at = UNKNOWN
        if self.doubtful:
            self.pulse_us = 0
        self.stalled = self.disturbed = self.doubtful = False
        self.started = True
        self._done_ms = 0
        if self.pulse_us == 0:
            self.pulse_us = self.ends[self.to]
            self.out_us = self.pulse_us
            self._whole_ms = 0
            self.phase = JUMP
        elif self.out_us == 0:
            self.out_us = self.pulse_us
            self.phase = WAKE
        else:
            self._go()

    def _go(self) -> None:
        self._from_us = self.pulse_us
        self._done_ms = 0
        self._far_us = self.ends[self.to] - self._from_us
        full = abs(self.ends[1] - self.ends[0])
        self._whole_ms = max(1, self.travel_ms * abs(self._far_us) // full)
        self.phase = MOVE

    def _rest(self, at: int) -> None:
        self.phase = REST
        self.at = at
        self.to = UNKNOWN
        if self.doubtful:
            self.at = UNKNOWN
            self.pulse_us = 0  # it gets an end next, and the time to run there by itself
        if not self.hold:
            self.out_us = 0
