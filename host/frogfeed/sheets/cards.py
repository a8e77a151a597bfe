"""From the plan's make-up of each piece to cards: steps numbered in working order, settings, what the meter reads."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from itertools import product

from frogfeed.layout.ends import kind_name
from frogfeed.layout.lines import EndItem, FeedItem, GapItem, PlaceItem
from frogfeed.layout.model import Layout
from frogfeed.layout.schema import Hand, Piece, Turnout
from frogfeed.plan.makeup import FitDropper, FitJoiner, FitSwitched, MakeUp, Step, make_ups
from frogfeed.plan.model import Plan
from frogfeed.sheets.continuity import Continuity
from frogfeed.sheets.courses import DEFAULT_FROG_NUMBER
from frogfeed.sheets.model import Card, CardStep, Channel, JointRail, JointRow, Setting, Wire, WireKind
from frogfeed.track.network.conditions import holds
from frogfeed.track.network.model import RailNetwork
from frogfeed.track.pieces.catalogue import Kind

MOST_SETTINGS = 8
"""How many settings a card's table shows; a piece whose drives have more ways shows only those that set a road."""


def frog_number_of(piece: Piece) -> float | None:
    """The frog number as stated, or from the angle: half the cotangent of half the angle."""
    if piece.frog_number is not None:
        return piece.frog_number
    if piece.angle_deg is not None:
        return 0.5 / math.tan(math.radians(piece.angle_deg) / 2)
    return None


def drawn_number(card: Card) -> float:
    """The frog number a card is drawn with."""
    return card.frog_number or DEFAULT_FROG_NUMBER


def joint_rows(network: RailNetwork) -> tuple[JointRow, ...]:
    """Every joint, numbered; it is made with the card of the piece that comes first in the network."""
    order = {name: n for n, name in enumerate(network.pieces)}
    rows: list[JointRow] = []
    for n, j in enumerate(network.joints, 1):
        rails = tuple(
            JointRail(hand, pair[0], pair[1], hand not in j.gaps, hand not in j.untrusted)
            for hand, pair in zip((Hand.LEFT, Hand.RIGHT), (j.left, j.right), strict=True)
        )
        first = min((j.a[0], j.b[0]), key=lambda p: order[p])
        rows.append(JointRow(f"J{n}", j.a, j.b, (rails[0], rails[1]), j.line, first))
    return tuple(rows)


def feed_ends(layout: Layout, network: RailNetwork) -> dict[int, str]:
    """Index of a dropper in the network -> the end of its piece near which its line puts it, where a line says so."""
    near: dict[object, list[tuple[str, str]]] = {}
    for items in layout.lines.values():
        for i, item in enumerate(items):
            if not isinstance(item, FeedItem):
                continue
            before = next((x for x in reversed(items[:i]) if isinstance(x, EndItem | PlaceItem)), None)
            after = next((x for x in items[i + 1 :] if isinstance(x, EndItem | PlaceItem)), None)
            gap = False
            for x in reversed(items[:i]):
                if isinstance(x, EndItem | PlaceItem):
                    break
                gap = gap or isinstance(x, GapItem)
            for end in (after, before) if gap or before is None else (before, after):
                if isinstance(end, EndItem):
                    near.setdefault(item.at, []).append((end.piece, end.end))
    found: dict[int, str] = {}
    for n, f in enumerate(network.feeds):
        piece = network.piece_of[f.rail]
        for name, which in near.get(f.at, ()):
            shown = network.pieces.get(name)
            if name == piece and shown is not None and f.rail in shown.ends.get(which, ()):
                found[n] = which
                break
    return found


def _numbered(
    made: MakeUp,
    joints: Mapping[tuple[str, str], JointRow],
    droppers: Mapping[str, list[tuple[str, str]]],
    feeds: Mapping[str, str],
) -> Iterable[CardStep]:
    """The steps in working order; the two rails of an end are one step where both get the same joiner."""
    waiting = {rail: list(wires) for rail, wires in droppers.items()}
    number = 0
    steps = list(made.steps)
    while steps:
        step = steps.pop(0)
        number += 1
        does: tuple[Step, ...] = (step,)
        mark = elsewhere = end = ""
        if isinstance(step, FitJoiner):
            joint = joints[made.name, step.end]
            mark = joint.mark
            elsewhere = joint.card if joint.card != made.name else ""
            end = step.end
            if steps and isinstance(steps[0], FitJoiner):
                other = steps[0]
                if (other.end, other.conducts, other.trusted) == (step.end, step.conducts, step.trusted):
                    does = (step, other)
                    steps.pop(0)
        elif isinstance(step, FitDropper):
            mark, end = waiting[step.rail].pop(0)
        elif isinstance(step, FitSwitched):
            mark = feeds.get(step.rail, "")
        yield CardStep(number, does, mark, elsewhere, end)


