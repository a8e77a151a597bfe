"""Two rails at once: what a wheel joins where it rolls over a boundary, and whether a road's rails make a circuit."""

from __future__ import annotations

import operator
from collections.abc import Callable, Iterator
from dataclasses import dataclass

from frogfeed.track.network.conditions import Term, When, join
from frogfeed.track.network.model import Bridge, Road
from frogfeed.track.solver.answers import Clash, NoCircuit
from frogfeed.track.solver.hard_ways import Goal
from frogfeed.track.solver.reach import Label
from frogfeed.track.solver.search import Search
from frogfeed.track.solver.set_roads import SetRoads
from frogfeed.track.solver.shorts import Shorts
from frogfeed.track.solver.tangle import Verdict


@dataclass(frozen=True, slots=True)
class _Carried:
    """A class of wires that a rail may carry under `term`; `label` tells the way to the wire where it is known."""

    rail: str
    cls: str
    term: Term
    label: Label | None


class Pairs:
    """Questions about two rails at the same settings."""

    def __init__(self, search: Search, roads: SetRoads, shorts: Shorts) -> None:
        self._search = search
        self._contracted = search.contracted
        self._roads = roads
        self._shorts = shorts

    def clashes(self, bridges: tuple[Bridge, ...] | None = None) -> Iterator[Clash]:
        """Bridges where a wheel would join two wires that must stay apart."""
        self._search.give_time()
        for b in self._search.network.bridges if bridges is None else bridges:
            yield from self._clash(b)

    def _clash(self, bridge: Bridge) -> Iterator[Clash]:
        if self._search.tangled(bridge.a, bridge.b):
            question = "whether a wheel here joins two bus wires"
            found = self._both(question, bridge.a, bridge.b, operator.ne, bridge.when)
            if found is not None:
                yield Clash(bridge, *found)
            return
        for x in self._search.labels_of(bridge.a):
            for y in self._search.labels_of(bridge.b):
                if self._contracted.same(x.wire, y.wire):
                    continue
                t = join(x.term, y.term)
                if t is None:
                    continue
                for w in bridge.when:
                    full = join(t, w)
                    if full is not None and not self._shorts.tainted(x, y, when=full):
                        way = self._search.paths.across(bridge.a, x, bridge.b, y)
                        yield Clash(bridge, (x.wire, y.wire), full, way)
                        return

    def no_circuit(self) -> Iterator[NoCircuit]:
        """Roads whose two rails carry one wire, or wires that no common joins into a circuit."""
        self._search.give_time()
        for road in self._search.network.roads:
            found = self._one_wire(road)
            if found is not None:
                yield found

    def _one_wire(self, road: Road) -> NoCircuit | None:
        of = self._contracted.group_of
        lefts = {of[r]: r for r in road.left}
        rights = {of[r]: r for r in road.right}
        worst: NoCircuit | None = None
        for lg, left in lefts.items():
            for rg, right in rights.items():
                if lg == rg:
                    continue
                if self._search.tangled(left, right):
                    hard = self._tangled_one_wire(road, left, right)
                    if hard is not None and not hard.held:
                        return hard
                    worst = worst or hard
                    continue
                for x in self._search.reach.labels(lg):
                    for y in self._search.reach.labels(rg):
                        if self._contracted.circuit(x.wire, y.wire):
                            continue
                        t = join(x.term, y.term)
                        if t is None:
                            continue
                        for held, when in ((False, self._roads.when(road)), (True, road.when)):
                            full = next((f for w in when if (f := join(t, w)) is not None), None)
                            if full is not None and not self._shorts.tainted(x, y, when=full):
                                way = self._search.paths.across(left, x, right, y)
                                found = NoCircuit(road, held, (x.wire, y.wire), full, way)
                                if not held:
                                    return found
                                worst = worst or found
        return worst

    def _tangled_one_wire(self, road: Road, left: str, right: str) -> NoCircuit | None:
        """The same where a hard island feeds one of the two."""
        question = "whether both rails can carry one bus wire"
        for held, when in ((False, self._roads.when(road)), (True, road.when)):
            found = self._both(question, left, right, self._contracted.no_circuit, when)
            if found is not None:
                return NoCircuit(road, held, *found)
        return None

    def _both(
        self, question: str, a: str, b: str, differ: Callable[[str, str], bool], within: When
    ) -> tuple[tuple[str, str], Term, tuple[str, ...]] | None:
        """Settings within a condition at which two rails, one of them in a hard island, carry wires that `differ`.

        The wires, the settings and the way from wire to wire. What time does not allow, or a short may hide, is noted.
        """
        if self._shorts.shorted_island(a, b):
            self._search.give_up(question, (a, b))
            return None
        late = False
        for x in self._carries(a):
            for y in self._carries(b):
                if not differ(x.cls, y.cls):
                    continue
                goals = [Goal(c.rail, {c.cls}) for c in (x, y) if c.label is None]
                for w in within:
                    t = join(x.term, y.term)
                    full = None if t is None else join(t, w)
                    if full is None:
                        continue
                    verdict, found = self._search.ways.ask(goals, full)
                    late |= verdict is Verdict.OUT_OF_TIME
                    if found is None:
                        continue
                    rest = [way.rails for way in found.ways]
                    first = rest.pop(0) if x.label is None else tuple(self._search.paths.to_wire(a, x.label))
                    second = rest.pop(0) if y.label is None else tuple(self._search.paths.to_wire(b, y.label))
                    return (first[-1], second[-1]), found.when, (*reversed(first), *second)
        if late:
            self._search.give_up(question, (a, b))
        return None

    def _carries(self, rail: str) -> list[_Carried]:
        """The classes of wires that a rail may carry; the label too where the search has an answer."""
        if self._search.tangled(rail):
            return [_Carried(rail, c, (), None) for c in sorted(self._search.ways.classes(rail))]
        labels = [x for x in self._search.labels_of(rail) if not self._shorts.through(x)]
        return [_Carried(rail, self._contracted.wire_class[x.wire], x.term, x) for x in labels]
