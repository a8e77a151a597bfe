"""Switched sections: the ends that one feed serves, how each lies to its first rail, and its borders.

A section is a named place, and whatever pieces and places it takes in as far as they are joined to it. Within it left
stays left along the direction of travel, so one polarity of the place says what every end carries.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Iterable, Mapping, Sequence
from collections.abc import Set as AbstractSet
from dataclasses import dataclass

from frogfeed.layout.schema import Hand
from frogfeed.track.network.approaches import Approaches
from frogfeed.track.network.conditions import ALWAYS, NEVER, When, both, either
from frogfeed.track.network.model import End, Joint, Road


@dataclass(frozen=True, slots=True)
class Border:
    """An end of a section whose joint leads out of it.

    `way` is when the section's own roads lead from the place to this end, and `by` the end of the place they start at.
    """

    end: End
    way: When
    by: str


@dataclass(frozen=True, slots=True)
class Zone:
    """One switched section.

    `hands`: for each of its ends, on which hand looking in the place's first rail (left, looking in at its end a) goes
    on. `apart`: what it takes in without touching it.
    """

    place: str
    hands: Mapping[End, Hand]
    borders: tuple[Border, ...]
    apart: tuple[str, ...]


def zones(takes_in: Mapping[str, Sequence[str]], joints: Iterable[Joint], roads: Iterable[Road]) -> dict[str, Zone]:
    """The section of every switched place; `takes_in` names what each has beside itself."""
    if not takes_in:
        return {}
    approaches = Approaches(joints, roads)
    return {place: _zone(place, {place, *others}, approaches) for place, others in takes_in.items()}


def _zone(place: str, members: set[str], approaches: Approaches) -> Zone:
    hands: dict[End, Hand] = {(place, "a"): Hand.LEFT, (place, "b"): Hand.RIGHT}
    queue = deque(hands)
    while queue:
        here = queue.popleft()
        for there in (*(far for _, far in approaches.roads(here)), approaches.across(here)):
            if there is not None and there[0] in members and there[1] and there not in hands:
                hands[there] = hands[here].other
                queue.append(there)
    borders = tuple(
        Border(end, way, by)
        for end, found in _ways(place, hands.keys(), approaches).items()
        if (beyond := approaches.across(end)) is not None and beyond not in hands
        for by, way in found.items()
    )
    return Zone(place, hands, borders, tuple(sorted(members - {e[0] for e in hands})))


def _ways(place: str, inside: AbstractSet[End], approaches: Approaches) -> dict[End, dict[str, When]]:
    """The ends by which a train from the place comes out of a piece, and when, by the end of the place it left by."""
    ways: dict[End, dict[str, When]] = {(place, e): {e: ALWAYS} for e in ("a", "b")}
    queue = deque(ways)
    while queue:
        out = queue.popleft()
        entered = approaches.across(out)
        if entered is None or entered not in inside or entered[0] == place:
            continue
        for road, far in approaches.roads(entered):
            known = ways.setdefault(far, {})
            grown = {by: either(known.get(by, NEVER), both(way, road.when)) for by, way in ways[out].items()}
            if any(known.get(by) != way for by, way in grown.items()):
                known.update(grown)
                queue.append(far)
    return ways