def settings_of(
    network: RailNetwork, name: str, drives: Sequence[str], kind_rails: Sequence[str]
) -> tuple[Setting, ...]:
    """Every way to set the drives of one piece, those that set a road first; other drives at their first setting."""
    feeds = [s for s in network.switched if s.piece == name]
    tables = {d for s in feeds for d in s.drives}
    own = [d for d in network.drives if d in tables or d in drives]
    ways = list(product(*(network.drives[d] for d in own)))
    roads = [r for r in network.roads if r.piece == name]
    found: list[Setting] = []
    for way in ways:
        term = tuple(zip(own, way, strict=True))
        at = {d: s[0] for d, s in network.drives.items()} | dict(term)
        here = Continuity(network, at)
        carried: dict[str, str | None] = {}
        for s in feeds:
            carried[s.output] = next((row.wire for row in s.rows if holds(row.when, at)), None)
        found.append(
            Setting(
                term,
                tuple(f"{r.start}–{r.end}" for r in roads if holds(r.when, at)),
                tuple((c.a, c.b) for c in network.contacts if network.piece_of[c.a] == name and holds(c.when, at)),
                carried,
                {r: here.wires(r) for r in kind_rails},
                forbidden=holds(network.forbidden, at) and not any(holds(r.when, at) for r in roads),
            )
        )
    found.sort(key=lambda s: not s.roads)
    if len(found) > MOST_SETTINGS:
        found = [s for s in found if s.roads][:MOST_SETTINGS]
    return tuple(found)


def make_cards(
    layout: Layout,
    network: RailNetwork,
    plan: Plan,
    kinds: Mapping[str, Kind],
    joints: Sequence[JointRow],
    wires: Sequence[Wire],
) -> tuple[Card, ...]:
    """All cards: pieces first, then plain track, in the order of the make-up."""
    at_end = {j.a: j for j in joints} | {j.b: j for j in joints}
    ends = feed_ends(layout, network)
    droppers: dict[str, list[tuple[str, str]]] = {}
    numbered = iter([w for w in wires if w.kind is WireKind.DROPPER])
    for n, f in enumerate(network.feeds):
        droppers.setdefault(f.rail, []).append((next(numbered).mark, ends.get(n, "")))
    feeds = {w.start: w.mark for w in wires if w.kind is WireKind.FEED}
    pieces = layout.file.pieces()
    cards: list[Card] = []
    for number, made in enumerate(make_ups(layout, network, plan, kinds), 1):
        piece = pieces.get(made.name)
        rails = [r for r in network.rails if network.piece_of[r] == made.name]
        outputs = list(dict.fromkeys(s.output for s in network.switched if s.piece == made.name))
        title, straight, frog = made.kind, "", None
        if piece is not None:
            kind = kinds[kind_name(piece)]
            title, frog = kind.title, frog_number_of(piece)
            straight = _straight(piece)
        cards.append(
            Card(
                made.name,
                number,
                made.kind,
                title,
                made.make,
                made.facts,
                frog,
                straight,
                made.drives,
                made.follows,
                tuple(_numbered(made, at_end, droppers, feeds)),
                settings_of(network, made.name, (*made.drives, *made.follows), rails),
                tuple(_channels(plan, made.drives, outputs)),
            )
        )
    return tuple(cards)


def _straight(piece: Piece) -> str:
    """The leg drawn straight: the one a turnout's owner calls normal, none for a wye, the middle of a three-way."""
    if isinstance(piece, Turnout):
        return "" if piece.kind == "wye" else piece.normal.value
    return ""


def _channels(plan: Plan, drives: Sequence[str], outputs: Sequence[str]) -> Iterable[Channel]:
    for board in plan.boards:
        for d in board.drives:
            if d.need.name not in drives:
                continue
            if d.channel is not None:
                yield Channel(d.need.name, board.name, d.channel.name, "servo")
            for contact, i in zip(d.need.contacts, d.inputs, strict=True):
                yield Channel(contact, board.name, i.name, "contact")
        for f in board.feeds:
            if f.need.output in outputs:
                yield Channel(f.need.output, board.name, f.channel.name, board.profile.switch(f.channel).kind)
