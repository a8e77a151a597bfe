"""Where wheels join what they should not: treads over a short plastic frog, wheel backs against an open live blade.

With frog number N the gauge faces of the vee rails part by 1/N per unit length beyond the theoretical point. A flat
tread of width w on rail heads of width h still reaches the other rail until they are w + h apart, that is
(w + h) * N beyond the point (plane geometry). A coned tread lifts off earlier, which is why some stock shorts and
some does not.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from frogfeed.layout.ends import kind_name
from frogfeed.layout.model import Layout
from frogfeed.layout.schema import Drive, Piece
from frogfeed.parts import gauges, rails
from frogfeed.track.network.conditions import ALWAYS, Term
from frogfeed.track.network.model import Bridge, BridgeKind, RailNetwork
from frogfeed.track.pieces.catalogue import Kind


def frog_number(piece: Piece) -> float | None:
    """N as stated, or from the angle by N = 1 / (2 tan(angle / 2)) (NMRA and AREMA rule)."""
    if piece.frog_number is not None:
        return piece.frog_number
    if piece.angle_deg is not None:
        return 1 / (2 * math.tan(math.radians(piece.angle_deg) / 2))
    return None


def tread_reach_mm(tread_mm: float, head_mm: float, number: float) -> float:
    """How far beyond the theoretical point a flat tread can still touch both vee rails."""
    return (tread_mm + head_mm) * number


@dataclass(frozen=True, slots=True)
class Vee:
    """The two rails beyond a plastic crossing, and how far a tread reaches across them. Lengths in mm or None."""

    piece: str
    bridge: Bridge
    plastic_mm: float | None
    reach_mm: float | None
    tread_mm: float
    head_mm: float

    @property
    def open(self) -> bool | None:
        """Whether a tread can join the rails; None where too little is stated."""
        if self.plastic_mm is None or self.reach_mm is None:
            return None
        return self.plastic_mm < self.reach_mm


@dataclass(frozen=True, slots=True)
class OpenBlade:
    """An unbonded blade beside its stock rail while it stands open, and how far it stands off (mm)."""

    piece: str
    bridge: Bridge
    opening_mm: float
    needed_mm: float


def vees(layout: Layout, network: RailNetwork, kinds: Mapping[str, Kind]) -> Iterator[Vee]:
    """Every plastic crossing whose rails, at a vee or at an obtuse point, are separate conductors."""
    gauge = gauges.gauge(layout.file.layout.gauge)
    head_mm = rails.rail(layout.file.layout.rail_code).head_mm.value
    bonded = {frozenset((b.a, b.b)) for b in network.bonds}
    roads: dict[str, list[Term]] = {}
    for r in network.roads:
        roads.setdefault(r.piece, []).extend(r.when)
    for name, piece in layout.file.pieces().items():
        shown = network.pieces.get(name)
        if shown is None:
            continue
        kind = kinds[kind_name(piece)]
        plastic = kind.makes[piece.make].plastic
        number = frog_number(piece)
        for f in kind.frogs:
            beside = f.vee or f.points
            if beside is None or f.rails[0] not in plastic:
                continue
            a, b = (f"{name}.{r}" for r in beside)
            if frozenset((a, b)) in bonded:
                continue
            reach = None if number is None else tread_reach_mm(gauge.tread.value, head_mm, number)
            # Roads that nothing decides between are set now and then all the same.
            bridge = Bridge(
                a, b, tuple(roads.get(name) or ALWAYS), BridgeKind.VEE if f.vee else BridgeKind.OBTUSE, shown.at
            )
            yield Vee(name, bridge, piece.plastic_mm, reach, gauge.tread.value, head_mm)


def open_blades(layout: Layout, network: RailNetwork) -> Iterator[OpenBlade]:
    """Every unbonded blade, beside its stock rail at the settings at which it stands open."""
    gauge = gauges.gauge(layout.file.layout.gauge)
    roads: dict[str, list[Term]] = {}
    for r in network.roads:
        roads.setdefault(r.piece, []).extend(r.when)
    for c in network.contacts:
        piece = network.piece_of[c.b]
        away = tuple(t for t in roads[piece] if not any(set(x) <= set(t) for x in c.when))
        drives = {d for t in c.when for d, _ in t}
        tables = [layout.file.drive.get(d) or Drive() for d in sorted(drives)]
        opening = min((t.blade_throw_mm or gauge.default_throw_mm.value for t in tables), default=0.0)
        bridge = Bridge(c.a, c.b, away, BridgeKind.BLADE, c.at)
        yield OpenBlade(piece, bridge, opening, gauge.blade_gap.value)
