"""What a switched rail must be fed with: the frogs of a piece, and sections that follow the roads set to them."""

from __future__ import annotations

from collections.abc import Mapping

from frogfeed.layout.schema import Hand
from frogfeed.track.conditions import ALWAYS, NEVER, When, both, holds
from frogfeed.track.network import End, EndSide, Feed, Road, Section, SwitchedFeed, TableRow
from frogfeed.track.routes import Approaches
from frogfeed.track.sides import road_wire
from frogfeed.track.tables import OFF, Decision, TooManyDrivesError, decide, drives_in


def frog_feed(
    s: Section,
    roads: list[Road],
    sides: Mapping[End, EndSide],
    settings: Mapping[str, tuple[str, ...]],
    undecided: When,
) -> SwitchedFeed | Feed | None:
    """The feed of a frog section: switched by its table, straight from a bus where all roads agree.

    None where no dropper says what the roads carry; the solver then finds the section never fed.
    """
    wants: list[tuple[When, str]] = []
    rails = set(s.rails)
    for r in roads:
        for hand, under in ((Hand.LEFT, r.left), (Hand.RIGHT, r.right)):
            if rails.intersection(under):
                # Where the road lies in a switched section no dropper says what it carries: off is what is sure.
                wants.append((r.when, road_wire(r, hand, sides) or OFF))
    if all(w == OFF for _, w in wants):
        return None
    if len({w for _, w in wants}) == 1:
        return Feed(s.rails[0], wants[0][1], None, None, s.at)
    drives = drives_in(*(w for w, _ in wants), undecided)

    def value(at: Mapping[str, str]) -> str | None:
        found = {wire for when, wire in wants if holds(when, at)}
        if len(found) > 1 or holds(undecided, at):
            return OFF
        return found.pop() if found else None

    try:
        d = decide(drives, settings, value, undecided)
    except TooManyDrivesError:
        d = Decision((), (), ALWAYS)
    rows = tuple(TableRow(when, wire) for wire, when in d.rows)
    district = (rows[0].wire if rows else wants[0][1]).rpartition(".")[0]
    return SwitchedFeed(s.rails[0], s.output, s.piece, district, rows, d.drives, s.bonded, d.undecided, s.at)


def place_feed(
    s: Section,
    road: Road,
    approaches: Approaches,
    sides: Mapping[End, EndSide],
    settings: Mapping[str, tuple[str, ...]],
) -> SwitchedFeed:
    """The feed of a switched section: the polarity of the side to which it is set, off where none is."""
    hand = Hand.LEFT if s.rails[0] in road.left else Hand.RIGHT
    wants: list[tuple[When, str]] = []
    for end, mine in (("a", hand), ("b", hand.other)):
        seen = approaches.sides_beyond((s.piece, end), sides)
        if seen is not None:
            # Looking out of the section, its left rail continues as the right rail of an end that is looked into.
            wants.append((approaches.outward((s.piece, end)), seen.wire(mine)))
    drives = drives_in(*(w for w, _ in wants))

    def value(at: Mapping[str, str]) -> str | None:
        found = {wire for when, wire in wants if holds(when, at)}
        return found.pop() if len(found) == 1 else OFF

    both_set: When = both(wants[0][0], wants[1][0]) if len({w for _, w in wants}) == 2 else NEVER
    try:
        d = decide(drives, settings, value, both_set)
    except TooManyDrivesError:
        d = Decision((), (), ALWAYS)
    rows = tuple(TableRow(when, wire) for wire, when in d.rows)
    district = wants[0][1].rpartition(".")[0] if wants else ""
    return SwitchedFeed(s.rails[0], s.output, s.piece, district, rows, d.drives, True, d.undecided, s.at)
