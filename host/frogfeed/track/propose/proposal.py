"""From a bare plan to a wired one: the joiners, bonds, droppers and switched feeds that make every answer clean.

What is stated stays; only what is missing is added, each thing with its reason:

1. A return loop gets a reversing section: a stretch of plain track on it, or one with a turnout, insulated all round.
2. Districts are parted by the fewest joints (a minimum cut).
3. Each piece is made sound: a plastic frog with bonded blades, a live frog isolated and fed through a switch.
4. Where no drive decides which way a section or a crossing is used, a switch on the panel says it.
5. A rail whose two sides cannot always agree is insulated; every conductor without a feed gets one dropper.

Every insulated joiner is forced by what stands on its two sides, and every dropper by its conductor, so the set is a
least one once the pieces' making and the cuts are given; the bound says how far the cuts can be from the least.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from collections.abc import Set as AbstractSet
from dataclasses import dataclass, field, replace
from enum import StrEnum
from itertools import count

from frogfeed.findings.finding import Finding, Location, Severity
from frogfeed.layout.drives import SELECTOR
from frogfeed.layout.ends import kind_name
from frogfeed.layout.lines import FeedItem, GapItem, JoinerItem, LengthItem, LineItem
from frogfeed.layout.model import Layout
from frogfeed.layout.schema import (
    Blades,
    Drive,
    DriveKind,
    FrogFeed,
    Hand,
    LayoutFile,
    Links,
    Make,
    Piece,
    Side,
)
from frogfeed.track.assembly.assemble import PLACE_RAILS, assemble
from frogfeed.track.explain.findings import track_findings
from frogfeed.track.feeds.sides import all_sides, road_wire
from frogfeed.track.feeds.tables import MOST_DRIVES
from frogfeed.track.network.model import End, EndSide, Joint, RailNetwork, Road
from frogfeed.track.pieces.catalogue import kinds_of
from frogfeed.track.pieces.clearance import vees
from frogfeed.track.propose.cuts import Cut, part_districts
from frogfeed.track.routes.return_loops import return_loops
from frogfeed.track.routes.reversing import reversing_section, with_section
from frogfeed.track.solver.contract import Contracted

NOWHERE = Location("proposed", 1, 1)
BOTH = (Hand.LEFT, Hand.RIGHT)
LONGEST_NAME = 32
"""What a layout file takes as a name."""


class Action(StrEnum):
    """Kinds of work that a proposal asks for."""

    REVERSING = "reversing section"
    LINKS = "remove the factory links"
    BLADES = "bond the blades"
    SWITCH = "feed the frog through a switch"
    SELECTOR = "selector switch"
    GAP = "insulated joiner"
    DROPPER = "dropper"


@dataclass(frozen=True, slots=True)
class Proposed:
    """One thing to do: what, where, and why."""

    action: Action
    place: str
    reason: str


@dataclass(frozen=True)
class Proposal:
    """The work, the layout with it done, what the checker still says of that, and the proven least number of things."""

    items: tuple[Proposed, ...]
    layout: Layout
    findings: tuple[Finding, ...]
    least: int

    @property
    def clean(self) -> bool:
        """Whether no error and no warning is left."""
        return all(f.severity is Severity.NOTE for f in self.findings)


@dataclass(slots=True)
class _Edit:
    """What is added at one joint: gaps, and droppers on either side of them.

    `at_once`: the gaps go right behind the first end, so that droppers stated there come to lie beyond them.
    """

    gaps: set[Hand] = field(default_factory=set)
    at_once: bool = False
    before: list[FeedItem] = field(default_factory=list)
    behind: list[FeedItem] = field(default_factory=list)


def propose(layout: Layout) -> Proposal:
    """Propose what is missing. The layout is not changed; `Proposal.layout` is a new one."""
    items: list[Proposed] = []
    layout = _with_sections(layout, items)
    layout = _with_sound_pieces(layout, items)
    layout = _with_selectors(layout, items)
    network = assemble(layout)
    edits: dict[tuple[str, int], _Edit] = {}
    cut = part_districts(layout, network)
    _cut_districts(network, cut, edits, items)
    _insulate(network, _changing(network, _sides(network, cut)), edits, items)
    layout = _edited(layout, edits)
    edits = {}
    # A frog that carries one wire at all settings is fed from that wire, and with it what conducts to the frog.
    network = assemble(layout, feeds_to_come=True)
    _feed(layout, network, cut, edits, items)
    layout = _edited(layout, edits)
    while edits := _first_droppers(layout, assemble(layout), cut, items):
        layout = _edited(layout, edits)
    findings = tuple(track_findings(layout, assemble(layout)))
    return Proposal(tuple(items), layout, findings, len(items) - 2 * cut.above_least)


def _with_file(layout: Layout, file: LayoutFile) -> Layout:
    return replace(layout, file=file)


def _with_sections(layout: Layout, items: list[Proposed]) -> Layout:
    """A reversing section on each return loop, as far as one fits."""
    while True:
        network = assemble(layout)
        loop = next(iter(return_loops(network, frozenset(layout.file.place))), None)
        section = None if loop is None else reversing_section(layout, network, loop)
        if loop is None or section is None:
            return layout
        taken = f", with {', '.join(section.takes_in)}" if section.takes_in else ""
        items.append(
            Proposed(
                Action.REVERSING,
                section.place + taken,
                f"the track comes back to itself turned round through {', '.join(loop.pieces)}; this must take the "
                "polarity of the side to which it is set",
            )
        )
        layout = with_section(layout, section)


def _with_selectors(layout: Layout, items: list[Proposed]) -> Layout:
    """A selector for every section and crossing that some setting leaves undecided."""
    network = assemble(layout, feeds_to_come=True)
    file = layout.file
    places, diamonds, slips, drives = dict(file.place), dict(file.diamond), dict(file.slip), dict(file.drive)
    # A table over too many drives stays unattempted with one drive more.
    open_ = [s for s in network.switched if s.undecided and len(s.drives) < MOST_DRIVES]
    for name in dict.fromkeys(s.piece for s in open_ if getattr(file.members()[s.piece], SELECTOR, None) is None):
        drive = _selector_name(name, drives.keys() | network.drives.keys() | file.members().keys())
        update = {"selector": drive}
        if name in places:
            places[name] = places[name].model_copy(update=update)
            reason = "it is set to two sides at once that differ, and no turnout says which one a train comes from"
        elif name in diamonds or name in slips:
            if name in diamonds:
                diamonds[name] = diamonds[name].model_copy(update=update)
            else:
                slips[name] = slips[name].model_copy(update=update)
            reason = "both its tracks are set at once, and no turnout says which one a train takes"
        else:
            continue
        drives[drive] = Drive(kind=DriveKind.HAND)
        items.append(Proposed(Action.SELECTOR, name, reason))
    changed = {"place": places, "diamond": diamonds, "slip": slips, "drive": drives}
    return _with_file(layout, file.model_copy(update=changed))


def _selector_name(name: str, taken: AbstractSet[str]) -> str:
    """A name for the selector of a place or piece: as long as a name may be, and nothing else's."""
    for n in count(1):
        ending = "-way" if n == 1 else f"-way-{n}"
        found = name[: LONGEST_NAME - len(ending)] + ending
        if found not in taken:
            return found
    raise AssertionError("there is always another number")


