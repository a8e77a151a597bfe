"""Over-current: turns feeds off, remembers why, tries again a bounded number of times.

Two sources: hardware trip inputs, whose interrupt has already cleared the pins and set `tripped[i]`; and sensors,
whose readings the hardware layer leaves in `reading` (counts above zero current; -1: the sensor does not answer).
A bare changeover or latching output never moves on a trip. No hardware; no allocation in `step`.
"""

import array

from frogboard import events
from frogboard.feed import CHIP, NO_FAULT, SENSOR, STUCK, TRIP
from frogboard.outputs import GOOD_MS
from frogboard.table import OFF

if False:
    from typing import Any

    from frogboard.events import Events
    from frogboard.feed import Feed
    from frogboard.outputs import Group

BY_TRIP = 128
"""In an event: the source is trip input number value - BY_TRIP; below it a sensor."""
HOLD_MS = 100
"""A group that the guard opened stays open until its members' own contacts have let go for certain."""
MOST_STRAYS = 2
"""A group through which current flows once more than this, with all that is watched there told off, stays open."""
VAIN_MS = 1000
"""A source that tells of current for so long while all that it watches is off will not be believed any more."""
NO_PLACE = 255
SENSOR_LOST_MS = 500


class Guard:
    """Watches feeds: what the trip inputs and the sensors of `doc` watch, each over its own limit (0: never trips)."""

    def __init__(self, doc: "dict[str, Any]", feeds: "list[Feed]", log: "Events") -> None:
        sensors = doc["sensors"]
        self.feeds = feeds
        self.reading = array.array("h", [0] * len(sensors))
        self.tripped = bytearray(len(doc["trips"]))
        self.servo = [s["role"] == "servo" for s in sensors]
        self._servos = [i for i, s in enumerate(sensors) if s["role"] == "servo"]
        self.high = bytearray(len(sensors))
        """1 while a sensor has been over its limit for its time."""
        self.waiting = False
        """A feed waits to be tried again, or to have its retries back."""
        self._struck = False
        """Something tripped in this step."""
        self._log = log
        self._limit = array.array("h", [s["trip_ma"] * 1000000 // s["na_per_count"] for s in sensors])
        self._after_ms = array.array("h", [s["trip_ms"] for s in sensors])
        self._over_ms = array.array("h", [0] * len(sensors))
        self._lost_ms = array.array("h", [0] * len(sensors))
        self._vain_ms = array.array("h", [0] * (len(self.tripped) + len(sensors)))
        """Per trip input, then per sensor: for how long it has told of current with nothing on."""
        self._by_sensor = [[feeds[f] for f in s["watches"]] for s in sensors]
        self._by_trip = [[feeds[f] for f in t["watches"]] for t in doc["trips"]]

    @property
    def servo_high(self) -> bool:
        """Whether the servo supply has been over its limit for its time: a moving servo may be stuck."""
        for i in self._servos:
            if self.high[i]:
                return True
        return False

    @property
    def busy(self) -> bool:
        """Whether time alone will change something."""
        return any(self._over_ms) or any(self.high) or any(self.tripped) or any(self._lost_ms)

    def step(self, dt_ms: int) -> None:
        """Count retries; look at trips and readings. What trips now waits from now on, however late this step is."""
        if self.waiting:
            self.waiting = False
            for i in range(len(self.feeds)):
                self._retry(i, self.feeds[i], dt_ms)
        for i in range(len(self.tripped)):
            if self.tripped[i]:
                self.tripped[i] = 0
                for feed in self._by_trip[i]:
                    feed.cleared = True
                    if feed.out.group is not None:
                        feed.out.group.struck = True
                self._trip(self._by_trip[i], BY_TRIP + i, i, dt_ms)
            else:
                self._vain_ms[i] = 0
        for i in range(len(self.reading)):
            self._sensor(i, dt_ms)
        if self._struck:
            self._struck = False
            self._cut()

    def _sensor(self, i: int, dt_ms: int) -> None:
        now = self.reading[i]
        if now < 0:
            self._lost_ms[i] = min(SENSOR_LOST_MS, self._lost_ms[i] + dt_ms)
            if self._lost_ms[i] >= SENSOR_LOST_MS:
                self._blind(i)
            return
        if self._lost_ms[i]:
            self._lost_ms[i] = 0
            self._sees(i)
        if not self._limit[i] or now <= self._limit[i]:
            if self._over_ms[i]:
                self._over_ms[i] = 0
            self.high[i] = 0
            self._vain_ms[len(self.tripped) + i] = 0
            return
        if self._over_ms[i] >= self._after_ms[i]:
            self.high[i] = 1
            if not self.servo[i]:
                self._over_ms[i] = 0
                self._trip(self._by_sensor[i], i, len(self.tripped) + i, max(dt_ms, self._after_ms[i]))
        else:
            self._over_ms[i] = min(20000, self._over_ms[i] + dt_ms)

    def _blind(self, i: int) -> None:
        """A sensor that has a limit and does not answer: its feeds have lost their protection."""
        if not self._limit[i]:
            return
        for feed in self._by_sensor[i]:
            if feed.fault == NO_FAULT:
                self.latch(feed, SENSOR)

    def _sees(self, i: int) -> None:
        """A sensor answers again: its feeds may go on. What they tripped before, and how often, still counts."""
        for feed in self._by_sensor[i]:
            if feed.fault == SENSOR:
                feed.fault = NO_FAULT
                feed.latched = False
                feed.stir()
                self._log.put(events.CLEAR, self.feeds.index(feed))
            elif feed.beneath == SENSOR:
                feed.beneath = NO_FAULT

    def latch(self, feed: "Feed", why: int) -> None:
        """Off and kept off for a reason other than the feed's own current."""
        feed.fault = why
        feed.stir()
        feed.latched = True
        feed.retry_ms = 0
        feed.out.cut()
        self._log.put(events.FAULT, self.feeds.index(feed), why)

    def _trip(self, feeds: "list[Feed]", source: int, slot: int, lasted_ms: int) -> None:
        """Everything watched that may have carried the current, told apart by when each is tried again.

        Nothing is cut before all sources have been looked at: an enable that opens for one turns its neighbours off
        too, and they would pass for feeds without current. What only the enable can turn off is tried again together.
        """
        self._struck = True
        for feed in feeds:
            if feed.out.group is not None:
                feed.out.group.place = NO_PLACE
        places = 0
        found = flipped = False
        for feed in feeds:
            if feed.hit:
                found = True
            elif feed.fault == NO_FAULT and not (feed.out.has_off and feed.out.live == OFF):
                found = True
                group = None if feed.out.own_off else feed.out.group
                place = places
                if group is not None and group.place != NO_PLACE:
                    place = group.place
                else:
                    places += 1
                    if group is not None:
                        group.place = place
                if self._trip_one(feed, source, place, not flipped):
                    flipped = True
        if found:
            self._vain_ms[slot] = 0
        else:
            self._vain_ms[slot] = min(VAIN_MS, self._vain_ms[slot] + lasted_ms)
            self._stray(feeds, self._vain_ms[slot] >= VAIN_MS)

    def _trip_one(self, feed: "Feed", source: int, place: int, may_flip: bool) -> bool:
        """Whether it is tried on the other bus wire. One at a time: of several at most one was wrong."""
        index = self.feeds.index(feed)
        feed.trips = min(200, feed.trips + 1)
        feed.good_ms = 0
        feed.hit = True
        feed.stir()
        self.waiting = True
        self._log.put(events.TRIP, index, source, feed.trips)
        if not feed.out.has_off:
            feed.fault = TRIP
            feed.latched = True
            self._log.put(events.FAULT, index, TRIP)
            return False
        unflipped = feed.try_other and not feed.flipped and feed.tries == 0
        if unflipped and may_flip:
            feed.flipped = True
            feed.tries = 1
            feed.good_ms = GOOD_MS
            return True
        feed.fault = TRIP
        feed.flipped = False
        if unflipped or feed.retried < feed.retries:
            if not unflipped:
                feed.retried += 1
            feed.retry_ms = feed.retry_after_ms * (1 + place)
        else:
            feed.latched = True
            self._log.put(events.FAULT, index, TRIP)
        return False

    def _stray(self, feeds: "list[Feed]", endless: bool) -> None:
        """Current though all that is watched is told off: only an enable ahead of them can still turn it off.

        `endless`: nor does that help, or what tells of it is wrong.
        """
        for feed in feeds:
            group = feed.out.group
            if group is None:
                if endless and feed.fault != STUCK and feed.beneath != STUCK:
                    self._stick_one(feed)
            elif (group.on or endless) and not group.stuck and group.place == NO_PLACE:
                group.place = 0
                group.struck = True
                group.stray(MOST_STRAYS + 1 if endless else 1)

    def _cut(self) -> None:
        """At the end of a step in which something tripped: off with all of it."""
        for feed in self.feeds:
            if feed.hit or feed.cleared:
                feed.hit = feed.cleared = False
                feed.stir()
                feed.out.cut()
            group = feed.out.group
            if group is not None and group.struck:
                group.struck = False
                group.open(HOLD_MS)
                if group.strays > MOST_STRAYS:
                    self._stick(group)

    def _stick(self, group: "Group") -> None:
        """Keep an enable open: closed, it would feed the fault again and again."""
        group.stuck = True
        group.strays = 0
        for feed in self.feeds:
            if feed.out.group is group:
                self._stick_one(feed)

    def _stick_one(self, feed: "Feed") -> None:
        if feed.fault == CHIP:
            feed.beneath = STUCK
            feed.latched = True
            feed.retry_ms = 0
        else:
            self.latch(feed, STUCK)

    def _retry(self, i: int, feed: "Feed", dt_ms: int) -> None:
        if feed.retry_ms > 0 or feed.good_ms > 0:
            self.waiting = True
        if feed.fault == CHIP:
            return
        if feed.retry_ms > 0:
            feed.retry_ms = max(0, feed.retry_ms - dt_ms)
            if feed.retry_ms == 0:
                feed.stir()
                feed.fault = NO_FAULT
                feed.good_ms = GOOD_MS
                self._log.put(events.CLEAR, i)
        elif feed.good_ms > 0 and feed.told != OFF:
            feed.good_ms = max(0, feed.good_ms - dt_ms)
            if feed.good_ms == 0:
                feed.retried = 0
                feed.tries = 0

    def clear(self, feed: "Feed") -> bool:
        """Forget a feed's fault and its trips. False where there was none, or none but that its chip is silent: that
        fault lasts until the chip answers.
        """
        silent = feed.fault == CHIP
        had = (feed.beneath if silent else feed.fault) != NO_FAULT
        feed.stir()
        feed.fault = CHIP if silent else NO_FAULT
        feed.beneath = NO_FAULT
        feed.latched = False
        feed.retry_ms = 0
        feed.retried = 0
        feed.tries = 0
        feed.good_ms = 0
        feed.trips = 0
        feed.flipped = False
        if feed.out.group is not None:
            feed.out.group.stuck = False
        if had and not silent:
            self._log.put(events.CLEAR, self.feeds.index(feed))
        return had

    def chip(self, feed: "Feed", ok: bool) -> None:
        """The expander that carries a feed's legs stopped or began to answer; what the feed had before goes on then."""
        if not ok and feed.fault != CHIP:
            feed.beneath = feed.fault
            feed.fault = CHIP
            feed.stir()
            feed.out.lose()
            self._log.put(events.FAULT, self.feeds.index(feed), CHIP)
        elif ok and feed.fault == CHIP:
            feed.fault = feed.beneath
            feed.beneath = NO_FAULT
            feed.stir()
            self._log.put(events.CLEAR, self.feeds.index(feed))
            if feed.latched:
                self._log.put(events.FAULT, self.feeds.index(feed), feed.fault)
