"""The ways a train can go from one place or piece to another without turning round, and the settings each needs."""

from __future__ import annotations

from collections import deque
from collections.abc import Collection, Mapping
from dataclasses import dataclass

from frogfeed.track.network.approaches import Approaches
from frogfeed.track.network.conditions import holds
from frogfeed.track.network.model import End, RailNetwork

MOST_STEPS = 50_000
"""Roads looked at before the search is given up."""


@dataclass(frozen=True, slots=True)
class Way:
    """One way: the pieces and places it runs over, in order, and the drives with their settings, in that order."""

    over: tuple[str, ...]
    settings: tuple[tuple[str, str], ...]


class TooManyWaysError(Exception):
    """The track branches so often between the two that not all ways were looked at."""


def shortest_ways(network: RailNetwork, start: str, goal: str, via: Collection[str] = ()) -> tuple[Way, ...]:
    """The ways over the fewest pieces and places, each with the fewest settings it needs; empty where there is none.

    A way runs over no piece or place twice and over all in `via`, and never needs a forbidden combination. Raises
    TooManyWaysError where the search is cut off before it knows.
    """
    approaches = Approaches(network.joints, network.roads)
    found: dict[tuple[str, ...], Way] = {}
    queue: deque[tuple[End, tuple[str, ...], Mapping[str, str]]] = deque(
        (end, (start,), {}) for j in network.joints for end in (j.a, j.b) if end[0] == start
    )
    shortest, steps = 0, 0
    while queue:
        end, over, settings = queue.popleft()
        if shortest and len(over) >= shortest:
            break
        there = approaches.across(end)
        if there is None or there[0] in over:
            continue
        piece = there[0]
        if piece == goal:
            if set(via) <= set(over):
                way = Way((*over, goal), tuple(settings.items()))
                best = found.setdefault(way.over, way)
                if len(way.settings) < len(best.settings):
                    found[way.over] = way
                shortest = len(over) + 1
            continue
        for road, far in approaches.roads(there):
            for term in road.when:
                steps += 1
                if steps > MOST_STEPS:
                    raise TooManyWaysError
                if any(settings.get(drive, setting) != setting for drive, setting in term):
                    continue
                now = {**settings, **dict(term)}
                if far[1] and not holds(network.forbidden, now):
                    queue.append((far, (*over, piece), now))
    return tuple(found.values())
