"""What a switched rail must be fed with: the frogs of a piece, and sections that follow the roads set to them."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass

from frogfeed.layout.drives import DriveUseResolved
from frogfeed.layout.schema import Hand
from frogfeed.track.feeds.sides import road_wire
from frogfeed.track.feeds.tables import OFF, Decision, TooManyDrivesError, as_when, decide, drives_in, tabulate
from frogfeed.track.feeds.zones import Border, Zone
from frogfeed.track.network.approaches import Approaches
from frogfeed.track.network.conditions import ALWAYS, NEVER, When, absorb, both, holds
from frogfeed.track.network.model import End, EndSide, Feed, Road, Section, SwitchedFeed, TableRow


@dataclass(frozen=True, slots=True)
class Following:
    """Which side a switched section follows: each border with what the track beyond it carries, and when it counts.

    `wires`: the wires of the section's first and second rail while it follows this border. `open`: when a train may
    pass the border, as far as the section has a say. `undecided`: when it is set to borders that differ and nothing
    chooses.
    """

    zone: Zone
    borders: tuple[Border, ...]
    wires: tuple[tuple[str, str], ...]
    when: tuple[When, ...]
    open: Mapping[End, When]
    undecided: When


def follow(
    zone: Zone,
    selector: DriveUseResolved | None,
    approaches: Approaches,
    sides: Mapping[End, EndSide],
    settings: Mapping[str, tuple[str, ...]],
) -> Following:
    """What a switched section follows: the side to which it is set, and where it is set to two, what its selector says.

    Sides differ where left meets right, as on a return loop. A section whose own turnouts choose between such sides
    follows these alone, whatever lies beyond; one with sides that agree is live as soon as it is set to any.
    """
    found: list[tuple[Border, tuple[str, str]]] = []
    for border in zone.borders:
        seen = approaches.sides_beyond(border.end, sides)
        if seen is not None:
            first = zone.hands[border.end]
            found.append((border, (seen.wire(first), seen.wire(first.other))))
    borders = tuple(b for b, _ in found)
    wires = tuple(w for _, w in found)
    ways = [b.way for b in borders]
    outward = [approaches.outward(b.end) for b in borders]
    either_way = [both(w, o) for w, o in zip(ways, outward, strict=True)]
    differ = [(i, j) for j in range(len(found)) for i in range(j) if wires[i] != wires[j]]
    # Its own turnouts choose, else those beyond, else both together: the first that never leaves two sides to follow.
    choices = [ways, outward, either_way] if differ else [outward]
    when = next((w for w in choices if _contested(w, differ) == NEVER), either_way)
    contested = _contested(when, differ)
    if contested == NEVER or selector is None:
        return Following(zone, borders, wires, tuple(when), {}, contested)
    try:
        chosen = [_chosen(b, c, contested, selector, settings) for b, c in zip(borders, when, strict=True)]
    except TooManyDrivesError:
        return Following(zone, borders, wires, tuple(when), {}, contested)
    return Following(
        zone,
        borders,
        wires,
        tuple(held for held, _ in chosen),
        {b.end: open_ for b, (_, open_) in zip(borders, chosen, strict=True)},
        NEVER,
    )


def _contested(when: Sequence[When], differ: Iterable[tuple[int, int]]) -> When:
    """Where two of these conditions hold at once that must not."""
    return absorb(t for i, j in differ for t in both(when[i], when[j]))


def _chosen(
    border: Border,
    when: When,
    contested: When,
    selector: DriveUseResolved,
    settings: Mapping[str, tuple[str, ...]],
) -> tuple[When, When]:
    """When a section with a selector follows this border, and when a train may pass it."""
    says = selector.settings[(Hand.LEFT if border.by == "a" else Hand.RIGHT).value]
    drives = drives_in(when, contested, (((selector.drive, says),),))
    free = tabulate(drives, settings, lambda at: not holds(contested, at) or at[selector.drive] == says)
    held = tabulate(drives, settings, lambda at: holds(when, at))
    return (
        as_when({k: held[k] and free[k] for k in free}, drives, settings),
        as_when(free, drives, settings),
    )


def place_feed(s: Section, first: bool, following: Following, settings: Mapping[str, tuple[str, ...]]) -> SwitchedFeed:
    """The feed of one rail of a switched section (`first`: its place's first rail), off where it is set to no side."""
    wants = [(when, pair[0 if first else 1]) for when, pair in zip(following.when, following.wires, strict=True)]

    def value(at: Mapping[str, str]) -> str | None:
        found = {wire for when, wire in wants if holds(when, at)}
        return found.pop() if len(found) == 1 else OFF

    return _switched(s, wants, value, s.bonded, settings, following.undecided)


def frog_feed(
    s: Section,
    roads: list[Road],
    sides: Mapping[End, EndSide],
    sections: Mapping[End, tuple[Hand, Mapping[Hand, SwitchedFeed]]],
    settings: Mapping[str, tuple[str, ...]],
    undecided: When,
) -> SwitchedFeed | Feed | None:
    """The feed of a frog section: switched by its table, straight from a bus where all roads agree.

    `sections` has, for every end in a switched section, the hand of the section's first rail looking in, and the
    section's feeds by hand (left: its first rail's). `undecided` is where two roads of the piece count at once: the
    frog is off there where they differ. None where no dropper says what the roads carry; the solver then finds the
    section never fed.
    """
    wants: list[tuple[When, str]] = []
    claims: list[tuple[When, str]] = []
    rails = set(s.rails)
    for r in roads:
        for hand, under in ((Hand.LEFT, r.left), (Hand.RIGHT, r.right)):
            if not rails.intersection(under):
                continue
            inside = sections.get((r.piece, r.start))
            if inside is None:
                # Where the road ends in a switched section no dropper says what it carries: off is what is sure.
                wire = road_wire(r, hand, sides) or OFF
                wants.append((r.when, wire))
                claims.append((ALWAYS, wire))
            else:
                wants += _section_wants(r, hand, *inside, settings)
                claims += [(row.when, row.wire) for row in _section_feed(hand, *inside).rows]
    told = [*wants, *claims] if undecided else wants
    if all(w == OFF for _, w in told):
        return None
    contested = _disputed(claims, undecided, settings)
    wires = {w for _, w in wants} or {w for _, w in claims}
    if len(wires) == 1 and OFF not in wires and contested == NEVER:
        return Feed(s.rails[0], wires.pop(), None, None, s.at)

    def value(at: Mapping[str, str]) -> str | None:
        disputed = holds(undecided, at)
        found = {wire for when, wire in (claims if disputed else wants) if holds(when, at)}
        if len(found) == 1:
            return found.pop()
        return OFF if found or disputed else None

    feed = _switched(s, told, value, s.bonded, settings, contested)
    if not feed.drives and feed.rows and not contested:
        return Feed(s.rails[0], feed.rows[0].wire, None, None, s.at)
    return feed


def _disputed(claims: Sequence[tuple[When, str]], undecided: When, settings: Mapping[str, tuple[str, ...]]) -> When:
    """Where a piece is undecided and what its roads claim for one frog differs."""
    if undecided == NEVER or len({wire for _, wire in claims}) < 2:
        return NEVER
    drives = drives_in(undecided, *(when for when, _ in claims))
    try:
        table = tabulate(
            drives,
            settings,
            lambda at: holds(undecided, at) and len({wire for when, wire in claims if holds(when, at)}) > 1,
        )
    except TooManyDrivesError:
        return undecided
    return as_when(table, drives, settings)


def _section_feed(hand: Hand, first: Hand, feeds: Mapping[Hand, SwitchedFeed]) -> SwitchedFeed:
    """The section's feed on this hand of a road, where its first rail lies on the hand `first`."""
    return feeds[Hand.LEFT if hand is first else Hand.RIGHT]


def _section_wants(
    road: Road,
    hand: Hand,
    first: Hand,
    feeds: Mapping[Hand, SwitchedFeed],
    settings: Mapping[str, tuple[str, ...]],
) -> list[tuple[When, str]]:
    """What a road inside a switched section carries on one hand: as the section does, and off where that is off."""
    feed = _section_feed(hand, first, feeds)
    wants = [(when, row.wire) for row in feed.rows if (when := both(road.when, row.when)) != NEVER]
    drives = drives_in(road.when, *(row.when for row in feed.rows))
    try:
        rest = tabulate(
            drives, settings, lambda at: holds(road.when, at) and not any(holds(row.when, at) for row in feed.rows)
        )
    except TooManyDrivesError:
        return [(road.when, OFF)]
    off = as_when(rest, drives, settings)
    return [*wants, (off, OFF)] if off else wants


def _switched(
    s: Section,
    wants: Sequence[tuple[When, str]],
    value: Callable[[Mapping[str, str]], str | None],
    bonded: bool,
    settings: Mapping[str, tuple[str, ...]],
    undecided: When,
) -> SwitchedFeed:
    """The feed of a section whose wire at given settings is `value`, over the fewest drives that decide it."""
    drives = drives_in(*(when for when, _ in wants), undecided)
    try:
        d = decide(drives, settings, value, undecided)
    except TooManyDrivesError:
        d = Decision((), drives, ALWAYS)
    rows = tuple(TableRow(when, wire) for wire, when in d.rows)
    known = rows[0].wire if rows else next((wire for _, wire in wants if wire != OFF), "")
    district = known.rpartition(".")[0]
    return SwitchedFeed(s.rails[0], s.output, s.piece, district, rows, d.drives, bonded, d.undecided, s.at)
