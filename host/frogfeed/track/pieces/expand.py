"""One piece of track, as its owner left it: rails, bonds, contacts and roads from its kind and three facts."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from itertools import pairwise

from frogfeed.findings.finding import Location
from frogfeed.layout.schema import Blades, FrogFeed, Links, Piece
from frogfeed.track.network.conditions import Term, When, term
from frogfeed.track.network.model import Bond, BondKind, Contact, Road
from frogfeed.track.pieces.catalogue import Frog, Kind

SlotMap = Mapping[str, tuple[str, Mapping[str, str]]]
"""Drive slot of a kind -> (drive, piece setting -> drive setting)."""


@dataclass(frozen=True, slots=True)
class InternalGap:
    """Two rails that follow each other under one wheel of a road and do not conduct by themselves."""

    road: Road
    a: str
    b: str


@dataclass(frozen=True, slots=True)
class PieceParts:
    """What one piece brings into the network; `sections` are frogs to be fed, with the rails they have.

    `fouling` holds the pairs of roads (by name) that no two trains can take at once, for they share a rail or cross.
    """

    rails: tuple[str, ...]
    bonds: tuple[Bond, ...]
    contacts: tuple[Contact, ...]
    roads: tuple[Road, ...]
    gaps: tuple[InternalGap, ...]
    sections: tuple[tuple[Frog, tuple[str, ...]], ...]
    forbidden: When
    plastic: tuple[str, ...]
    cut_links: tuple[tuple[str, str], ...]
    fouling: frozenset[frozenset[str]]


def drive_term(slots: SlotMap, t: Term) -> Term | None:
    """A term over a kind's slots as a term over drives; None where a shared drive makes it impossible."""
    found: dict[str, str] = {}
    for slot, setting in t:
        drive, settings = slots[slot]
        there = settings[setting]
        if found.setdefault(drive, there) != there:
            return None
    return term(found)


def _when(slots: SlotMap, t: Term) -> When:
    there = drive_term(slots, t)
    return () if there is None else (there,)


def expand(name: str, piece: Piece, kind: Kind, slots: SlotMap, at: Location | None) -> PieceParts:
    """The rails and joins of one piece; names are `PIECE.RAIL`."""
    links, blades, frog = piece.facts
    make = kind.makes[piece.make]
    full: Callable[[str], str] = {r: f"{name}.{r}" for r in (*kind.rails(piece.make), *make.plastic)}.__getitem__
    bonds: list[Bond] = []

    def chain(rails: tuple[str, ...], why: BondKind) -> None:
        bonds.extend(Bond(full(a), full(b), why, at) for a, b in pairwise(rails))

    for group in make.castings:
        chain(group, BondKind.CASTING)
    if links is Links.IN:
        for pair in make.links:
            chain(pair, BondKind.LINK)
    contacts: list[Contact] = []
    for tip in kind.tips:
        if blades is Blades.BONDED:
            chain((tip.stock, tip.blade), BondKind.BLADE)
        else:
            contacts.append(Contact(full(tip.stock), full(tip.blade), _when(slots, tip.when), at))
    sections: list[tuple[Frog, tuple[str, ...]]] = []
    if frog is FrogFeed.SWITCHED:
        cast = {frozenset(pair) for group in make.castings for pair in pairwise(group)}
        for f in kind.frogs:
            present = tuple(r for r in f.rails if r not in make.plastic)
            if present:
                sections.append((f, tuple(full(r) for r in present)))
                for a, b in pairwise(present):
                    if frozenset((a, b)) not in cast:
                        chain((a, b), BondKind.FROG)
    roads, gaps = _roads(name, kind, make.plastic, slots)
    forbidden = tuple(t for f in kind.forbidden for t in _when(slots, f))
    return PieceParts(
        tuple(full(r) for r in kind.rails(piece.make)),
        tuple(bonds),
        tuple(contacts),
        roads,
        gaps,
        tuple(sections),
        forbidden,
        tuple(full(r) for r in sorted(make.plastic)),
        () if links is Links.IN else tuple((full(a), full(b)) for a, b in make.links),
        _fouling(roads, kind),
    )


def _fouling(roads: tuple[Road, ...], kind: Kind) -> frozenset[frozenset[str]]:
    """Pairs of roads with a rail in common, plastic crossings included."""
    under = [{*r.left, *r.right} for r in kind.roads]
    return frozenset(
        frozenset((roads[i].name, roads[j].name)) for j in range(len(roads)) for i in range(j) if under[i] & under[j]
    )


def _roads(
    name: str, kind: Kind, plastic: frozenset[str], slots: SlotMap
) -> tuple[tuple[Road, ...], tuple[InternalGap, ...]]:
    tips = {frozenset((t.blade, t.stock)) for t in kind.tips}
    roads: list[Road] = []
    gaps: list[InternalGap] = []
    for r in kind.roads:
        hands = tuple(tuple(f"{name}.{x}" for x in hand if x not in plastic) for hand in (r.left, r.right))
        road = Road(name, r.start, r.end, _when(slots, r.when), hands[0], hands[1])
        roads.append(road)
        gaps.extend(
            InternalGap(road, f"{name}.{a}", f"{name}.{b}")
            for hand in (r.left, r.right)
            for a, b in pairwise(hand)
            if a not in plastic and b not in plastic and frozenset((a, b)) not in tips
        )
    return tuple(roads), tuple(gaps)