def _sound(piece: Piece, frogs: int, bridged: bool, inside: bool) -> tuple[Links, Blades, FrogFeed]:
    """The facts that make a piece with so many frogs sound, changing as little as may be.

    `inside` a switched section, where no dropper can feed what has lost its links.
    """
    links, blades, frog = piece.facts
    isolated = (Links.REMOVED, Blades.BONDED, FrogFeed.SWITCHED)
    if frog is FrogFeed.SWITCHED:
        unbonded = piece.make is Make.LIVE_FROG and frogs == 1 and links is Links.IN and blades is Blades.CONTACT
        return piece.facts if unbonded else isolated
    if piece.make is Make.INSULATED_FROG and not bridged and (links is Links.IN or (frogs == 1 and not inside)):
        return links, Blades.BONDED, frog
    return isolated


def _with_sound_pieces(layout: Layout, items: list[Proposed]) -> Layout:
    """Give every built piece a making that needs no blade contact and shorts nowhere."""
    network = assemble(layout)
    kinds = kinds_of(layout)
    bridged = {v.piece for v in vees(layout, network, kinds) if v.open}
    inside = {piece for piece, _ in network.section_of}
    file = layout.file
    updates: dict[str, Mapping[str, Piece]] = {}
    members: dict[str, Mapping[str, Piece]] = {"turnout": file.turnout, "three_way": file.three_way}
    members |= {"slip": file.slip, "diamond": file.diamond, "piece": file.piece}
    for table, pieces in members.items():
        changed: dict[str, Piece] = {}
        for name, piece in pieces.items():
            changed[name] = piece
            if not piece.built:
                continue
            was, now = piece.facts, _sound(piece, len(kinds[kind_name(piece)].frogs), name in bridged, name in inside)
            if was != now:
                items += _reasons(name, piece, bool(kinds[kind_name(piece)].tips), was, now, name in bridged)
                changed[name] = piece.model_copy(
                    update={"state": None, "links": now[0], "blades": now[1], "frog": now[2]}
                )
        updates[table] = changed
    return _with_file(layout, file.model_copy(update=updates))


