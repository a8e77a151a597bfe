"""A feed's own trip: at which current and after how long it goes, before its district's supply does."""

from __future__ import annotations

import math
from dataclasses import dataclass

from frogfeed.layout.schema import District
from frogfeed.parts.boards import SensorType
from frogfeed.plan.model import BoardPlan, FeedPlan
from frogfeed.plan.suit import contacts_of
from frogfeed.throw.geometry import TICK_MS

TRIP_SHARE = 0.8
"""A feed's own trip as a share of its district's, so that the feed goes first (our choice)."""

TRIP_TIME_SHARE = 0.3
"""A feed's own trip time as a share of its district's (our choice)."""


@dataclass(frozen=True, slots=True)
class OwnTrip:
    """What opens a feed by itself: from `amps` on, open for certain after `ms`; `hardware` needs no
    control tick.
    """

    name: str
    amps: float
    ms: float
    hardware: bool


def sensor_trip_ma(district: District, kind: SensorType) -> int:
    """The current at which a sensor's feeds turn off, in mA: below the district's trip and within its
    range.
    """
    return round(1000.0 * min(TRIP_SHARE * district.trip_a, 0.9 * kind.full_scale_a.value))


def sensor_trip_ms(district: District) -> int:
    """How long that current must last, in ms."""
    return math.floor(TRIP_TIME_SHARE * district.trip_ms)


def own_trips(board: BoardPlan, feed: FeedPlan, district: District) -> tuple[OwnTrip, ...]:
    """Everything that opens this feed on too much current; empty where it has no off or nothing watches
    it.
    """
    contacts = contacts_of(board.profile, feed.channel)
    if not contacts.has_off:
        return ()
    off_ms = contacts.off_ms
    if feed.channel.enable is not None:
        enable = next(e for e in board.profile.enable if e.name == feed.channel.enable)
        off_ms = board.profile.enable_types[enable.type].release_ms.value
    found: list[OwnTrip] = []
    if feed.trip is not None:
        t = feed.trip
        found.append(OwnTrip(t.name, t.trip_a.value, t.latency_us.value / 1000.0 + off_ms, True))
    if feed.sensor is not None:
        kind = board.profile.sensor_types[feed.sensor.type]
        used = {f.sensor.name for f in board.feeds if f.sensor is not None and f.sensor.chip is not None}
        rounds = max(1, len(used)) if feed.sensor.chip is not None else 1
        seen_ms = rounds * TICK_MS + kind.settle_ms.value + sensor_trip_ms(district) + TICK_MS
        amps = sensor_trip_ma(district, kind) / 1000.0
        found.append(OwnTrip(feed.sensor.name, amps, seen_ms + contacts.off_ms, False))
    return tuple(found)
