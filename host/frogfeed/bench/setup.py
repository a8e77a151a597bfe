"""From a layout and its plan to a scenario for the bench: the physical figures that layout, gauge and parts state."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from typing import Any

from frogboard import settings
from frogfeed.bench.errors import BenchError
from frogfeed.bench.physical import (
    OutputPhysics,
    Physical,
    SensorPhysics,
    SupplyPhysics,
    TrackPhysics,
    TripPhysics,
    drive_physics,
)
from frogfeed.bench.scenario import build_scenario
from frogfeed.bench.shapes import Scenario
from frogfeed.layout.model import Layout
from frogfeed.layout.schema import Control, Drive, Protection
from frogfeed.parts.gauges import gauge
from frogfeed.plan.model import Plan
from frogfeed.track.network.model import RailNetwork
from frogfeed.track.network.netlist import netlist

ROUND_A_SHORT_OHM = 0.5
"""What bus, droppers, rail and contacts add to a supply's own resistance where nothing better is known."""
RETRY_MS = 5000.0


def opened(document: bytes) -> Mapping[str, Any]:
    """A settings document with its defaults filled in. Raises BenchError where the firmware would refuse it."""
    content, reason = settings.load(document)
    if content is None:
        raise BenchError(f"the settings document is not valid: {reason}")
    found: Mapping[str, Any] = content
    return found


def physical_of(
    layout: Layout,
    network: RailNetwork,
    throw_mm: float | None = None,
    outputs: Mapping[str, OutputPhysics] | None = None,
    plan: Plan | None = None,
) -> Physical:
    """Drives, supplies and lengths as layout and gauge state them; with a plan also outputs, sensors and trips.

    `throw_mm`: for drives that state no blade throw (default: the gauge's). `outputs` wins over the plan's profiles.
    """
    file = layout.file
    throw = throw_mm if throw_mm is not None else gauge(file.layout.gauge).default_throw_mm.value
    planned: dict[str, OutputPhysics] = {}
    sensors: dict[str, SensorPhysics] = {}
    trips: dict[str, TripPhysics] = {}
    dcc = file.layout.control is Control.DCC
    for board in plan.boards if plan is not None else ():
        for feed in board.feeds:
            switch = board.profile.switch(feed.channel)
            planned[feed.need.output] = OutputPhysics(
                switch.operate_ms.value,
                switch.release_ms.value,
                switch.bounce_ms.value,
                interlocked=switch.interlocked,
            )
            if feed.trip is not None:
                trips[feed.trip.name] = TripPhysics(feed.trip.trip_a.value, feed.trip.latency_us.value)
            if feed.sensor is not None:
                kind = board.profile.sensor_types[feed.sensor.type].measures
                sees = {"instantaneous": "instant-ac", "average": "mean-of-ac", "rectified-average": "mean"}[kind]
                sensors[feed.sensor.name] = SensorPhysics(sees if dcc else "mean")
    return Physical(
        drives={name: drive_physics(file.drive.get(name) or Drive(), throw) for name in network.drives},
        outputs={**planned, **(outputs or {})},
        track=track_of(layout),
        in_phase=tuple(network.in_phase),
        commons=tuple(network.commons),
        supplies={
            name: SupplyPhysics(
                volts=d.volts or 12.0,
                ohm=d.internal_ohm + ROUND_A_SHORT_OHM,
                limit_a=d.limit_a,
                trip_a=d.trip_a,
                trip_ms=d.trip_ms,
                retry_ms=RETRY_MS if d.protection is Protection.RETRY else 0.0,
            )
            for name, d in file.district.items()
        },
        sensors=sensors,
        trips=trips,
    )


def track_of(layout: Layout) -> TrackPhysics:
    """Lengths along the track, where the layout states them."""
    file = layout.file
    lengths = {n: p.length_mm for n, p in file.pieces().items() if p.length_mm is not None}
    lengths |= {n: p.length_mm for n, p in file.place.items() if p.length_mm is not None}
    plastic = [p.plastic_mm for p in file.pieces().values() if p.plastic_mm is not None]
    return TrackPhysics(road_mm=lengths, plastic_mm=max(plastic, default=TrackPhysics().plastic_mm))


def scenario_of(
    layout: Layout,
    network: RailNetwork,
    documents: Sequence[bytes],
    physical: Physical | None = None,
    seed: int = 1,
    **how: Any,
) -> Scenario:
    """The scenario of a layout's boards on its own railway. `how` goes on to `build_scenario`."""
    return build_scenario(
        netlist(network), [opened(d) for d in documents], physical or physical_of(layout, network), seed=seed, **how
    )


def strip_defaults(document: Mapping[str, Any]) -> dict[str, Any]:
    """A document as it was written, without the None of what it leaves out: what may be sealed again."""
    found: dict[str, Any] = _strip(document)
    return found


def _strip(value: Any) -> Any:
    if isinstance(value, Mapping):
        return {k: _strip(v) for k, v in value.items() if v is not None}
    if isinstance(value, Sequence) and not isinstance(value, (str, bytes)):
        return [_strip(v) for v in value]
    return value


def seal_document(document: Mapping[str, Any]) -> bytes:
    """The bytes of a (changed) document, with a fresh CRC."""
    body = {k: v for k, v in strip_defaults(document).items() if k != "crc32"}
    return bytes(settings.seal(json.dumps(body, separators=(",", ":"))))
