"""Return loops: ways by which a track comes back to itself turned round, so that left meets right.

Every end gets the sign "left looking in is like the start's" or its opposite; a joint or a road turns the sign. A
loop with an odd number of turns cannot carry a fixed polarity, whatever the feeds, and needs a reversing section.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Iterator
from dataclasses import dataclass

from frogfeed.track.network.model import End, RailNetwork


@dataclass(frozen=True, slots=True)
class ReturnLoop:
    """The ends round one loop in order, and the named stretches of plain track on it."""

    ends: tuple[End, ...]
    places: tuple[str, ...]

    @property
    def pieces(self) -> tuple[str, ...]:
        """The pieces and places round the loop, in order, each once."""
        return tuple(dict.fromkeys(e[0] for e in self.ends))


def return_loops(network: RailNetwork, place_names: frozenset[str]) -> Iterator[ReturnLoop]:
    """Every independent return loop that no switched section breaks; linear in the size of the railway.

    A section breaks what crosses its border: within it, and outside, a track can still come back turned round.
    """
    section = {end: s.place for end, s in network.section_of.items()}
    near: dict[End, list[End]] = {}

    def link(a: End, b: End) -> None:
        if section.get(a) == section.get(b):
            near.setdefault(a, []).append(b)
            near.setdefault(b, []).append(a)

    for j in network.joints:
        link(j.a, j.b)
    for r in network.roads:
        if r.end:
            link((r.piece, r.start), (r.piece, r.end))
    sign: dict[End, bool] = {}
    before: dict[End, End | None] = {}
    for start in near:
        if start in sign:
            continue
        sign[start], before[start] = True, None
        queue = deque([start])
        while queue:
            here = queue.popleft()
            for there in near[here]:
                if there not in sign:
                    sign[there], before[there] = not sign[here], here
                    queue.append(there)
                elif sign[there] == sign[here] and here <= there:
                    ends = _round(here, there, before)
                    yield ReturnLoop(ends, tuple(dict.fromkeys(e[0] for e in ends if e[0] in place_names)))


def _round(a: End, b: End, before: dict[End, End | None]) -> tuple[End, ...]:
    """The loop through the join a-b: from a up the search tree to where b's way meets it, and down to b."""
    up: list[End] = []
    here: End | None = a
    while here is not None:
        up.append(here)
        here = before[here]
    place = {e: i for i, e in enumerate(up)}
    down: list[End] = []
    here = b
    while here is not None and here not in place:
        down.append(here)
        here = before[here]
    top = place[here] if here is not None else len(up) - 1
    return (*up[: top + 1], *reversed(down))
