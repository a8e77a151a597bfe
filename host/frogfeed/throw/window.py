"""When a switched feed may change over while its drive moves.

Unbonded blades: the old contact must be open for certain before the arriving blade can touch, and the new
one must not close before the leaving blade's last possible touch. Where the output has an off (a pair, or
anything behind an enable), off before motion and on after arrival always does. A bare changeover or
latching output makes both edges at once, so release, transfer, bounce and a tick must fit the stretch in
which neither blade touches. Bonded blades and an isolated frog: the blades set no limit, and the feed
changes over in mid-travel.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Literal

from frogfeed.throw.linkage import MAX_ANGLE_DEG, Linkage
from frogfeed.throw.motion import Motion

OutputKind = Literal["pair", "changeover", "latching"]

TICKS = 3
"""Control ticks that a bare output's command may be late: one until the pulse is seen to have passed, one of
slack, one of rounding the lag to ticks.
"""

STEPS = 600.0
"""The firmware eases in steps of 1/1024 of time and way, so a pulse may be passed late by travel / 600."""


@dataclass(frozen=True, slots=True)
class Contacts:
    """The switched output's times in ms, worst case; `has_off` for a pair and for anything behind an enable.

    `dead_ms` is how long both legs must be off between them; `release_ms` and `operate_ms` leave out the
    bounce.
    """

    kind: OutputKind
    has_off: bool
    operate_ms: float
    release_ms: float
    bounce_ms: float
    dead_ms: float

    @property
    def transfer_ms(self) -> float:
        """From a changeover's command to its new contact at rest."""
        return max(self.operate_ms, self.release_ms) + self.bounce_ms

    @property
    def off_ms(self) -> float:
        """From the command to turn off until the contact is open for certain."""
        return self.release_ms + self.bounce_ms

    @property
    def apart_ms(self) -> int:
        """How long a board must keep both legs off between them: the stated dead time, or until surely
        open.
        """
        return math.ceil(max(self.dead_ms, self.off_ms))


@dataclass(frozen=True, slots=True)
class Stretch:
    """Where neither blade touches, on the way to one setting.

    `leave_us` and `arrive_us` bound it as pulses; `leave_ms` and `arrive_ms` as times after the commanded
    pulse's first step, the leaving one with the servo as far
    behind as it can be, the arriving one with it right there; `ms` between
    them.
    """

    leave_us: float
    arrive_us: float
    leave_ms: float
    arrive_ms: float

    @property
    def ms(self) -> float:
        return self.arrive_ms - self.leave_ms


@dataclass(frozen=True, slots=True)
class Move:
    """What the board is told for one direction of one drive and one feed (see the settings document).

    The feed goes off once the commanded pulse reaches `off_us` (the start pulse: before motion, and the
    first step then waits `off_lead_ms`); it may go on once the pulse has passed `on_us` and `on_lag_ms`
    have gone by.
    """

    off_us: int
    off_lead_ms: int
    on_us: int
    on_lag_ms: int


@dataclass(frozen=True, slots=True)
class Window:
    """A changeover that fits. Times in ms after the throw is begun; `stretch` is None with bonded blades.

    `off_begin_ms` the off command, `off_sure_ms` when it is open for certain, `on_ms` the earliest on
    command, `done_ms` when the new contact is at rest; `shortest_travel_ms` the fastest travel that still
    fits.
    """

    to: int
    move: Move
    stretch: Stretch | None
    off_begin_ms: float
    off_sure_ms: float
    on_ms: float
    done_ms: float
    shortest_travel_ms: float
    needed_ms: float


@dataclass(frozen=True, slots=True)
class Refused:
    """A changeover that does not fit. `travel_ms` is the travel time at which it would, None where none
    helps.
    """

    to: int
    reason: str
    cure: str
    needed_ms: float
    stretch: Stretch | None
    travel_ms: float | None


Outcome = Window | Refused


