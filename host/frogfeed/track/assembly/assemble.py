"""From a layout to its rail network: pieces expanded, lines joined, switched feeds derived."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from collections.abc import Set as AbstractSet
from dataclasses import replace

from frogfeed.layout.drives import SELECTOR, DriveUseResolved, drive_settings, drive_uses
from frogfeed.layout.ends import kind_name
from frogfeed.layout.model import Layout
from frogfeed.layout.schema import Blades, Hand, Piece, Place, PlaceKind, Side
from frogfeed.track.assembly.joints import walk_lines
from frogfeed.track.feeds.section_bonds import section_bonds
from frogfeed.track.feeds.sides import EndFeed, all_sides, label_ends
from frogfeed.track.feeds.switched import Following, follow, frog_feed, place_feed
from frogfeed.track.feeds.tables import TooManyDrivesError, exclusive
from frogfeed.track.feeds.touched import touched
from frogfeed.track.feeds.zones import zones
from frogfeed.track.network.approaches import Approaches, end_when
from frogfeed.track.network.conditions import ALWAYS, NEVER, When, absorb, both
from frogfeed.track.network.model import (
    Bond,
    BondKind,
    Bridge,
    BridgeKind,
    Contact,
    End,
    EndSide,
    Feed,
    Joint,
    PieceEnds,
    RailNetwork,
    Road,
    Section,
    SectionEnd,
    SwitchedFeed,
    Wire,
)
from frogfeed.track.pieces.catalogue import Kind, kinds_of
from frogfeed.track.pieces.clearance import vees
from frogfeed.track.pieces.expand import PieceParts, expand

PLACE_RAILS = ("R1", "R2")


def assemble(layout: Layout, kinds: Mapping[str, Kind] | None = None, *, feeds_to_come: bool = False) -> RailNetwork:
    """The rail network of a layout that was read whole. Pieces with `built = false` are left out.

    `feeds_to_come`: tables are derived as if track without a dropper had one of the first district, left on A.
    """
    file = layout.file
    if kinds is None:
        kinds = kinds_of(layout)
    settings = dict(drive_settings(file, layout.kinds))
    slots: dict[str, dict[str, tuple[str, Mapping[str, str]]]] = {}
    uses = drive_uses(file, layout.kinds)
    for (piece_name, slot), use in uses.items():
        slots.setdefault(piece_name, {})[slot] = (use.drive, use.settings)
    parts: dict[str, PieceParts] = {}
    pieces: dict[str, PieceEnds] = {}
    absent: set[str] = set()
    tables: dict[str, Mapping[str, Piece]] = {
        "turnout": file.turnout,
        "three-way": file.three_way,
        "slip": file.slip,
        "diamond": file.diamond,
        "piece": file.piece,
    }
    for table, members in tables.items():
        for name, piece in members.items():
            if not piece.built:
                absent.add(name)
                continue
            kind = kinds[kind_name(piece)]
            at = layout.at(table, name)
            parts[name] = expand(name, piece, kind, slots.get(name, {}), at)
            pieces[name] = PieceEnds(
                kind.name, {e: (f"{name}.{lr[0]}", f"{name}.{lr[1]}") for e, lr in kind.ends.items()}, at
            )
    absent |= {name for name, place in file.place.items() if not place.built}
    pieces |= _places(layout, absent)
    end_rails = {(p, e): rails for p, shown in pieces.items() for e, rails in shown.ends.items()}
    free: dict[str, list[str]] = {}
    joined = walk_lines(layout, end_rails, frozenset(absent), free)
    roads = [r for p in parts.values() for r in p.roads]
    roads += [
        _place_road(name, place, free.get(name, ["a", "b"])) for name, place in file.place.items() if name not in absent
    ]
    takes_in = {
        n: tuple(x for x in p.takes_in if x not in absent)
        for n, p in sorted(file.place.items())
        if p.feed == "switched" and n not in absent
    }
    sections = _sections(parts, takes_in, layout)
    network = _wire_up(
        layout,
        settings,
        parts,
        pieces,
        joined.joints,
        joined.feeds,
        joined.end_feeds,
        roads,
        sections,
        takes_in,
        {name: use for (name, slot), use in uses.items() if slot == SELECTOR},
        feeds_to_come,
    )
    short = tuple(v.bridge for v in vees(layout, network, kinds) if v.open)
    return replace(network, bridges=(*network.bridges, *short))


def _places(layout: Layout, absent: set[str]) -> dict[str, PieceEnds]:
    r1, r2 = PLACE_RAILS
    return {
        name: PieceEnds(
            str(place.kind),
            {"a": (f"{name}.{r1}", f"{name}.{r2}"), "b": (f"{name}.{r2}", f"{name}.{r1}")},
            layout.at("place", name),
        )
        for name, place in layout.file.place.items()
        if name not in absent
    }


def _place_road(name: str, place: Place, unused: list[str]) -> Road:
    r1, r2 = PLACE_RAILS
    end = "" if place.kind is not PlaceKind.SECTION and "b" in unused else "b"
    return Road(name, "a", end or "b", ALWAYS, (f"{name}.{r1}",), (f"{name}.{r2}",))


def _sections(parts: Mapping[str, PieceParts], switched_places: Iterable[str], layout: Layout) -> list[Section]:
    found: list[Section] = []
    pieces = layout.file.pieces()
    for name, p in parts.items():
        bonded = pieces[name].facts[1] is Blades.BONDED
        for frog, rails in p.sections:
            found.append(Section(f"{name}.{frog.name}", name, rails, bonded, layout.piece_at(name)))
    for name in switched_places:
        for rail in PLACE_RAILS:
            found.append(Section(f"{name}.{rail}", name, (f"{name}.{rail}",), True, layout.at("place", name)))
    return found


def _wire_up(
    layout: Layout,
    settings: Mapping[str, tuple[str, ...]],
    parts: Mapping[str, PieceParts],
    pieces: Mapping[str, PieceEnds],
    joints: tuple[Joint, ...],
    feeds: tuple[Feed, ...],
    end_feeds: Iterable[EndFeed],
    roads: list[Road],
    sections: list[Section],
    takes_in: Mapping[str, tuple[str, ...]],
    selectors: Mapping[str, DriveUseResolved],
    feeds_to_come: bool,
) -> RailNetwork:
    approaches = Approaches(joints, roads)
    forbidden = tuple(t for p in parts.values() for t in p.forbidden)
    fouling = frozenset(pair for p in parts.values() for pair in p.fouling)
    passable, undecided, roads = _refine(
        roads, fouling, approaches, settings, selectors, {s.piece for s in sections if s.piece in parts}
    )
    switched_zones = zones(takes_in, joints, roads)
    section_of = {end: SectionEnd(z.place, hand) for z in switched_zones.values() for end, hand in z.hands.items()}
    sides = label_ends(end_feeds, joints, roads, section_of.keys())
    if feeds_to_come:
        first = next(iter(layout.file.district))
        sides = all_sides(sides, joints, roads, section_of.keys(), lambda _: first)
    following = {
        name: follow(z, selectors.get(name), approaches, sides, settings) for name, z in switched_zones.items()
    }
    by_piece: dict[str, list[Road]] = {}
    for r in roads:
        by_piece.setdefault(r.piece, []).append(r)
    bonds = [b for p in parts.values() for b in p.bonds]
    bonds += [
        Bond(a, b, BondKind.UNTRUSTED if hand in j.untrusted else BondKind.JOINER, j.at)
        for j in joints
        for hand, (a, b) in ((Hand.LEFT, j.left), (Hand.RIGHT, j.right))
        if hand not in j.gaps
    ]
    contacts: tuple[Contact, ...] = tuple(c for p in parts.values() for c in p.contacts)
    for name, z in switched_zones.items():
        bonds += section_bonds(z, _own_rails(name), joints, roads, bonds, contacts)
    # A blade that touches lies between what is switched and something else, whosever blade it is.
    by_blade = touched([s.rails[0] for s in sections], bonds, contacts)
    sections = [replace(s, bonded=s.bonded and s.rails[0] not in by_blade) for s in sections]
    switched, fixed = _feeds(sections, by_piece, following, sides, settings, undecided)
    rails = [r for p in parts.values() for r in p.rails]
    rails += [f"{n}.{r}" for n in layout.file.place if n in pieces for r in PLACE_RAILS]
    bridges: list[Bridge] = []
    used = dict(end_when(passable))
    for f in following.values():
        for end, when in f.open.items():
            used[end] = both(used[end], when)
    for j in joints:
        for hand, (a, b) in ((Hand.LEFT, j.left), (Hand.RIGHT, j.right)):
            if hand in j.gaps:
                bridges.append(Bridge(a, b, both(used[j.a], used[j.b]), BridgeKind.JOINT, j.at))
    refined = {r.name: r for r in passable}
    always = {frozenset((b.a, b.b)) for b in bonds}
    for p in parts.values():
        for g in p.gaps:
            if frozenset((g.a, g.b)) not in always:
                road = refined[g.road.name]
                bridges.append(Bridge(g.a, g.b, road.when, BridgeKind.INTERNAL, pieces[road.piece].at))
    wires = {f"{d}.{side}": Wire(f"{d}.{side}", d, side) for d in layout.file.district for side in (Side.A, Side.B)}
    in_phase = frozenset(frozenset((name, other)) for name, d in layout.file.district.items() for other in d.in_phase)
    return RailNetwork(
        drives=dict(settings),
        rails=tuple(rails),
        wires=wires,
        bonds=tuple(bonds),
        contacts=contacts,
        feeds=(*feeds, *fixed),
        switched=tuple(switched),
        bridges=tuple(bridges),
        roads=tuple(roads),
        joints=joints,
        pieces=pieces,
        forbidden=forbidden,
        plastic=tuple((name, r) for name, p in parts.items() for r in p.plastic),
        in_phase=in_phase,
        piece_of={r: r.split(".", 1)[0] for r in rails},
        sides=sides,
        sections=tuple(sections),
        section_of=section_of,
        apart={name: z.apart for name, z in switched_zones.items() if z.apart},
        cut_links=tuple(pair for p in parts.values() for pair in p.cut_links),
        commons=frozenset(frozenset((name, o)) for name, d in layout.file.district.items() for o in d.common_with),
    )


def _feeds(
    sections: Iterable[Section],
    roads: Mapping[str, list[Road]],
    following: Mapping[str, Following],
    sides: Mapping[End, EndSide],
    settings: Mapping[str, tuple[str, ...]],
    undecided: Mapping[str, When],
) -> tuple[list[SwitchedFeed], list[Feed]]:
    """The feeds of all sections: those of switched places first, for the frogs inside them follow these."""
    switched: list[SwitchedFeed] = []
    fixed: list[Feed] = []
    own: dict[str, dict[Hand, SwitchedFeed]] = {}
    for s in sections:
        if s.piece in following:
            hand = next(h for h, rail in _own_rails(s.piece).items() if rail == s.rails[0])
            own.setdefault(s.piece, {})[hand] = place_feed(s, hand is Hand.LEFT, following[s.piece], settings)
    inside = {end: (hand, own[name]) for name, f in following.items() for end, hand in f.zone.hands.items()}
    for s in sections:
        if s.piece in following:
            continue
        found = frog_feed(s, roads[s.piece], sides, inside, settings, undecided.get(s.piece, NEVER))
        if isinstance(found, Feed):
            fixed.append(found)
        elif found is not None:
            switched.append(found)
    return [*switched, *(feed for feeds in own.values() for feed in feeds.values())], fixed


def _own_rails(place: str) -> dict[Hand, str]:
    """A place's rails by the hand on which they lie, looking in at its end a."""
    return dict(zip((Hand.LEFT, Hand.RIGHT), (f"{place}.{r}" for r in PLACE_RAILS), strict=True))


