"""What a layout asks of its boards: drives to move, switched outputs, position contacts to read."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from itertools import product
from typing import Literal

from frogfeed.electrics.circuit import supply_volts
from frogfeed.layout.drives import drive_uses
from frogfeed.layout.model import Layout
from frogfeed.layout.schema import Control, Drive, DriveKind, Piece
from frogfeed.layout.schema import Place as LayoutPlace
from frogfeed.plan.model import DriveNeed, FeedNeed, Place
from frogfeed.track.network.conditions import Term, When, holds, join
from frogfeed.track.network.model import RailNetwork, SwitchedFeed


def drive_table(layout: Layout, name: str) -> Drive:
    """What the file says of a drive; the stated defaults where it has no table."""
    return layout.file.drive.get(name) or Drive()


def pieces_of_drives(layout: Layout) -> dict[str, list[str]]:
    """For every drive the pieces it throws, in the file's order."""
    found: dict[str, list[str]] = {}
    for (piece, _), use in drive_uses(layout.file, layout.kinds).items():
        found.setdefault(use.drive, []).append(piece)
    return found


def drive_needs(layout: Layout, network: RailNetwork) -> tuple[DriveNeed, ...]:
    """Every drive of the network, in its order."""
    members = layout.file.members()
    users = pieces_of_drives(layout)
    return tuple(
        _drive(layout, name, settings, users.get(name, []), members) for name, settings in network.drives.items()
    )


def _drive(
    layout: Layout, name: str, settings: tuple[str, ...], users: list[str], members: Mapping[str, Piece | LayoutPlace]
) -> DriveNeed:
    table = drive_table(layout, name)
    place: Place | None = table.at_mm
    for user in users:
        if place is None:
            place = members[user].at_mm
    hand = table.kind is DriveKind.HAND
    watched = settings if table.contacts == "both" else settings[:1]
    contacts = tuple(f"{name}.{s}" for s in watched) if hand else ()
    at = layout.at("drive", name) or (layout.piece_at(users[0]) if users else None)
    return DriveNeed(name, settings, hand, contacts, place, at)


def readable(need: DriveNeed) -> bool:
    """Whether a board can serve this drive: one thrown by hand is read by two position contacts, so it has two
    settings.
    """
    return not need.hand or len(need.settings) == 2


def feed_needs(layout: Layout, network: RailNetwork) -> tuple[FeedNeed, ...]:
    """Every switched output of the network, in its order; entries that share an output are one."""
    by_output: dict[str, list[SwitchedFeed]] = {}
    for s in network.switched:
        by_output.setdefault(s.output, []).append(s)
    return tuple(_feed(layout, network, entries) for entries in by_output.values())


def _feed(layout: Layout, network: RailNetwork, entries: list[SwitchedFeed]) -> FeedNeed:
    first = entries[0]
    piece = layout.file.pieces().get(first.piece)
    place = layout.file.place.get(first.piece)
    wish = piece.output if piece is not None else None
    spot = piece.at_mm if piece is not None else (place.at_mm if place is not None else None)
    rows = tuple((term, _side(network, row.wire)) for row in first.rows for term in disjoint(row.when, network.drives))
    return FeedNeed(
        output=first.output,
        rails=tuple(e.rail for e in entries),
        piece=first.piece,
        district=first.district,
        rows=rows,
        drives=first.drives,
        bonded=all(e.bonded_blades for e in entries),
        undecided=first.undecided,
        kind=wish.value if wish is not None else None,
        place=spot,
        at=first.at,
        control="dcc" if layout.file.layout.control is Control.DCC else "dc",
        volts=supply_volts(layout, layout.file.district[first.district])
        if first.district in layout.file.district
        else 0.0,
        off_at=_off_at(network, first),
        wires=tuple(sorted({row.wire for e in entries for row in e.rows})),
    )


def _off_at(network: RailNetwork, feed: SwitchedFeed) -> Term | None:
    """The first combination of the feed's drives at which it must be off, or None where it never must."""
    rows = tuple(t for row in feed.rows for t in row.when)
    for combo in product(*(network.drives[d] for d in feed.drives)):
        at = dict(zip(feed.drives, combo, strict=True))
        if not holds(rows, at) and not holds(network.forbidden, at):
            return tuple(sorted(at.items()))
    return feed.undecided[0] if feed.undecided else None


def apart(network: RailNetwork, districts: Iterable[str]) -> tuple[str, str] | None:
    """Two of these districts that are not in phase, so that one output cannot stand for both; None if all are.

    Districts each in phase with a third are in phase with each other.
    """
    first, *others = sorted(set(districts)) or [""]
    step = {first}
    while grown := {d for pair in network.in_phase if pair & step for d in pair} - step:
        step |= grown
    return next(((first, d) for d in others if d not in step), None)


def _side(network: RailNetwork, wire: str) -> Literal["A", "B"]:
    return "A" if network.wires[wire].side.value == "A" else "B"


def disjoint(when: When, drives: Mapping[str, tuple[str, ...]]) -> tuple[Term, ...]:
    """The same condition as terms of which never two hold at once, in a stable order."""
    done: list[Term] = []
    for term in when:
        pieces = [term]
        for other in done:
            pieces = [p for q in pieces for p in _without(q, other, drives)]
        done += pieces
    return tuple(done)


def _without(term: Term, other: Term, drives: Mapping[str, tuple[str, ...]]) -> Iterable[Term]:
    """`term` where `other` does not hold, as terms that exclude each other."""
    if join(term, other) is None:
        yield term
        return
    fixed = dict(term)
    for drive, setting in other:
        if drive in fixed:
            continue
        for alternative in drives[drive]:
            if alternative != setting:
                yield tuple(sorted({**fixed, drive: alternative}.items()))
        fixed[drive] = setting