def _reasons(
    name: str,
    piece: Piece,
    blades: bool,
    was: tuple[Links, Blades, FrogFeed],
    now: tuple[Links, Blades, FrogFeed],
    bridged: bool,
) -> Iterator[Proposed]:
    if was[0] is not now[0]:
        yield Proposed(Action.LINKS, name, "its frog must not hang on the blades' polarity once they are bonded")
    if blades and was[1] is not now[1]:
        yield Proposed(Action.BLADES, name, "a blade that only touches its stock rail feeds until the first dirt")
    if was[2] is not now[2]:
        live = "a metal frog lies under both roads, with opposite polarities"
        short = "its plastic is shorter than a tread reaches, so the vee must be one section of one polarity"
        yield Proposed(Action.SWITCH, name, short if bridged and piece.make is Make.INSULATED_FROG else live)


def _add_gap(edits: dict[tuple[str, int], _Edit], j: Joint, hands: Iterable[Hand]) -> list[Hand]:
    """Insulate these hands of a joint; returns those that were not insulated yet."""
    edit = edits.setdefault((j.line, j.index), _Edit())
    fresh = [h for h in hands if h not in j.gaps and h not in edit.gaps]
    edit.gaps.update(fresh)
    return fresh


def _rails(j: Joint, hand: Hand) -> str:
    a, b = j.left if hand is Hand.LEFT else j.right
    return f"{a} | {b}"


def _cut_districts(network: RailNetwork, cut: Cut, edits: dict[tuple[str, int], _Edit], items: list[Proposed]) -> None:
    for j in network.joints:
        a, b = cut.district_of[j.a[0]], cut.district_of[j.b[0]]
        if a != b:
            for hand in _add_gap(edits, j, BOTH):
                items.append(Proposed(Action.GAP, _rails(j, hand), f"the boundary of districts {a} and {b}"))


def _insulate(
    network: RailNetwork, sections: Mapping[str, str], edits: dict[tuple[str, int], _Edit], items: list[Proposed]
) -> None:
    """Insulate every joint between a section that changes polarity and anything else."""
    for j in network.joints:
        for hand, (a, b) in ((Hand.LEFT, j.left), (Hand.RIGHT, j.right)):
            if a == b or (a not in sections and b not in sections):
                continue
            if sections.get(a) == sections.get(b):
                continue
            for fresh in _add_gap(edits, j, (hand,)):
                edits[j.line, j.index].at_once |= a in sections
                changing = sections.get(a) or sections.get(b)
                items.append(
                    Proposed(
                        Action.GAP, _rails(j, fresh), f"{changing} changes polarity, what it is joined to does not"
                    )
                )


def _changing(network: RailNetwork, sides: Mapping[End, EndSide]) -> dict[str, str]:
    """Rail -> the output of the section it belongs to, for rails whose polarity follows a drive."""
    found: dict[str, str] = {}
    roads: dict[str, list[Road]] = {}
    for r in network.roads:
        roads.setdefault(r.piece, []).append(r)
    for s in network.sections:
        wires = {
            road_wire(r, hand, sides)
            for r in roads[s.piece]
            for hand, under in ((Hand.LEFT, r.left), (Hand.RIGHT, r.right))
            if set(s.rails).intersection(under)
        }
        if len(wires) > 1 or any((s.piece, r.start) in network.section_of for r in roads[s.piece]):
            found |= dict.fromkeys(s.rails, s.output)
    near: dict[str, list[str]] = {}
    for b in network.bonds:
        if network.piece_of[b.a] == network.piece_of[b.b] and b.kind.value not in ("joiner", "untrusted joiner"):
            near.setdefault(b.a, []).append(b.b)
            near.setdefault(b.b, []).append(b.a)
    todo = list(found)
    while todo:
        rail = todo.pop()
        for other in near.get(rail, ()):
            if other not in found:
                found[other] = found[rail]
                todo.append(other)
    for (piece, end), section in network.section_of.items():
        for hand, rail in zip(BOTH, network.pieces[piece].ends[end], strict=True):
            found.setdefault(rail, f"{section.place}.{PLACE_RAILS[0 if hand is section.first else 1]}")
    return found


