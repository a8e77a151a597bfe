"""What a person can order of a board, by a button or over the link: throws, trims, all off, on again, a reset.

An order is carried out from the next tick on, but for what has to be off, which is so at once. No hardware.
"""

from frogboard import events
from frogboard.reason import Refused

if False:
    from typing import Any

    from frogboard.events import Events
    from frogboard.guard import Guard
    from frogboard.mover import Mover

TRIM_US = 200
"""How far a trim may go from the end in the settings."""


class Orders:
    """Orders to the drives of `mover` and the feeds of `guard`. `specs`: the drives in the settings document."""

    def __init__(self, specs: "list[dict[str, Any]]", mover: "Mover", guard: "Guard", log: "Events") -> None:
        self.drives = mover.drives
        self.feeds = guard.feeds
        self.mover = mover
        self.all_off = False
        self._specs = specs
        self._guard = guard
        self._log = log

    def throw(self, d: int, to: int) -> int:
        """Queue a move. How many are queued or under way. Raises Refused."""
        drive = self.drives[d]
        if not drive.servo:
            raise Refused(drive.name, "it is moved by hand")
        self._permit(d)
        self.mover.request(d, to)
        return self.mover.queued

    def _permit(self, d: int) -> None:
        feed = self.mover.forbidden(d)
        if feed is not None:
            why = "it has a fault" if feed.fault else "all is off"
            raise Refused(self.drives[d].name, "%s can't be off nor follow while %s: reset first" % (feed.name, why))

    def refused_and_told(self, d: int) -> bool:
        """Whether servo d must not be thrown now; if so an event says it, for a button gets no answer."""
        feed = self.mover.forbidden(d)
        if feed is None:
            return False
        self._log.put(events.REFUSED, d, self.feeds.index(feed), feed.fault)
        return True

    def trim(self, d: int, setting: int, pulse_us: int) -> None:
        """Make `pulse_us` the end of a setting and move there. Raises Refused, also while drives move."""
        drive = self.drives[d]
        if not drive.servo:
            raise Refused(drive.name, "it is moved by hand")
        stated = self._specs[d]["pulse_us"][setting]
        if abs(pulse_us - stated) > TRIM_US:
            raise Refused(drive.name, "more than %d us from the %d us in the settings" % (TRIM_US, stated))
        if abs(pulse_us - drive.ends[1 - setting]) < 20:
            raise Refused(drive.name, "the two ends would be the same")
        if self.mover.busy:
            raise Refused("", "busy")
        self._permit(d)
        drive.ends[setting] = pulse_us
        self.mover.request(d, setting)

    def turn_all_off(self) -> "tuple[int, int]":
        """All feeds off until `reset`. (off for certain, held because they have no off)."""
        if not self.all_off:
            self.all_off = True
            self._log.put(events.ALL_OFF)
        off = 0
        for feed in self.feeds:
            feed.all_off = True
            feed.stir()
            feed.out.cut()
            off += 1 if feed.out.has_off else 0
        return off, len(self.feeds) - off

    def undo_all_off(self) -> None:
        """Undo `turn_all_off`, faults apart: feeds were off for new settings, which were not taken."""
        self.all_off = False
        for feed in self.feeds:
            feed.all_off = False
            feed.stir()

    def reset(self, i: int = -1) -> int:
        """Clear faults: of feed i, or of all (and all-off). How many there were."""
        if i >= 0:
            return 1 if self._guard.clear(self.feeds[i]) else 0
        self.all_off = False
        cleared = 0
        for feed in self.feeds:
            feed.all_off = False
            feed.stir()
            cleared += 1 if self._guard.clear(feed) else 0
        return cleared
