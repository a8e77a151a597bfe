"""Whether a district's supply trips on a short anywhere, and whether its trains get their volts."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from frogfeed.electrics import practice
from frogfeed.electrics.circuit import OutputPaths, supply_volts
from frogfeed.electrics.sizing import propose
from frogfeed.electrics.survey import Spot, Survey
from frogfeed.findings.finding import Finding, Location, Severity
from frogfeed.findings.words import said
from frogfeed.layout.model import Layout
from frogfeed.layout.schema import District, Piece, Place, Protection
from frogfeed.track.network.model import RailNetwork


def supply_findings(layout: Layout, network: RailNetwork, seen: Survey, outputs: OutputPaths) -> Iterator[Finding]:
    """Trip, volts and budget of every district, each with its worst spot and the wire that would cure it."""
    for name, d in layout.file.district.items():
        at = layout.at("district", name)
        yield from _supply_itself(layout, name, d, at)
        spots = seen.of_district(name)
        if not spots:
            continue
        for some in _parted(layout, spots, "elec-trip-weak"):
            yield from _trip(layout, network, outputs, name, d, min(some, key=lambda s: s.least_a), at)
        for some in _parted(layout, spots, "elec-volts"):
            yield from _fall(layout, network, outputs, name, d, min(some, key=lambda s: s.load_v), at)


def _parted(layout: Layout, spots: Sequence[Spot], code: str) -> Iterator[Sequence[Spot]]:
    """The spots of pieces that do not accept this finding, then those of pieces that do: neither hides the other."""
    members: dict[str, Piece | Place] = {**layout.file.pieces(), **layout.file.place}
    agreed = {name for name, m in members.items() if any(a.code == code for a in m.accept)}
    for wanted in (False, True):
        some = [s for s in spots if (s.left.partition(".")[0] in agreed) is wanted]
        if some:
            yield some


def _supply_itself(layout: Layout, name: str, d: District, at: Location | None) -> Iterator[Finding]:
    volts = supply_volts(layout, d)
    most = volts / max(d.internal_ohm, practice.LEAST_OHM)
    folds = d.protection is Protection.FOLDBACK
    if d.limit_a is not None and d.limit_a < d.trip_a and not folds:
        yield said(
            "elec-trip-never",
            Severity.ERROR,
            name,
            f"the supply of {name} gives at most {d.limit_a:g} A, and trips at {d.trip_a:g} A",
            "it would feed a short for as long as it lasts, and warm whatever is in the way",
            f"set trip_a below {d.limit_a:g} A, or state what the supply really gives",
            layout.at("district", name, "trip_a") or at,
        )
    elif most < d.trip_a and not folds:
        yield said(
            "elec-trip-never",
            Severity.ERROR,
            name,
            f"a short at the terminals of {name} draws {most:.1f} A ({volts:g} V through "
            f"{d.internal_ohm:g} Ω), and "
            f"its supply trips at {d.trip_a:g} A",
            "a trip above what a short can draw is no trip",
            f"use a supply that trips at {most / practice.TRIP_MARGIN:.1f} A or less",
            layout.at("district", name, "trip_a") or at,
        )
    if d.load_a >= d.trip_a:
        yield said(
            "elec-load",
            Severity.WARNING,
            name,
            f"the load of {name}, {d.load_a:g} A, is no less than its trip current of {d.trip_a:g} A",
            "the heaviest train alone would trip the supply",
            "use a stronger supply, or split the district",
            layout.at("district", name, "load_a") or at,
        )


def _trip(
    layout: Layout,
    network: RailNetwork,
    outputs: OutputPaths,
    name: str,
    d: District,
    weakest: Spot,
    at: Location | None,
) -> Iterator[Finding]:
    folds = d.protection is Protection.FOLDBACK
    needed = (d.limit_a or d.trip_a) if folds else d.trip_a * practice.TRIP_MARGIN
    if weakest.least_a >= needed:
        return
    terminals = supply_volts(layout, d) / max(d.internal_ohm, practice.LEAST_OHM)
    if terminals < needed and not folds:
        if terminals >= d.trip_a:
            yield said(
                "elec-trip-weak",
                Severity.WARNING,
                name,
                f"even at its terminals the supply of {name} gives a short only {terminals:.1f} A, less "
                "than a "
                f"quarter above its trip of {d.trip_a:g} A",
                "on a warm day, or further out, it may not trip",
                f"use a supply that trips at {terminals / practice.TRIP_MARGIN:.1f} A or less",
                at,
            )
        return
    proposal = propose(layout, network, outputs, name, (weakest,), needed_a=needed)
    yield said(
        "elec-trip-weak",
        Severity.WARNING,
        weakest.left,
        f"a short between {weakest.left} and {weakest.right} draws {weakest.least_a:.1f} A; the supply of "
        f"{name} needs "
        f"{needed:.1f} A to " + ("fold back" if folds else f"trip for certain (its {d.trip_a:g} A and a quarter)"),
        "a short that does not trip heats wires, contacts and wheels until somebody smells it",
        proposal,
        at,
        witness=dict(weakest.when),
        path=(weakest.left, weakest.right),
    )


def _fall(
    layout: Layout,
    network: RailNetwork,
    outputs: OutputPaths,
    name: str,
    d: District,
    lowest: Spot,
    at: Location | None,
) -> Iterator[Finding]:
    volts = supply_volts(layout, d)
    fall = lowest.wire_ohm * d.load_a
    allowed = practice.FALL_SHARE * volts
    if fall <= allowed:
        return
    yield said(
        "elec-volts",
        Severity.WARNING,
        lowest.left,
        f"with {d.load_a:g} A at {lowest.left} and {lowest.right} the wires and rails of {name} lose "
        f"{fall:.1f} V of "
        f"{volts:g} V",
        "trains slow down there, and lamps dim as they pass",
        propose(layout, network, outputs, name, (lowest,), most_ohm=allowed / d.load_a),
        at,
        witness=dict(lowest.when),
        path=(lowest.left, lowest.right),
    )