def _feed(
    layout: Layout, network: RailNetwork, cut: Cut, edits: dict[tuple[str, int], _Edit], items: list[Proposed]
) -> None:
    """One dropper for every conductor that has none and changes no polarity."""
    contracted = Contracted(network)
    sides = _sides(network, cut)
    sections = _changing(network, sides)
    fed = {g.index for g in contracted.groups if g.fed}
    for j, end, outward in _spots(network, layout):
        shown = network.pieces[end[0]].ends[end[1]]
        side = sides.get(end)
        if side is None:
            continue
        wanted = [
            (hand, rail)
            for hand, rail in zip(BOTH, shown, strict=True)
            if contracted.group_of[rail] not in fed
            and rail not in sections
            and not _followed(network, contracted, rail)
        ]
        if not wanted:
            continue
        _drop(edits, items, cut, (j, end, outward), side, wanted, "nothing else feeds this length of rail")
        fed.update(contracted.group_of[rail] for _, rail in wanted)


def _first_droppers(
    layout: Layout, network: RailNetwork, cut: Cut, items: list[Proposed]
) -> dict[tuple[str, int], _Edit]:
    """A dropper for the first track that none can be followed to, for its frogs alone would feed all of it."""
    edits: dict[tuple[str, int], _Edit] = {}
    sides = _sides(network, cut)
    sections = _changing(network, sides)
    for spot in _spots(network, layout):
        _, end, _ = spot
        shown = network.pieces[end[0]].ends[end[1]]
        steady = [(hand, rail) for hand, rail in zip(BOTH, shown, strict=True) if rail not in sections]
        if end not in network.sides and end in sides and steady:
            reason = "frogs feed all else here, and take their wires from the nearest dropper"
            _drop(edits, items, cut, spot, sides[end], steady[:1], reason)
            break
    return edits


def _drop(
    edits: dict[tuple[str, int], _Edit],
    items: list[Proposed],
    cut: Cut,
    spot: tuple[Joint, End, bool],
    side: EndSide,
    wanted: Sequence[tuple[Hand, str]],
    reason: str,
) -> None:
    """Droppers on these rails (by their hands, looking in) of an end that carries `side`."""
    j, end, outward = spot
    district = cut.district_of[end[0]]
    left = side.left
    hands = tuple(h for h, _ in wanted)
    if outward:
        left = Side.B if left is Side.A else Side.A
        hands = tuple(h.other for h in reversed(hands))
    item = FeedItem(district, left, hands, None, None, NOWHERE)
    edit = edits.setdefault((j.line, j.index), _Edit())
    (edit.before if outward else edit.behind).append(item)
    for hand, rail in wanted:
        items.append(Proposed(Action.DROPPER, f"{rail} to {district}.{side.wire(hand)[-1]}", reason))


def _followed(network: RailNetwork, contracted: Contracted, rail: str) -> bool:
    """Whether the rail is a switched section's, which its output feeds."""
    g = contracted.group_of[rail]
    return any(contracted.group_of[s.rail] == g for s in network.switched)


def _spots(network: RailNetwork, layout: Layout) -> list[tuple[Joint, End, bool]]:
    """Ends where a dropper can go, plain track before pieces; `outward` where the line leaves by that end."""
    spots = [(j, j.a, True) for j in network.joints] + [(j, j.b, False) for j in network.joints]
    gapped = [s for s in spots if s[2] or s[0].gaps or s[0].untrusted]
    return sorted(gapped, key=lambda s: s[1][0] not in layout.file.place)


def _sides(network: RailNetwork, cut: Cut) -> dict[End, EndSide]:
    return all_sides(
        network.sides, network.joints, network.roads, network.section_of.keys(), cut.district_of.__getitem__
    )


def _edited(layout: Layout, edits: Mapping[tuple[str, int], _Edit]) -> Layout:
    """The layout with gaps and droppers put into its lines."""
    lines: dict[str, tuple[LineItem, ...]] = {}
    for name, old in layout.lines.items():
        new: list[LineItem] = []
        at = 0
        while at < len(old):
            new.append(old[at])
            edit = edits.get((name, at))
            at += 1
            if edit is None:
                continue
            between: list[LineItem] = []
            while at < len(old) and isinstance(old[at], GapItem | FeedItem | LengthItem | JoinerItem):
                between.append(old[at])
                at += 1
            first_gap = next((i for i, x in enumerate(between) if isinstance(x, GapItem | JoinerItem)), len(between))
            gap: list[LineItem] = [GapItem(tuple(h for h in BOTH if h in edit.gaps), NOWHERE)] if edit.gaps else []
            if edit.at_once:
                first_gap = 0
            new += [*edit.before, *between[:first_gap], *gap, *between[first_gap:], *edit.behind]
        lines[name] = tuple(new)
    return replace(layout, lines=lines)
