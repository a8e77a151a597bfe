"""One switched feed: what its table says for the settings known now, and when it may follow.

For every drive that the table names the feed has its own view: the setting it may rely on, or UNKNOWN. A servo's
setting turns UNKNOWN where the pulse reaches `off_us` on the way out, and becomes the new one when the pulse has
passed `on_us` and `on_lag_ms` have gone by. With any view UNKNOWN that matters, the table says off.

Whole-number arithmetic only, no allocation in `step`. No hardware.
"""

import array

from frogboard.drive import FRAME_MS, MOVE, SETTLE
from frogboard.outputs import ChangeoverOut, LatchingOut, PairOut
from frogboard.sleeper import Sleeper
from frogboard.table import OFF, UNKNOWN, A, B, build

if False:
    from typing import Any

    from frogboard.drive import Drive
    from frogboard.hand import HandDrive

AT_END = -1
"""In place of a pulse: at the end of the travel, wherever trimming has put that end."""

NO_FAULT = 0
TRIP = 1
SENSOR = 2
CHIP = 3
STUCK = 4
"""Current flowed though it was told off: a contact does not let go, or the short lies ahead of it."""
FAULTS = ("", "trip", "sensor", "chip", "stuck")


class Feed(Sleeper):
    """A feed with its output. `want` is what the table says, `fault` why it is kept off all the same."""

    def __init__(
        self,
        spec: "dict[str, Any]",
        depends: "list[int]",
        drives: "list[Drive | HandDrive]",
        out: "PairOut | ChangeoverOut | LatchingOut",
        slack_ms: int,
    ) -> None:
        super().__init__()
        self.name = spec["name"]
        self.out = out
        self.depends = depends
        self.want = OFF
        self.told = OFF
        self.fault = NO_FAULT
        self.beneath = NO_FAULT
        """The fault it had when its chip stopped answering: that goes on when the chip is back."""
        self.hit = False
        """It tripped in this very step."""
        self.cleared = False
        """A trip input's interrupt has cleared its pins, whether it was on or not."""
        self.latched = False
        self.trips = 0
        self.flipped = False
        self.all_off = False
        self.going = True
        """With the next tick something may change by time alone, or where a drive that does not ease is."""
        self.retry_ms = 0
        """Time left until a tripped feed is tried again."""
        self.good_ms = 0
        """How long it has still to be on without a trip until its retries are back; 0: none were used."""
        self.retried = 0
        """Retries used up."""
        self.tries = 0
        """1 after the flip of `try_other` has been used."""
        self.retries = spec["retries"]
        self.retry_after_ms = spec["retry_ms"]
        self.try_other = spec["try_other"]
        self._drives = [drives[d] for d in depends]
        self._answers = build(spec["table"], depends)
        count = len(depends)
        self.view = bytearray([UNKNOWN] * count)
        self._arm_ms = array.array("h", [0] * count)
        """Per drive: time left after the pulse passed `on_us`; -1: it has not passed yet."""
        spare = slack_ms + (FRAME_MS if out.has_off else 0)
        self._off_us = array.array("h", [0] * (2 * count))
        self._lead_ms = array.array("h", [0] * (2 * count))
        self._on_us = array.array("h", [0] * (2 * count))
        self._lag_ms = array.array("h", [0] * (2 * count))
        self._bonded = spec["bonded"]
        for move in spec["moves"]:
            k = depends.index(move["drive"])
            to = move["to"]
            ends = drives[move["drive"]].ends
            at = 2 * k + to
            self._off_us[at] = AT_END if move["off_us"] == ends[1 - to] else move["off_us"]
            self._lead_ms[at] = move["off_lead_ms"] + slack_ms
            self._on_us[at] = AT_END if move["on_us"] == ends[to] else move["on_us"]
            self._lag_ms[at] = move["on_lag_ms"] + spare
            out.long_ms = max(out.long_ms, self._lead_ms[at])
        self.want = self._say()

    def wake(self) -> None:
        """Drives whose positions are known from before the reset: rely on them from now on."""
        for k in range(len(self.view)):
            self.view[k] = self._drives[k].at
        self.want = self._say()

    def depart(self, k: int, to: int) -> None:
        """The k-th drive is about to move to `to`, or to turn round: off at once unless the off point is ahead.

        Turned back to where it came from before the off point of the way out, it never left: the view stays.
        """
        drive = self._drives[k]
        self._arm_ms[k] = -1
        passed = self._off_passed(k, drive, 1 - to if self.view[k] == to else to)
        if drive.pulse_us == 0 or passed:
            self.view[k] = UNKNOWN
        self.want = self._say()
        self.stir()

    def clear(self, k: int, to: int) -> bool:
        """Whether the k-th drive may take its first step: what must be off is, and has been for its lead.

        An output without an off can't be waited for: it only has to follow what is known, if blades may touch.
        """
        out = self.out
        if not out.has_off:
            return self._bonded or (not self.forbids and (self.want == OFF or out.told == self.want))
        aim = self._aim
        if aim != OFF and out.told in (aim, OFF):
            return True
        return out.is_off and out.off_ms >= self._lead_ms[2 * k + to]

    @property
    def forbids(self) -> bool:
        """Whether its drives must not be thrown now: it can't be off and is kept where it is, so that the arriving
        blade could meet the wrong polarity.
        """
        return not self.out.has_off and not self._bonded and (self.fault != NO_FAULT or self.all_off)

    @property
    def _aim(self) -> int:
        """`want`, or the other bus wire while it is flipped."""
        return A + B - self.want if self.flipped and self.want != OFF else self.want

    def look(self, dt_ms: int) -> None:
        """Bring the views up to date after the drives' step, and `want` with them."""
        views = self.view
        changed = going = False
        for k in range(len(views)):
            drive = self._drives[k]
            view = views[k]
            now = at = drive.at
            to = drive.to
            if to != UNKNOWN:
                now = view
                phase = drive.phase
                if drive.doubtful:
                    now = UNKNOWN
                elif view != to and MOVE <= phase <= SETTLE:
                    now = self._follow(k, drive, view, dt_ms)
                if phase != MOVE or (now != to and self._arm_ms[k] >= 0):
                    going = True
            elif view != at:
                going = True
                if drive.servo and at != UNKNOWN and not self._lagged(k, dt_ms):
                    now = view
            if now != view:
                views[k] = now
                changed = True
        self.going = going
        if changed:
            self.due = True
            want = self._say()
            if want != self.want:
                self.want = want
                self.flipped = False

    def step(self, dt_ms: int) -> None:
        """Move the output towards what is wanted, or keep it off (or, without an off, where it is).

        Without an off it also stays where it is while a drive's setting is not known: its rest side is no better. With
        bonded blades it goes on following its table, whatever the fault: held back it would stand against what is known
        as soon as a drive is thrown, and off it can't be. But not while nothing that it is told arrives there.
        """
        out = self.out
        self.due = False
        fault = self.fault
        if (fault == NO_FAULT and not self.all_off) or (fault != CHIP and self._bonded and not out.has_off):
            want = self.want
            if want == OFF:
                if not out.has_off and self._unsure:
                    want = out.told
            elif self.flipped:
                want = A + B - want
            out.step(dt_ms, want)
        elif out.has_off:
            out.step(dt_ms, OFF)
        elif out.busy:
            out.step(dt_ms, out.told)

    @property
    def busy(self) -> bool:
        """Whether time, or a drive that moves, will change something."""
        if self.due or self.retry_ms > 0 or self.out.busy or (self.good_ms > 0 and self.told != OFF):
            return True
        for k in range(len(self.view)):
            drive = self._drives[k]
            if drive.to != UNKNOWN or self.view[k] != drive.at:
                return True
        return False

    def rest(self) -> None:
        """After a look that saw nothing going: sleep until something changes, or a drive passes the next point."""
        out = self.out
        if self.due or out.busy or self.retry_ms > 0 or self.good_ms > 0:
            return
        for k in range(len(self.view)):
            drive = self._drives[k]
            to = drive.to
            if to != UNKNOWN:
                view = self.view[k]
                point = self._on_us[2 * k + to] if view == UNKNOWN else self._off_us[2 * k + to]
                drive.call_at(drive.ends[to] if point == AT_END or view == to else point)
        self.active = False

    @property
    def _unsure(self) -> bool:
        for view in self.view:
            if view == UNKNOWN:
                return True
        return False

    def _say(self) -> int:
        index = 0
        for k in range(len(self.view) - 1, -1, -1):
            index = index * 3 + self.view[k]
        return self._answers[index]

    def _lagged(self, k: int, dt_ms: int) -> bool:
        """Count down the lag that began where the pulse passed `on_us`; whether it is over, or never began."""
        left = self._arm_ms[k]
        if left > 0:
            left = left - dt_ms if dt_ms < left else 0
            self._arm_ms[k] = left
        return left <= 0

    def _follow(self, k: int, drive: "Drive | HandDrive", view: int, dt_ms: int) -> int:
        """The view of a drive on its way, whose setting to come is not relied on yet."""
        to = drive.to
        if view != UNKNOWN:
            if not self._off_passed(k, drive, to):
                return view
        elif self._arm_ms[k] >= 0:
            return to if self._lagged(k, dt_ms) else UNKNOWN
        if self._arm_ms[k] < 0 and self._on_passed(k, drive, to):
            self._arm_ms[k] = self._lag_ms[2 * k + to]
        return to if self._arm_ms[k] == 0 else UNKNOWN

    def _off_passed(self, k: int, drive: "Drive | HandDrive", to: int) -> bool:
        point = self._off_us[2 * k + to]
        return point == AT_END or _passed(drive, to, point)

    def _on_passed(self, k: int, drive: "Drive | HandDrive", to: int) -> bool:
        point = self._on_us[2 * k + to]
        return _passed(drive, to, drive.ends[to] if point == AT_END else point)


def _passed(drive: "Drive | HandDrive", to: int, point_us: int) -> bool:
    """Whether the pulse has reached a point on its way to `to`."""
    if drive.ends[to] > drive.ends[1 - to]:
        return drive.pulse_us >= point_us
    return drive.pulse_us <= point_us
