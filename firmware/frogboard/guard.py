"""Over-current: turns feeds off, remembers why, tries again a bounded number of times.

Two sources: hardware trip inputs, whose interrupt has already cleared the pins and set `tripped[i]`; and sensors,
whose readings the hardware layer leaves in `reading` (counts above zero current; -1: the sensor does not answer).
A bare changeover or latching output never moves on a trip. No hardware; no allocation in `step`.
"""

import array

from frogboard import events
from frogboard.feed import CHIP, NO_FAULT, SENSOR, TRIP
from frogboard.table import OFF

if False:
    from typing import Any

    from frogboard.events import Events
    from frogboard.feed import Feed

GOOD_MS = 10000
"""On without a trip for this long, a feed has its retries back."""
BY_TRIP = 128
"""In an event: the source is trip input number value - BY_TRIP; below it a sensor."""
HOLD_MS = 100
"""A group that a trip input opened stays open until its members' own contacts have let go for certain."""
SENSOR_LOST_MS = 500


class Guard:
    """Watches feeds. `trip_counts[i]` is the reading over which sensor i trips (0: never)."""

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
        self._log = log
        self._limit = array.array("h", [s["trip_ma"] * 1000000 // s["na_per_count"] for s in sensors])
        self._after_ms = array.array("h", [s["trip_ms"] for s in sensors])
        self._over_ms = array.array("h", [0] * len(sensors))
        self._lost_ms = array.array("h", [0] * len(sensors))
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
        return any(self._over_ms) or any(self.tripped) or any(self._lost_ms)

    def step(self, dt_ms: int) -> None:
        """Look at trips and readings; count retries."""
        for i in range(len(self.tripped)):
            if self.tripped[i]:
                self.tripped[i] = 0
                self._strike(i)
        for i in range(len(self.reading)):
            self._sensor(i, dt_ms)
        if self.waiting:
            self.waiting = False
            for i in range(len(self.feeds)):
                self._retry(i, self.feeds[i], dt_ms)

    def _strike(self, i: int) -> None:
        """Trip input i. Its groups are opened only after that: a feed that is told off already counts as one without
        current, and would neither be told as tripped nor have its retries bounded.
        """
        feeds = self._by_trip[i]
        self._trip(feeds, BY_TRIP + i)
        for feed in feeds:
            if feed.out.group is not None:
                feed.out.group.open(HOLD_MS)

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
            return
        if self._over_ms[i] >= self._after_ms[i]:
            self.high[i] = 1
            if not self.servo[i]:
                self._over_ms[i] = 0
                self._trip(self._by_sensor[i], i)
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
        for feed in self._by_sensor[i]:
            if feed.fault == SENSOR:
                self.clear(feed)

    def latch(self, feed: "Feed", why: int) -> None:
        """Off and kept off for a reason other than current."""
        feed.fault = why
        feed.stir()
        feed.latched = True
        feed.retry_ms = 0
        feed.out.cut()
        self._log.put(events.FAULT, self.feeds.index(feed), why)

    def _trip(self, feeds: "list[Feed]", source: int) -> None:
        """All that may have carried the current, told apart by when each is tried again. Cut only when all are told:
        an enable that opens for one turns its neighbours off too, and they would pass for feeds without current.
        """
        struck = 0
        for feed in feeds:
            if feed.fault == NO_FAULT and not (feed.out.has_off and feed.out.told == OFF):
                self._trip_one(feed, source, struck)
                struck += 1
        if struck:
            for feed in feeds:
                feed.out.cut()

    def _trip_one(self, feed: "Feed", source: int, place: int) -> None:
        index = self.feeds.index(feed)
        feed.trips = min(200, feed.trips + 1)
        feed.good_ms = 0
        feed.stir()
        self.waiting = True
        self._log.put(events.TRIP, index, source, feed.trips)
        if not feed.out.has_off:
            feed.fault = TRIP
            feed.latched = True
            self._log.put(events.FAULT, index, TRIP)
            return
        if feed.try_other and not feed.flipped and feed.tries == 0:
            feed.flipped = True
            feed.tries = 1
            feed.good_ms = GOOD_MS
            return
        feed.fault = TRIP
        feed.flipped = False
        if feed.retried < feed.retries:
            feed.retried += 1
            feed.retry_ms = feed.retry_after_ms * (1 + place)
        else:
            feed.latched = True
            self._log.put(events.FAULT, index, TRIP)

    def _retry(self, i: int, feed: "Feed", dt_ms: int) -> None:
        if feed.retry_ms > 0 or feed.good_ms > 0:
            self.waiting = True
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
        """Forget a feed's fault and its trips. False where there was none."""
        had = feed.fault != NO_FAULT
        feed.stir()
        feed.fault = NO_FAULT
        feed.latched = False
        feed.retry_ms = 0
        feed.retried = 0
        feed.tries = 0
        feed.good_ms = 0
        feed.trips = 0
        feed.flipped = False
        if had:
            self._log.put(events.CLEAR, self.feeds.index(feed))
        return had

    def chip(self, feed: "Feed", ok: bool) -> None:
        """The expander that carries a feed's legs stopped or began to answer."""
        if not ok and feed.fault != CHIP:
            self.latch(feed, CHIP)
        elif ok and feed.fault == CHIP:
            self.clear(feed)