@dataclass(frozen=True, slots=True)
class Fault:
    """What is wrong with a drive's geometry: a finding's code, what with the numbers, why, and the cure."""

    code: str
    what: str
    why: str
    cure: str

    def __iter__(self) -> Iterator[str]:
        return iter((self.code, self.what, self.why, self.cure))


def linkage_faults(linkage: Linkage, range_us: tuple[int, int], needed_throw_mm: float) -> tuple[Fault, ...]:
    """What is wrong with a drive's geometry by itself.

    `needed_throw_mm` is how far an open blade must stand off for the gauge's wheels.
    """
    found: list[Fault] = []
    low, high = range_us
    for pulse in linkage.pulse_us:
        if not low <= pulse <= high:
            found.append(
                Fault(
                    "throw-pulse-range",
                    f"a pulse of {pulse} µs is outside the servo's range of {low} to {high} µs",
                    "the servo would run into its own stop, growl and burn out",
                    "move the horn by a spline, or set range_us to what this servo stands",
                )
            )
    if linkage.pulse_us[0] == linkage.pulse_us[1]:
        found.append(
            Fault(
                "throw-pulse-same",
                "both ends have the same pulse",
                "the blades would never move",
                "give each setting its own pulse",
            )
        )
        return tuple(found)
    if linkage.half_angle_deg > MAX_ANGLE_DEG:
        found.append(
            Fault(
                "throw-angle",
                f"the horn turns {linkage.half_angle_deg:.0f}° to either side of the middle",
                f"beyond {MAX_ANGLE_DEG:.0f}° a horn hardly moves the rod any further, and past 90° back again",
                "bring the pulses closer together and use a longer horn",
            )
        )
    if linkage.throw_mm < needed_throw_mm:
        found.append(
            Fault(
                "throw-short",
                f"a blade throw of {linkage.throw_mm:.2f} mm is less than the {needed_throw_mm:.2f} mm by which "
                "an open blade must clear the wheels",
                "the backs of the wheels would touch the open blade, which carries the other polarity",
                f"open the blades by at least {needed_throw_mm:.2f} mm",
            )
        )
    if linkage.reach_mm < linkage.needed_reach_mm:
        found.append(
            Fault(
                "throw-reach",
                f"the horn moves the tie bar by {2 * linkage.reach_mm:.2f} mm, but throw and lost motion take "
                f"{2 * linkage.needed_reach_mm:.2f} mm ({linkage.throw_mm:.2f} and "
                f"{linkage.lost_motion_mm:.2f})",
                "the blades would not be pressed home, and wheels would split them",
                "move the pulses further apart, or use a longer horn",
            )
        )
    return tuple(found)


def stretch(linkage: Linkage, motion: Motion, to: int) -> Stretch:
    """Where neither blade touches on the way to setting `to` (0 or 1). Negative where the servo's lag eats
    it.

    Raises ValueError where the linkage has no such travel at all (`Linkage.open_mm` of zero or less).
    """
    if linkage.open_mm <= 0.0:
        raise ValueError("both blades may touch at once")
    start, end = linkage.pulse_us[1 - to], linkage.pulse_us[to]
    leave = linkage.pulse_at(linkage.last_touch_mm(to))
    arrive = linkage.pulse_at(linkage.first_touch_mm(to))
    return Stretch(
        leave,
        arrive,
        motion.time_at(start, end, leave) + motion.behind_ms,
        motion.time_at(start, end, arrive),
    )


