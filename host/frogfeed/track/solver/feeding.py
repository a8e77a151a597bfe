"""What is fed: rails that a train needs and no wire reaches, and rails that only a blade or a loose joiner feeds."""

from __future__ import annotations

from collections.abc import Iterator

from frogfeed.track.network.conditions import ALWAYS, Term, join
from frogfeed.track.network.model import Road
from frogfeed.track.solver.answers import Dead, Hangs
from frogfeed.track.solver.contract import Via
from frogfeed.track.solver.hard_ways import Goal
from frogfeed.track.solver.reach import Label, Reach, feeding_terms, uncovered
from frogfeed.track.solver.search import Search
from frogfeed.track.solver.set_roads import SetRoads
from frogfeed.track.solver.tangle import Verdict


class Feeding:
    """Questions about one rail at a time."""

    def __init__(self, search: Search, roads: SetRoads) -> None:
        self._search = search
        self._contracted = search.contracted
        self._roads = roads

    def dead(self) -> Iterator[Dead]:
        """Rails without a feed where a train needs one, each group once with its worst grade."""
        tangled: dict[int, list[int]] = {}
        for g, roads in self._search.needed_by.items():
            if self._search.reach.is_hard(g):
                tangled.setdefault(self._contracted.groups[g].island, []).append(g)
            else:
                yield from self._dead_group(g, roads)
        for i, groups in tangled.items():
            yield from self._dead_tangled(i, groups)

    def _dead_tangled(self, island: int, groups: list[int]) -> Iterator[Dead]:
        """Dead rails of a hard island: first on set roads, then held ones; what time did not allow is said."""
        hard = self._search.islands[island]
        over = self._search.needed_by
        on_roads = [(g, r) for g in groups for r in over[g]]
        answers = hard.dead((g, self._roads.when(r)) for g, r in on_roads)
        found: set[int] = set()
        late: list[int] = []
        for (g, road), (_, verdict, when) in zip(on_roads, answers, strict=True):
            if verdict is Verdict.OUT_OF_TIME:
                late.append(g)
            elif verdict is Verdict.YES and g not in found:
                found.add(g)
                yield Dead(self._search.rails_of([g]), road, when, never=not hard.tapped, held=False)
        rest = [g for g in groups if g not in found]
        for g, verdict, when in hard.dead((g, ALWAYS) for g in rest):
            if verdict is Verdict.YES:
                yield Dead(self._search.rails_of([g]), over[g][0], when, never=False, held=True)
            elif verdict is Verdict.OUT_OF_TIME:
                late.append(g)
        if late:
            self._search.give_up("whether these rails are always fed", self._search.rails_of(sorted(set(late))))

    def _dead_group(self, g: int, roads: list[Road]) -> Iterator[Dead]:
        rails = self._search.rails_of([g])
        terms = feeding_terms(self._search.reach.labels(g))
        if not terms:
            yield Dead(rails, roads[0], (), never=True, held=False)
            return
        if () in terms:
            return
        for road in roads:
            for t in self._roads.when(road):
                found = uncovered(terms, t, self._search.settings)
                if found is not None:
                    yield Dead(rails, road, found, never=False, held=False)
                    return
        found = uncovered(terms, (), self._search.settings)
        if found is not None:
            yield Dead(rails, roads[0], found, never=False, held=True)

    def hangs(self) -> Iterator[Hangs]:
        """Groups that a road needs and that only blade contacts or untrusted joiners feed, most rails first."""
        robust = Reach(self._contracted, robust=True)
        found: list[Hangs] = []
        self._search.give_time()
        for g, roads in self._search.needed_by.items():
            if self._search.reach.is_hard(g) and robust.is_hard(g):
                self._search.give_up("whether these rails hang on a blade or a joiner", self._search.rails_of([g]))
                continue
            hang = self._hang(g, roads, robust)
            if hang is not None:
                found.append(hang)
        yield from sorted(found, key=lambda h: -len(h.rails))

    def _hang(self, g: int, roads: list[Road], robust: Reach) -> Hangs | None:
        firm = feeding_terms(robust.labels(g))
        for road in roads:
            for t in road.when:
                bare = uncovered(firm, t, self._search.settings)
                if bare is None:
                    continue
                if self._search.reach.is_hard(g):
                    hang = self._tangled_hang(g, bare)
                    if hang is not None:
                        return hang
                    continue
                for label in self._search.reach.labels(g):
                    full = join(label.term, bare)
                    if full is not None and label.by is not None:
                        rail = label.by.a if label.by.a_group == g else label.by.b
                        return Hangs(
                            self._search.rails_of([g]),
                            _weakest(label),
                            full,
                            tuple(self._search.paths.to_wire(rail, label)),
                        )
        return None

    def _tangled_hang(self, g: int, bare: Term) -> Hangs | None:
        """A way into a hard island at settings at which no switched feed reaches the group."""
        rails = self._search.rails_of([g])
        verdict, found = self._search.ways.ask([Goal(rails[0], self._search.ways.classes(rails[0]))], bare)
        if verdict is Verdict.OUT_OF_TIME:
            self._search.give_up("whether these rails hang on a blade or a joiner", self._search.rails_of([g]))
        if found is None:
            return None
        (way,) = found.ways
        return Hangs(rails, way.weakest or Via.CONTACT, found.when, way.rails)


def _weakest(label: Label) -> Via:
    """The kind of the first join on a label's way that is no switched feed."""
    here: Label | None = label
    while here is not None and here.by is not None:
        if here.by.via is not Via.SWITCHED:
            return here.by.via
        here = here.before
    return Via.CONTACT
