"""Which bus wire each end of track should carry on each rail: the nearest dropper decides.

Nearest counts gaps: a district reaches as far as its rails conduct, and beyond gaps only where nothing else does. A
gap in one rail, as at the heel of a frog, leaves the other; gaps in both part what may be two districts.
"""

from __future__ import annotations

import heapq
from collections.abc import Callable, Iterable, Mapping, Sequence
from collections.abc import Set as AbstractSet
from dataclasses import dataclass, replace

from frogfeed.layout.schema import Hand, Side
from frogfeed.track.network.model import End, EndSide, Joint, Road

APART = 1_000_000
"""What gaps in both rails of a joint count for, when one in a single rail counts 1: more than there are of those."""


@dataclass(frozen=True, slots=True)
class EndFeed:
    """What a dropper says of an end: the district, and the bus wire of its left rail, looking in."""

    end: End
    district: str
    left: Side


def label_ends(
    end_feeds: Iterable[EndFeed], joints: Iterable[Joint], roads: Iterable[Road], barriers: AbstractSet[End]
) -> dict[End, EndSide]:
    """Label every end that a dropper can be followed to.

    Ends in `barriers` (of switched sections) are not passed: their rails have no polarity of their own.
    """
    near: dict[End, list[tuple[End, int]]] = {}
    for j in joints:
        cost = APART if len(j.gaps) > 1 else len(j.gaps)
        near.setdefault(j.a, []).append((j.b, cost))
        near.setdefault(j.b, []).append((j.a, cost))
    for r in roads:
        a, b = (r.piece, r.start), (r.piece, r.end)
        if r.end and a not in barriers:
            near.setdefault(a, []).append((b, 0))
            near.setdefault(b, []).append((a, 0))
    done: dict[End, EndSide] = {}
    # By gaps; of as many, the way on from the last one found first, and then in the order in which they were found.
    queue = [(0, n, f.end, EndSide(f.district, f.left, 0)) for n, f in enumerate(end_feeds)]
    found = len(queue)
    while queue:
        _, _, end, side = heapq.heappop(queue)
        if end in done or end in barriers:
            continue
        done[end] = side
        turned = side.turned()
        for to, cost in near.get(end, ()):
            if to in done:
                continue
            found += 1
            on = replace(turned, gaps=turned.gaps + cost)
            heapq.heappush(queue, (on.gaps, found if cost else -found, to, on))
    return done


def all_sides(
    sides: Mapping[End, EndSide],
    joints: Sequence[Joint],
    roads: Iterable[Road],
    barriers: AbstractSet[End],
    district_of: Callable[[str], str],
) -> dict[End, EndSide]:
    """`sides` with every end that no dropper labels: left A in the direction of the first line met.

    `district_of` says the district of a piece or place.
    """
    roads = tuple(roads)
    found = dict(sides)
    for end in (end for j in joints for end in (j.b, j.a)):
        if end not in found and end not in barriers:
            seed = EndFeed(end, district_of(end[0]), Side.A)
            found |= {e: s for e, s in label_ends([seed], joints, roads, barriers).items() if e not in found}
    return found


def road_wire(road: Road, hand: Hand, sides: Mapping[End, EndSide]) -> str | None:
    """The bus wire that a road's rail of this hand should carry, from the end whose dropper is nearer."""
    start = sides.get((road.piece, road.start))
    end = sides.get((road.piece, road.end))
    if end is not None and (start is None or end.gaps < start.gaps):
        start = end.turned()
    return None if start is None else start.wire(hand)