def _refine(
    roads: list[Road],
    fouling: frozenset[frozenset[str]],
    approaches: Approaches,
    settings: Mapping[str, tuple[str, ...]],
    selectors: Mapping[str, DriveUseResolved],
    fed: AbstractSet[str],
) -> tuple[list[Road], dict[str, When], list[Road]]:
    """Part roads that foul each other and that their own drives leave set at once.

    Of such roads the routes that lead to them say which count, and of two that still do the piece's selector. Returns
    the roads where they count, and so where a train may pass; where two of a piece still foul; and the roads where they
    are set: a piece with switched frogs (`fed`) has none of two that foul set, for its frogs are off there.
    """
    by_piece: dict[str, list[Road]] = {}
    for r in roads:
        by_piece.setdefault(r.piece, []).append(r)
    passable: list[Road] = []
    refined: list[Road] = []
    undecided: dict[str, When] = {}
    for piece, own in by_piece.items():
        if len(own) == 1 or not _overlap(own, fouling):
            passable += own
            refined += own
            continue
        led = [
            both(r.when, both(approaches.outward((piece, r.start)), approaches.outward((piece, r.end)))) for r in own
        ]
        preferences = [led]
        if piece in selectors:
            preferences.append([_favour(r, selectors[piece]) for r in own])

        def foul(i: int, j: int, own: list[Road] = own) -> bool:
            return _foul(own[i], own[j], fouling)

        try:
            alone, counted, clash = exclusive([r.when for r in own], settings, foul, preferences)
        except TooManyDrivesError:
            # Not worked out: whatever two fouling roads have in common counts as undecided.
            alone = counted = led
            clash = absorb(
                t
                for i, a in enumerate(led)
                for j, b in enumerate(led[:i])
                if _foul(own[i], own[j], fouling)
                for t in both(a, b)
            )
        passable += [replace(r, when=w) for r, w in zip(own, counted, strict=True)]
        refined += [replace(r, when=w) for r, w in zip(own, alone if piece in fed else counted, strict=True)]
        if clash:
            undecided[piece] = clash
    return passable, undecided, refined


def _favour(road: Road, selector: DriveUseResolved) -> When:
    """When a selector speaks for a road: set left for one from a.left, set right for one from a.right."""
    ends = {road.start, road.end}
    hands = [hand.value for hand in (Hand.LEFT, Hand.RIGHT) if f"a.{hand.value}" in ends]
    return tuple(((selector.drive, selector.settings[hand]),) for hand in hands)


def _foul(a: Road, b: Road, fouling: frozenset[frozenset[str]]) -> bool:
    return frozenset((a.name, b.name)) in fouling


def _overlap(roads: list[Road], fouling: frozenset[frozenset[str]]) -> bool:
    """Whether two roads of one piece that foul each other can be set at the same time."""
    return any(both(a.when, b.when) and _foul(a, b, fouling) for i, a in enumerate(roads) for b in roads[i + 1 :])
