"""What a short does to wires before the supply has tripped, and what may flow for good."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from frogfeed.electrics.survey import Survey, supplied_a
from frogfeed.findings.finding import Finding, Severity
from frogfeed.findings.words import said
from frogfeed.layout.model import Layout
from frogfeed.layout.schema import District, Protection
from frogfeed.parts import wires
from frogfeed.track.network.model import RailNetwork


@dataclass(frozen=True, slots=True)
class LetThrough:
    """A short's current and the I²t it lets through until the district's supply has tripped."""

    amps: float
    a2s: float
    limited: bool


def let_through(layout: Layout, district: str, through_a: float) -> LetThrough:
    """Of a short that the network lets `through_a` through; `limited` where the file states the supply's
    limit.
    """
    d = layout.file.district[district]
    amps = supplied_a(layout, district, through_a)
    return LetThrough(amps, amps**2 * d.trip_ms / 1000.0, d.limit_a is not None)


def for_good_a(d: District) -> float:
    """The current that the supply may feed without ever tripping."""
    if d.protection is Protection.FOLDBACK:
        return d.limit_a or d.trip_a
    return d.trip_a


def wire_findings(layout: Layout, network: RailNetwork, seen: Survey) -> Iterator[Finding]:
    """Wires too thin for what may flow for good, or for a short until the trip; one finding a size and
    district.
    """
    told: set[tuple[str, str, str]] = set()
    for what, name, size, rail in _conductors(layout, network):
        d = layout.file.district[name]
        wire = wires.wire(size)
        good = for_good_a(d)
        at = layout.at("district", name, "bus_wire") if what == "bus" else layout.at("layout", "dropper_wire")
        at = at or layout.at("district", name)
        carries = wire.ampacity_a
        if good > carries.value and (what, name, size) not in told:
            told.add((what, name, size))
            better = next((w for w in wires.METRIC if w.ampacity_a.value >= good), None)
            yield said(
                "elec-wire-thin",
                Severity.WARNING,
                name,
                f"{what} of {_mm2(size)} in {name} may carry {good:g} A for good, and stands {carries.value:g} A",
                "the supply never trips at that current, so nothing else protects the wire",
                f"use {_mm2(better.name)} or more, or fuse it" if better else "fuse it, or split the district",
                at,
            )
        spot = seen.at_rail(rail)
        through = let_through(layout, name, spot.most_a if spot is not None else d.trip_a)
        key = (what + " i2t", name, size)
        if through.amps > carries.value and through.a2s > wire.i2t_a2s and key not in told:
            told.add(key)
            better = next((w for w in wires.METRIC if w.i2t_a2s >= through.a2s), None)
            yield said(
                "elec-wire-heat",
                Severity.WARNING if through.limited else Severity.NOTE,
                name,
                f"a short at {rail} lets {through.amps:.1f} A through {what} of {_mm2(size)} for "
                f"{d.trip_ms:g} ms: "
                f"{through.a2s:.0f} A²s, and its insulation stands {wire.i2t_a2s:.0f} A²s",
                "the wire's insulation is cooked before the supply trips",
                (f"use {_mm2(better.name)} or more" if better else "fuse it") + limit_hint(through),
                at,
            )


def _conductors(layout: Layout, network: RailNetwork) -> Iterator[tuple[str, str, str, str]]:
    """(what, district, size, the rail that tells) of every bus, dropper and frog wire."""
    default = layout.file.layout.dropper_wire
    nearest: dict[str, str] = {}
    for f in network.feeds:
        district = network.wires[f.wire].district
        nearest.setdefault(district, f.rail)
        yield "a dropper", district, f.size or default, f.rail
    for district, rail in nearest.items():
        yield "the bus", district, layout.file.district[district].bus_wire, rail
    for s in network.switched:
        if s.district in layout.file.district:
            yield "the frog wire", s.district, default, s.rail


def limit_hint(through: LetThrough) -> str:
    """What a cure adds where the supply's limit is not stated."""
    return "" if through.limited else "; if the supply limits its current, say so with limit_a"


def _mm2(size: str) -> str:
    return size if size.startswith("AWG") else f"{size} mm²"
