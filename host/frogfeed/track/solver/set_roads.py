"""When a road is set through, as far as a train on it can tell: to the next decision both ways."""

from __future__ import annotations

from collections.abc import Callable

from frogfeed.track.network.approaches import Approaches
from frogfeed.track.network.conditions import ALWAYS, NEVER, Term, When, absorb, both
from frogfeed.track.network.model import End, RailNetwork, Road


class SetRoads:
    """The settings that set each road of a network through."""

    def __init__(self, network: RailNetwork) -> None:
        self._approaches = Approaches(network.joints, network.roads)
        self._section_of = network.section_of
        self._known: dict[str, When] = {}

    def when(self, road: Road) -> When:
        """When a road is set through to the next decision both ways.

        Plain track is no decision of its own: it counts with the pieces that it lies between. Nor are the pieces of a
        switched section, which is live as a whole: there the route leads on to where it leaves the section.
        """
        found = self._known.get(road.name)
        if found is None:
            found = road.when
            look = self._approaches.through if road.when == ALWAYS else self._approaches.outward
            for end in (road.start, road.end):
                if end:
                    found = both(found, self._led((road.piece, end), look, frozenset()))
            self._known[road.name] = found
        return found

    def _led(self, end: End, look: Callable[[End], When], seen: frozenset[End]) -> When:
        """When the track beyond an end is set towards it, as `look` says of ends that lead out of a section."""
        there = self._approaches.across(end)
        inside = self._section_of
        if there is None or end not in inside or there not in inside or inside[end].place != inside[there].place:
            return look(end)
        if there in seen:
            return NEVER
        found: list[Term] = []
        for road, far in self._approaches.roads(there):
            beyond = self._led(far, look, seen | {there}) if far[1] else ALWAYS
            found += both(road.when, beyond)
        return absorb(found)