def decide(linkage: Linkage, motion: Motion, contacts: Contacts, bonded: bool, to: int) -> Outcome:
    """The changeover of one feed on the way to setting `to` (0 or 1), or why it does not fit.

    Assumes a linkage without `linkage_faults`.
    """
    start, end = linkage.pulse_us[1 - to], linkage.pulse_us[to]
    if bonded:
        return _bonded(linkage, motion, contacts, to)
    if linkage.open_mm <= 0.0:
        clear = 2.0 * linkage.clearance_mm + linkage.lost_motion_mm
        return Refused(
            to,
            f"both blades may touch at once: clearance and lost motion take {clear:.2f} mm of a throw of "
            f"{linkage.throw_mm:.2f} mm",
            f"open the blades by more than {clear:.2f} mm, take play out of the linkage, or bond the blades",
            0.0,
            None,
            None,
        )
    free = stretch(linkage, motion, to)
    tick = motion.tick_ms
    if contacts.has_off:
        lead = math.ceil(contacts.off_ms + tick)
        move = Move(start, lead, end, math.ceil(motion.lag_ms))
        on = lead + motion.travel_ms + math.ceil(motion.behind_ms)
        done = on + tick + contacts.operate_ms + contacts.bounce_ms
        return Window(to, move, free, 0.0, contacts.off_ms, on, done, tick, contacts.off_ms + tick)
    return _in_stretch(linkage, motion, contacts, to, free)


def _in_stretch(linkage: Linkage, motion: Motion, contacts: Contacts, to: int, free: Stretch) -> Outcome:
    """A bare changeover or latching output: one command, both edges inside the stretch."""
    start, end = linkage.pulse_us[1 - to], linkage.pulse_us[to]
    rising = end > start
    trigger, arrival = _beyond(free.leave_us, rising), _beyond(free.arrive_us, rising)
    lag = math.ceil(motion.behind_ms)
    needed = contacts.transfer_ms + TICKS * motion.tick_ms
    trigger_ms, arrival_ms = (motion.time_at(start, end, _seen(k, rising)) for k in (trigger, arrival))
    have = arrival_ms - trigger_ms - lag - motion.travel_ms / STEPS
    shortest = _shortest(motion.travel_ms, arrival_ms - trigger_ms, lag + needed)
    if shortest is None or have < needed:
        slower = "" if shortest is None else f"slow the servo from {motion.travel_ms:.0f} to {shortest} ms, "
        return Refused(
            to,
            f"the changeover takes {needed:.0f} ms (release, transfer, bounce and ticks), but neither blade "
            f"touches for only {max(have, 0.0):.0f} ms at this speed",
            f"{slower}bond the blades, or use an output with an off",
            needed,
            free,
            None if shortest is None else float(shortest),
        )
    move = Move(trigger, 0, trigger, lag)
    on = trigger_ms + lag
    return Window(to, move, free, on, on + needed, on, on + needed, float(shortest), needed)


def _bonded(linkage: Linkage, motion: Motion, contacts: Contacts, to: int) -> Window:
    start, end = linkage.pulse_us[1 - to], linkage.pulse_us[to]
    middle = round(linkage.middle_us)
    at = motion.time_at(start, end, middle)
    tick = motion.tick_ms
    move = Move(middle, 0, middle, 0)
    if contacts.kind == "pair" or contacts.has_off:
        on = at + contacts.apart_ms + tick
        done = on + tick + contacts.operate_ms + contacts.bounce_ms
        return Window(to, move, None, at, at + tick + contacts.off_ms, on, done, tick, 0.0)
    done = at + tick + contacts.transfer_ms
    return Window(to, move, None, at, done, at, done, tick, 0.0)


def _beyond(pulse_us: float, rising: bool) -> int:
    """The first whole pulse at or past this one in the direction of travel."""
    return math.ceil(pulse_us) if rising else math.floor(pulse_us)


def _seen(pulse_us: int, rising: bool) -> int:
    """The unrounded pulse at which the whole pulse is reached: the firmware rounds down, so early when
    falling.
    """
    return pulse_us if rising else pulse_us + 1


def _shortest(travel_ms: float, between_ms: float, needed_ms: float) -> int | None:
    """The shortest travel, in whole ms, at which `needed_ms` fit between two pulses that now lie
    `between_ms` apart.

    None where no travel does.
    """
    share = between_ms / travel_ms - 1.0 / STEPS
    return math.ceil(needed_ms / share) if share > 0.0 else None
