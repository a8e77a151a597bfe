"""What the bench must know of the things outside the board, beyond what the settings document says of them."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from frogfeed.layout.schema import Drive as DriveTable
from frogfeed.layout.schema import DriveKind
from frogfeed.throw.linkage import Linkage

SERVO_SPEED_US_PER_S = 6000
"""0.10 s for 60 degrees at 10 us a degree: a generic 9 g servo at 4.8 V (typical datasheet)."""
DEAD_BAND_US = 4
"""Datasheets say 5 to 10 us; half of it to either side."""
STOPS_US = (500, 2500)
"""Where the servo's own end stops are (seen on many parts)."""
DEFAULT_THROW_MM = 2.0
"""Where neither drive nor gauge says anything: about what a 00 or H0 blade moves (from memory)."""


@dataclass(frozen=True, slots=True)
class DrivePhysics:
    """One drive as it really is. Lengths in mm, times in ms, pulses in us.

    `start` is the setting at which the blades stand when the bench begins. A hand-thrown drive uses only
    `throw_mm`, `clearance_mm`, `switch_mm` (how far a blade may stray before its position contact opens) and `start`.
    """

    us_per_degree: float = 10.0
    horn_mm: float = 10.0
    ratio: float = 1.0
    throw_mm: float = DEFAULT_THROW_MM
    lost_motion_mm: float = 0.5
    clearance_mm: float = 0.3
    lag_ms: float = 120.0
    speed_us_per_s: int = SERVO_SPEED_US_PER_S
    start: int = 0
    switch_mm: float = 0.15

    def linkage(self, pulse_us: tuple[int, int]) -> Linkage:
        """The geometry with these pulse ends."""
        return Linkage(
            pulse_us,
            self.us_per_degree,
            self.horn_mm,
            self.ratio,
            self.throw_mm,
            self.lost_motion_mm,
            self.clearance_mm,
        )


@dataclass(frozen=True, slots=True)
class OutputPhysics:
    """One switched output as it really is. Times in ms; None: as its settings say.

    `transfer_ms`: how long neither contact of a changeover touches. `interlocked`: two changeover relays in a row,
    so that hardware never joins both wires.
    """

    operate_ms: float | None = None
    release_ms: float | None = None
    bounce_ms: float | None = None
    transfer_ms: float = 0.8
    interlocked: bool = False


@dataclass(frozen=True, slots=True)
class TrackPhysics:
    """Lengths along the track in mm.

    `road_mm` gives the length of a road by its name or its piece's name; others take the defaults. A wheel bridges
    a boundary of two rails from `bridge_mm` before it to as much behind it.
    """

    piece_mm: float = 180.0
    place_mm: float = 400.0
    plastic_mm: float = 8.0
    bridge_mm: float = 1.0
    vee_mm: float = 3.0
    road_mm: Mapping[str, float] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class SupplyPhysics:
    """A district's supply. `ohm` is all there is round a short: supply, bus, droppers, rail, contacts.

    `retry_ms`: after a trip it comes back by itself after so long; 0: it stays off until it is turned on again.
    """

    volts: float = 12.0
    ohm: float = 0.8
    limit_a: float | None = None
    trip_a: float = 2.0
    trip_ms: float = 100.0
    retry_ms: float = 0.0


@dataclass(frozen=True, slots=True)
class SensorPhysics:
    """A sensor as it really is. `sees`: "mean" (of a rectified or a plain DC current), "mean-of-ac" (nothing, on DCC),
    "instant-ac" (the square wave itself).
    """

    sees: str = "mean"


@dataclass(frozen=True, slots=True)
class TripPhysics:
    """A hardware trip: at which current it acts, and how long it takes."""

    trip_a: float = 3.5
    latency_us: float = 400.0


@dataclass(frozen=True, slots=True)
class Physical:
    """All of it: what is not named takes the defaults."""

    drives: Mapping[str, DrivePhysics] = field(default_factory=dict)
    outputs: Mapping[str, OutputPhysics] = field(default_factory=dict)
    track: TrackPhysics = field(default_factory=TrackPhysics)
    supplies: Mapping[str, SupplyPhysics] = field(default_factory=dict)
    sensors: Mapping[str, SensorPhysics] = field(default_factory=dict)
    trips: Mapping[str, TripPhysics] = field(default_factory=dict)
    in_phase: tuple[frozenset[str], ...] = ()
    commons: tuple[frozenset[str], ...] = ()


def drive_physics(table: DriveTable, throw_mm: float = DEFAULT_THROW_MM, start: int = 0) -> DrivePhysics:
    """A drive as its layout table describes it; `throw_mm` is what its gauge says where the table says nothing."""
    common = DrivePhysics(
        us_per_degree=table.us_per_degree,
        horn_mm=table.horn_mm,
        ratio=table.ratio,
        throw_mm=table.blade_throw_mm if table.blade_throw_mm is not None else throw_mm,
        lost_motion_mm=table.lost_motion_mm,
        clearance_mm=table.contact_clearance_mm,
        lag_ms=table.lag_ms,
        start=start,
    )
    return (
        common
        if table.kind is DriveKind.SERVO
        else DrivePhysics(throw_mm=common.throw_mm, clearance_mm=common.clearance_mm, start=start)
    )
