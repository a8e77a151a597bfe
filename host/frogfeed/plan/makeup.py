"""What is to be done to each piece before it is laid: links out, bonds in, joiners, droppers, switched feeds.

Every step is read off the layout's facts, the catalogue's kind and the rail network; nothing is decided here.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field

from frogfeed.findings.finding import Location
from frogfeed.layout.drives import drive_uses
from frogfeed.layout.ends import kind_name
from frogfeed.layout.model import Layout
from frogfeed.layout.schema import Blades, FrogFeed, Hand, Links, Make, Piece
from frogfeed.plan.model import Plan
from frogfeed.track.network.conditions import When
from frogfeed.track.network.model import Bond, BondKind, Feed, Joint, RailNetwork, SwitchedFeed
from frogfeed.track.pieces.catalogue import Kind, kinds_of


@dataclass(frozen=True, slots=True)
class RemoveLink:
    """Cut or unsolder the factory link between two rails."""

    a: str
    b: str


@dataclass(frozen=True, slots=True)
class KeepLink:
    """A factory link that stays in."""

    a: str
    b: str


@dataclass(frozen=True, slots=True)
class BondRails:
    """Solder a wire between two rails: `why` is a blade to its stock rail, the rails of one frog, or a gap inside a
    switched section.
    """

    a: str
    b: str
    why: BondKind


@dataclass(frozen=True, slots=True)
class FitJoiner:
    """The joiner of one rail at one end: insulated, metal, or metal that is not trusted."""

    end: str
    hand: Hand
    rail: str
    beyond: str
    conducts: bool
    trusted: bool


@dataclass(frozen=True, slots=True)
class FitDropper:
    """Solder a dropper from a rail to a bus wire. `size` and `mm` as stated, else the layout's default
    and None.
    """

    rail: str
    wire: str
    size: str
    mm: float | None


@dataclass(frozen=True, slots=True)
class FitSwitched:
    """Solder a feed wire from a rail to a switched output. `table` says which bus wire at which settings."""

    rail: str
    output: str
    board: str | None
    channel: str | None
    table: tuple[tuple[When, str], ...]


Step = RemoveLink | KeepLink | BondRails | FitJoiner | FitDropper | FitSwitched


@dataclass(frozen=True, slots=True)
class MakeUp:
    """One piece or place with its steps, in working order: links, bonds, joiners, droppers, switched
    feeds.

    `drives` move it, or are its selector; `follows` are those of its neighbours that also decide which of its roads is
    set, and with it what its frogs carry.
    """

    name: str
    kind: str
    make: Make | None
    facts: tuple[Links, Blades, FrogFeed] | None
    drives: tuple[str, ...]
    follows: tuple[str, ...]
    steps: tuple[Step, ...]
    at: Location | None


def make_ups(
    layout: Layout,
    network: RailNetwork,
    plan: Plan | None = None,
    kinds: Mapping[str, Kind] | None = None,
) -> tuple[MakeUp, ...]:
    """The make-up of every built piece, then of every place that has a step; in the network's order.

    Without a plan the switched feeds name no board. `kinds` are the catalogue's; None: built-in ones and
    the layout's.
    """
    known = kinds_of(layout) if kinds is None else kinds
    where = plan.channels() if plan is not None else {}
    joints, own = _joints(network), _own(network)
    pieces = layout.file.pieces()
    uses: dict[str, set[str]] = {}
    for (name, _), use in drive_uses(layout.file, layout.kinds).items():
        uses.setdefault(name, set()).add(use.drive)
    found: list[MakeUp] = []
    for name, shown in network.pieces.items():
        piece = pieces.get(name)
        steps: list[Step] = []
        drives: tuple[str, ...] = ()
        follows: tuple[str, ...] = ()
        if piece is not None:
            steps += _links(name, piece, known[kind_name(piece)])
            steps += _bonds(own[name].bonds)
            mine = uses.get(name, set())
            drives = tuple(d for d in network.drives if d in mine)
            follows = tuple(d for d in network.drives if d in own[name].deciding - mine)
        steps += _joiners(name, joints.get(name, ()))
        steps += _feeds(layout, own[name].feeds)
        steps += _switched(own[name].switched, where)
        if piece is not None or steps:
            found.append(
                MakeUp(
                    name,
                    shown.kind,
                    piece.make if piece is not None else None,
                    piece.facts if piece is not None else None,
                    drives,
                    follows,
                    tuple(steps),
                    shown.at,
                )
            )
    return tuple(found)


def _links(name: str, piece: Piece, kind: Kind) -> Iterable[Step]:
    made = kind.makes.get(piece.make)
    for a, b in made.links if made is not None else ():
        if piece.facts[0] is Links.REMOVED:
            yield RemoveLink(f"{name}.{a}", f"{name}.{b}")
        else:
            yield KeepLink(f"{name}.{a}", f"{name}.{b}")


@dataclass(slots=True)
class _Own:
    """What of the network is of one piece or place."""

    bonds: list[Bond] = field(default_factory=list)
    feeds: list[Feed] = field(default_factory=list)
    switched: list[SwitchedFeed] = field(default_factory=list)
    deciding: set[str] = field(default_factory=set)
    """The drives that the conditions of its roads name."""


def _own(network: RailNetwork) -> dict[str, _Own]:
    found: dict[str, _Own] = {name: _Own() for name in network.pieces}
    with_frogs = {s.piece for s in network.sections} - {s.place for s in network.section_of.values()}
    for bond in network.bonds:
        # A bond between two pieces belongs to the one that has a frog, and so a card.
        mine = next((r for r in (bond.a, bond.b) if network.piece_of[r] in with_frogs), bond.a)
        found[network.piece_of[mine]].bonds.append(bond)
    for feed in network.feeds:
        found[network.piece_of[feed.rail]].feeds.append(feed)
    for s in network.switched:
        found[network.piece_of[s.rail]].switched.append(s)
    for road in network.roads:
        found[road.piece].deciding |= {d for t in road.when for d, _ in t}
    return found


def _bonds(bonds: Iterable[Bond]) -> Iterable[Step]:
    listed = list(bonds)
    for kind in (BondKind.BLADE, BondKind.FROG, BondKind.SECTION):
        for bond in listed:
            if bond.kind is kind:
                yield BondRails(bond.a, bond.b, kind)


def _joints(network: RailNetwork) -> dict[str, list[Joint]]:
    found: dict[str, list[Joint]] = {}
    for j in network.joints:
        found.setdefault(j.a[0], []).append(j)
        if j.b[0] != j.a[0]:
            found.setdefault(j.b[0], []).append(j)
    return found


def _joiners(name: str, joints: Iterable[Joint]) -> Iterable[Step]:
    """Left and right as seen looking into the piece from the end."""
    for j in joints:
        for hand, (mine, beyond) in ((Hand.LEFT, j.left), (Hand.RIGHT, j.right)):
            conducts, trusted = hand not in j.gaps, hand not in j.untrusted
            if j.a[0] == name:
                # Travelling from a the line looks out of this end, so its left is the right looking in.
                yield FitJoiner(j.a[1], hand.other, mine, beyond, conducts, trusted)
            if j.b[0] == name:
                yield FitJoiner(j.b[1], hand, beyond, mine, conducts, trusted)


def _feeds(layout: Layout, feeds: Iterable[Feed]) -> Iterable[Step]:
    for feed in feeds:
        yield FitDropper(feed.rail, feed.wire, feed.size or layout.file.layout.dropper_wire, feed.mm)


def _switched(switched: Iterable[SwitchedFeed], where: Mapping[str, tuple[str, str]]) -> Iterable[Step]:
    for s in switched:
        board, channel = where.get(s.output, (None, None))
        yield FitSwitched(s.rail, s.output, board, channel, tuple((r.when, r.wire) for r in s.rows))
