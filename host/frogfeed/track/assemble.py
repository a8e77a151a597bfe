"""From a layout to its rail network: pieces expanded, lines joined, switched feeds derived."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import replace

from frogfeed.layout.drives import drive_settings, drive_uses
from frogfeed.layout.ends import kind_name
from frogfeed.layout.model import Layout
from frogfeed.layout.schema import Blades, Hand, Piece, Place, PlaceKind, Side
from frogfeed.track.catalogue import Kind, kinds_of
from frogfeed.track.clearance import vees
from frogfeed.track.conditions import ALWAYS, NEVER, When, absorb, both
from frogfeed.track.feeds import frog_feed, place_feed
from frogfeed.track.joints import EndFeed, walk_lines
from frogfeed.track.network import (
    Bond,
    BondKind,
    Bridge,
    BridgeKind,
    Contact,
    Feed,
    Joint,
    PieceEnds,
    RailNetwork,
    Road,
    Section,
    SwitchedFeed,
    Wire,
)
from frogfeed.track.pieces import PieceParts, expand
from frogfeed.track.routes import Approaches, end_when
from frogfeed.track.sides import label_ends
from frogfeed.track.tables import TooManyDrivesError, exclusive

PLACE_RAILS = ("R1", "R2")


def assemble(layout: Layout, kinds: Mapping[str, Kind] | None = None) -> RailNetwork:
    """The rail network of a layout that was read whole. Pieces with `built = false` are left out."""
    file = layout.file
    if kinds is None:
        kinds = kinds_of(layout)
    settings = dict(drive_settings(file, layout.kinds))
    slots: dict[str, dict[str, tuple[str, Mapping[str, str]]]] = {}
    for (piece_name, slot), use in drive_uses(file, layout.kinds).items():
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
    switched_places = frozenset(n for n, p in file.place.items() if p.feed == "switched" and n not in absent)
    sections = _sections(parts, file.place, switched_places, layout)
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
        switched_places,
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


def _sections(
    parts: Mapping[str, PieceParts], places: Mapping[str, Place], switched: frozenset[str], layout: Layout
) -> list[Section]:
    found: list[Section] = []
    pieces = layout.file.pieces()
    for name, p in parts.items():
        bonded = pieces[name].facts[1] is Blades.BONDED
        for frog, rails in p.sections:
            found.append(Section(f"{name}.{frog.name}", name, rails, bonded, layout.piece_at(name)))
    for name in sorted(switched):
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
    switched_places: frozenset[str],
) -> RailNetwork:
    approaches = Approaches(joints, roads)
    forbidden = tuple(t for p in parts.values() for t in p.forbidden)
    fouling = frozenset(pair for p in parts.values() for pair in p.fouling)
    roads, undecided = _refine(roads, fouling, approaches, settings)
    sides = label_ends(end_feeds, joints, roads, switched_places)
    by_piece: dict[str, list[Road]] = {}
    for r in roads:
        by_piece.setdefault(r.piece, []).append(r)
    switched: list[SwitchedFeed] = []
    fixed: list[Feed] = []
    for s in sections:
        if s.piece in switched_places:
            switched.append(place_feed(s, by_piece[s.piece][0], approaches, sides, settings))
            continue
        found = frog_feed(s, by_piece[s.piece], sides, settings, undecided.get(s.piece, NEVER))
        if isinstance(found, Feed):
            fixed.append(found)
        elif found is not None:
            switched.append(found)
    rails = [r for p in parts.values() for r in p.rails]
    rails += [f"{n}.{r}" for n in layout.file.place if n in pieces for r in PLACE_RAILS]
    bonds = [b for p in parts.values() for b in p.bonds]
    bridges: list[Bridge] = []
    used = end_when(roads)
    for j in joints:
        pairs = ((Hand.LEFT, j.left), (Hand.RIGHT, j.right))
        for hand, (a, b) in pairs:
            if hand in j.gaps:
                bridges.append(Bridge(a, b, both(used[j.a], used[j.b]), BridgeKind.JOINT, j.at))
            else:
                kind = BondKind.UNTRUSTED if hand in j.untrusted else BondKind.JOINER
                bonds.append(Bond(a, b, kind, j.at))
    refined = {r.name: r for r in roads}
    always = {frozenset((b.a, b.b)) for b in bonds}
    for p in parts.values():
        for g in p.gaps:
            if frozenset((g.a, g.b)) not in always:
                road = refined[g.road.name]
                bridges.append(Bridge(g.a, g.b, road.when, BridgeKind.INTERNAL, pieces[road.piece].at))
    wires = {f"{d}.{side}": Wire(f"{d}.{side}", d, side) for d in layout.file.district for side in (Side.A, Side.B)}
    contacts: tuple[Contact, ...] = tuple(c for p in parts.values() for c in p.contacts)
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
        cut_links=tuple(pair for p in parts.values() for pair in p.cut_links),
        commons=frozenset(frozenset((name, o)) for name, d in layout.file.district.items() for o in d.common_with),
    )


def _refine(
    roads: list[Road],
    fouling: frozenset[frozenset[str]],
    approaches: Approaches,
    settings: Mapping[str, tuple[str, ...]],
) -> tuple[list[Road], dict[str, When]]:
    """Give roads that no drive of their own parts the conditions of the routes that lead to them."""
    by_piece: dict[str, list[Road]] = {}
    for r in roads:
        by_piece.setdefault(r.piece, []).append(r)
    refined: list[Road] = []
    undecided: dict[str, When] = {}
    for piece, own in by_piece.items():
        if len(own) == 1 or not _overlap(own, fouling):
            refined += own
            continue
        led = [
            both(r.when, both(approaches.outward((piece, r.start)), approaches.outward((piece, r.end)))) for r in own
        ]
        try:
            alone, clash = exclusive(led, settings, lambda i, j, own=own: _foul(own[i], own[j], fouling))  # type: ignore[misc]
        except TooManyDrivesError:
            # Not worked out: whatever two fouling roads have in common counts as undecided.
            alone = led
            clash = absorb(
                t
                for i, a in enumerate(led)
                for j, b in enumerate(led[:i])
                if _foul(own[i], own[j], fouling)
                for t in both(a, b)
            )
        refined += [replace(r, when=w) for r, w in zip(own, alone, strict=True)]
        if clash:
            undecided[piece] = clash
    return refined, undecided


def _foul(a: Road, b: Road, fouling: frozenset[frozenset[str]]) -> bool:
    return frozenset((a.name, b.name)) in fouling


def _overlap(roads: list[Road], fouling: frozenset[frozenset[str]]) -> bool:
    """Whether two roads of one piece that foul each other can be set at the same time."""
    return any(both(a.when, b.when) and _foul(a, b, fouling) for i, a in enumerate(roads) for b in roads[i + 1 :])
