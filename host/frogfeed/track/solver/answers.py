"""The solver's answers as data: what is short, dead, clashing, hanging on a contact, for which settings."""

from __future__ import annotations

import operator
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from functools import cached_property

from frogfeed.track.network.approaches import Approaches
from frogfeed.track.network.conditions import ALWAYS, NEVER, Term, When, absorb, both, join
from frogfeed.track.network.model import Bridge, End, RailNetwork, Road, SwitchedFeed
from frogfeed.track.solver.contract import Contracted, Via
from frogfeed.track.solver.hard import HardIsland
from frogfeed.track.solver.hard_ways import Goal, HardWays
from frogfeed.track.solver.paths import Paths
from frogfeed.track.solver.reach import Label, Reach, feeding_terms, uncovered
from frogfeed.track.solver.tangle import Verdict


@dataclass(frozen=True, slots=True)
class Short:
    """Two wires that must stay apart are joined under `when` (the empty term: always), along `path`.

    `smallest` is False where time ran out before the term was proven to name no drive too many.
    """

    wires: tuple[str, str]
    when: Term
    path: tuple[str, ...]
    smallest: bool = True


@dataclass(frozen=True, slots=True)
class NotProven:
    """A question about some rails that could not be decided in the time allowed."""

    question: str
    rails: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Dead:
    """A group without a feed. `road` is the road that needs it and `when` settings that show it.

    `never` is fed in no setting; `held` is dead only while the road over it is set against.
    """

    rails: tuple[str, ...]
    road: Road | None
    when: Term
    never: bool
    held: bool


@dataclass(frozen=True, slots=True)
class Clash:
    """A wheel at `bridge` joins two wires under `when`, along `path`."""

    bridge: Bridge
    wires: tuple[str, str]
    when: Term
    path: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class NoCircuit:
    """Both rails of a road carry one wire, or wires of districts without a common, so nothing runs there.

    `held`: only while the road is set against.
    """

    road: Road
    held: bool
    wires: tuple[str, str]
    when: Term
    path: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Hangs:
    """Rails fed only through blade contacts or untrusted joiners for the road that needs them."""

    rails: tuple[str, ...]
    via: Via
    when: Term
    path: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class _Carried:
    """A class of wires that a rail may carry under `term`; `label` tells the way to the wire where it is known."""

    rail: str
    cls: str
    term: Term
    label: Label | None


class Solver:
    """All questions about one network, for all settings at once. Islands too hard to search are in `hard`."""

    def __init__(self, network: RailNetwork, budget: int | None = None) -> None:
        self.network = network
        self.settings = {d: tuple(s) for d, s in network.drives.items()}
        self.contracted = Contracted(network)
        self.reach = Reach(self.contracted) if budget is None else Reach(self.contracted, budget=budget)
        self.paths = Paths(self.contracted)
        self.approaches = Approaches(network.joints, network.roads)
        self._routes: dict[str, When] = {}
        self._shorts: list[Short] | None = None
        self.not_proven: list[NotProven] = []
        self._islands = {
            i: HardIsland(self.contracted, self.contracted.islands[i], self.settings) for i in sorted(self.reach.hard)
        }
        self._bad: set[int] = set()
        self._short_islands: set[int] = set()

    @property
    def hard(self) -> tuple[tuple[str, ...], ...]:
        """The rails of each island that the search gave up on."""
        c = self.contracted
        return tuple(tuple(r for g in c.islands[i] for r in c.groups[g].rails) for i in sorted(self.reach.hard))

    def route_when(self, road: Road) -> When:
        """When a road is set through to the next decision both ways.

        Plain track is no decision of its own: it counts with the pieces that it lies between. Nor are the pieces of a
        switched section, which is live as a whole: there the route leads on to where it leaves the section.
        """
        found = self._routes.get(road.name)
        if found is None:
            found = road.when
            look = self.approaches.through if road.when == ALWAYS else self.approaches.outward
            for end in (road.start, road.end):
                if end:
                    found = both(found, self._led((road.piece, end), look, frozenset()))
            self._routes[road.name] = found
        return found

    def _led(self, end: End, look: Callable[[End], When], seen: frozenset[End]) -> When:
        """When the track beyond an end is set towards it, as `look` says of ends that lead out of a section."""
        there = self.approaches.across(end)
        inside = self.network.section_of
        if there is None or end not in inside or there not in inside or inside[end].place != inside[there].place:
            return look(end)
        if there in seen:
            return NEVER
        found: list[Term] = []
        for road, far in self.approaches.roads(there):
            beyond = self._led(far, look, seen | {there}) if far[1] else ALWAYS
            found += both(road.when, beyond)
        return absorb(found)

    def labels_of(self, rail: str) -> list[Label]:
        """The labels of the group of a rail."""
        return self.reach.labels(self.contracted.group_of[rail])

    def shorts(self) -> list[Short]:
        """Root causes: groups fed for good by two wires, contacts between fed groups, ways through islands.

        A group that is short in itself gives one cause, and so does a hard island: cured, it may show another.
        """
        if self._shorts is None:
            self._shorts = list(self._find_shorts())
        return self._shorts

    def _find_shorts(self) -> Iterator[Short]:
        c = self.contracted
        bad = self._bad
        for g in c.groups:
            wires = sorted(g.fed)
            for a, b in ((a, b) for i, a in enumerate(wires) for b in wires[i + 1 :]):
                if not c.same(a, b):
                    bad.add(g.index)
                    yield Short((a, b), (), (a, *self.paths.within(g.fed[a], g.fed[b]), b))
                    break
        for j in c.joins:
            yield from self._direct(j.a_group, j.b_group, j.a, j.b, j.when, bad)
        for i, members in enumerate(c.islands):
            hard = self._islands.get(i)
            if hard is None:
                yield from self._in_island(members, bad)
                continue
            verdict, short = hard.short()
            if short is not None:
                self._short_islands.add(i)
                yield Short(short.wires, short.when, short.path, short.smallest)
            elif verdict is Verdict.OUT_OF_TIME:
                self._give_up("whether two bus wires can be joined", members)

    def _give_up(self, question: str, members: list[int]) -> None:
        rails = tuple(r for g in members for r in self.contracted.groups[g].rails)
        self.not_proven.append(NotProven(question, rails))

    def _direct(self, a: int, b: int | None, a_rail: str, b_rail: str, when: When, bad: set[int]) -> Iterator[Short]:
        """A join whose sides are both fed for good, by different wires."""
        groups = self.contracted.groups
        fed_a = groups[a].fed
        fed_b = {b_rail: ""} if b is None else groups[b].fed
        if not fed_a or not fed_b or a in bad or b in bad:
            return
        for wa in sorted(fed_a):
            for wb in sorted(fed_b):
                if not self.contracted.same(wa, wb):
                    near = self.paths.within(fed_a[wa], a_rail)
                    far = [] if b is None else self.paths.within(b_rail, fed_b[wb])
                    for t in when:
                        yield Short((wa, wb), t, (wa, *near, *far, wb))
                    return

    def _in_island(self, members: list[int], bad: set[int]) -> Iterator[Short]:
        """Minimal settings that join two wires through an island; one answer a pair of wires and term."""
        found: dict[tuple[str, str, Term], tuple[int, Label, Label]] = {}
        for g in members:
            labels = [x for x in self.reach.labels(g) if not self._through(x, bad)]
            for i, x in enumerate(labels):
                for y in labels[i + 1 :]:
                    if self.contracted.same(x.wire, y.wire):
                        continue
                    t = join(x.term, y.term)
                    if t is not None:
                        p, q = (x, y) if x.wire < y.wire else (y, x)
                        found.setdefault((p.wire, q.wire, t), (g, p, q))
        for (wa, wb, t), (g, p, q) in found.items():
            terms = set(t)
            if any(o != t and (a, b) == (wa, wb) and terms.issuperset(o) for a, b, o in found):
                continue
            yield Short((wa, wb), t, self._joined(g, p, q))

    def _follows(self, *labels: Label, when: Term) -> bool:
        """Whether wires got here by way of something that is a short in itself at these settings."""
        self.shorts()
        if any(self._through(label, self._bad) for label in labels):
            return True
        if not self._shorted:
            return False
        terms = set(when)
        for label in labels:
            here: Label | None = label
            while here is not None:
                if any(terms.issuperset(t) for t in self._shorted.get(here.group, ())):
                    return True
                here = here.before
        return False

    @cached_property
    def _shorted(self) -> dict[int, list[Term]]:
        """The settings at which each group on the way of a short is shorted."""
        found: dict[int, list[Term]] = {}
        for s in self.shorts():
            for rail in s.path:
                g = self.contracted.group_of.get(rail)
                if g is not None and s.when:
                    found.setdefault(g, []).append(s.when)
        return found

    def _through(self, label: Label, bad: set[int]) -> bool:
        """Whether a label's way begins in a group that is short in itself: no root cause of another short."""
        here: Label | None = label
        while here is not None:
            if here.group in bad:
                return True
            here = here.before
        return False

    def _joined(self, g: int, p: Label, q: Label) -> tuple[str, ...]:
        """The path from p's wire through group g to q's wire."""
        start = p.by
        rail = self.contracted.groups[g].rails[0]
        if start is not None:
            rail = start.a if start.a_group == g else start.b
        return (*reversed(self.paths.to_wire(rail, p)), *self.paths.to_wire(rail, q)[1:])

    def joined_outputs(self) -> Iterator[tuple[SwitchedFeed, SwitchedFeed]]:
        """Pairs of different switched outputs that feed what conducts to each other for good, one pair a conductor."""
        first: dict[int, SwitchedFeed] = {}
        told: set[int] = set()
        for s in self.network.switched:
            g = self.contracted.group_of[s.rail]
            known = first.setdefault(g, s)
            if known.output != s.output and g not in told:
                told.add(g)
                yield known, s

    def dead(self) -> Iterator[Dead]:
        """Rails without a feed where a train needs one, each group once with its worst grade."""
        over: dict[int, list[Road]] = {}
        for road in self.network.roads:
            for rail in (*road.left, *road.right):
                g = self.contracted.group_of[rail]
                if not self.contracted.groups[g].fed:
                    over.setdefault(g, []).append(road)
        tangled: dict[int, list[int]] = {}
        for g, roads in over.items():
            if self.reach.is_hard(g):
                tangled.setdefault(self.contracted.groups[g].island, []).append(g)
            else:
                yield from self._dead_group(g, roads)
        for i, groups in tangled.items():
            yield from self._dead_tangled(i, groups, over)

    def _dead_tangled(self, island: int, groups: list[int], over: Mapping[int, list[Road]]) -> Iterator[Dead]:
        """Dead rails of a hard island: first on set roads, then held ones; what time did not allow is said."""
        hard = self._islands[island]
        on_roads = [(g, r) for g in groups for r in over[g]]
        answers = hard.dead((g, self.route_when(r)) for g, r in on_roads)
        found: set[int] = set()
        late: list[int] = []
        for (g, road), (_, verdict, when) in zip(on_roads, answers, strict=True):
            if verdict is Verdict.OUT_OF_TIME:
                late.append(g)
            elif verdict is Verdict.YES and g not in found:
                found.add(g)
                yield Dead(tuple(self.contracted.groups[g].rails), road, when, never=not hard.tapped, held=False)
        rest = [g for g in groups if g not in found]
        for g, verdict, when in hard.dead((g, ALWAYS) for g in rest):
            if verdict is Verdict.YES:
                yield Dead(tuple(self.contracted.groups[g].rails), over[g][0], when, never=False, held=True)
            elif verdict is Verdict.OUT_OF_TIME:
                late.append(g)
        if late:
            self._give_up("whether these rails are always fed", sorted(set(late)))

    def _dead_group(self, g: int, roads: list[Road]) -> Iterator[Dead]:
        rails = tuple(self.contracted.groups[g].rails)
        terms = feeding_terms(self.reach.labels(g))
        if not terms:
            yield Dead(rails, roads[0], (), never=True, held=False)
            return
        if () in terms:
            return
        for road in roads:
            for t in self.route_when(road):
                found = uncovered(terms, t, self.settings)
                if found is not None:
                    yield Dead(rails, road, found, never=False, held=False)
                    return
        found = uncovered(terms, (), self.settings)
        if found is not None:
            yield Dead(rails, roads[0], found, never=False, held=True)

    def clashes(self, bridges: tuple[Bridge, ...] | None = None) -> Iterator[Clash]:
        """Bridges where a wheel would join two wires that must stay apart."""
        if self.reach.hard:
            self._ways.restart()
        for b in self.network.bridges if bridges is None else bridges:
            yield from self._clash(b)

    def _tangled(self, *rails: str) -> bool:
        return any(self.reach.is_hard(self.contracted.group_of[r]) for r in rails)

    @cached_property
    def _ways(self) -> HardWays:
        return HardWays(self.contracted, sorted(self.reach.hard), self.settings, self.paths)

    def _shorted_island(self, *rails: str) -> bool:
        """Whether a short was found in the hard island of one of these rails: cured, all else there may change."""
        self.shorts()
        return any(self.contracted.groups[self.contracted.group_of[r]].island in self._short_islands for r in rails)

    def _both(
        self, question: str, a: str, b: str, differ: Callable[[str, str], bool], within: When
    ) -> tuple[tuple[str, str], Term, tuple[str, ...]] | None:
        """Settings within a condition at which two rails, one of them in a hard island, carry wires that `differ`.

        The wires, the settings and the way from wire to wire. What time does not allow, or a short may hide, is noted.
        """
        if self._shorted_island(a, b):
            self.not_proven.append(NotProven(question, (a, b)))
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
                    verdict, found = self._ways.ask(goals, full)
                    late |= verdict is Verdict.OUT_OF_TIME
                    if found is None:
                        continue
                    rest = [way.rails for way in found.ways]
                    first = rest.pop(0) if x.label is None else tuple(self.paths.to_wire(a, x.label))
                    second = rest.pop(0) if y.label is None else tuple(self.paths.to_wire(b, y.label))
                    return (first[-1], second[-1]), found.when, (*reversed(first), *second)
        if late:
            self.not_proven.append(NotProven(question, (a, b)))
        return None

    def _carries(self, rail: str) -> list[_Carried]:
        """The classes of wires that a rail may carry; the label too where the search has an answer."""
        if self._tangled(rail):
            return [_Carried(rail, c, (), None) for c in sorted(self._ways.classes(rail))]
        labels = [x for x in self.labels_of(rail) if not self._through(x, self._bad)]
        return [_Carried(rail, self.contracted.wire_class[x.wire], x.term, x) for x in labels]

    def _clash(self, bridge: Bridge) -> Iterator[Clash]:
        if self._tangled(bridge.a, bridge.b):
            question = "whether a wheel here joins two bus wires"
            found = self._both(question, bridge.a, bridge.b, operator.ne, bridge.when)
            if found is not None:
                yield Clash(bridge, *found)
            return
        for x in self.labels_of(bridge.a):
            for y in self.labels_of(bridge.b):
                if self.contracted.same(x.wire, y.wire):
                    continue
                t = join(x.term, y.term)
                if t is None:
                    continue
                for w in bridge.when:
                    full = join(t, w)
                    if full is not None and not self._follows(x, y, when=full):
                        way = (*reversed(self.paths.to_wire(bridge.a, x)), *self.paths.to_wire(bridge.b, y))
                        yield Clash(bridge, (x.wire, y.wire), full, tuple(way))
                        return

    def no_circuit(self) -> Iterator[NoCircuit]:
        """Roads whose two rails carry one wire, or wires that no common joins into a circuit."""
        if self.reach.hard:
            self._ways.restart()
        for road in self.network.roads:
            found = self._one_wire(road)
            if found is not None:
                yield found

    def _one_wire(self, road: Road) -> NoCircuit | None:
        of = self.contracted.group_of
        lefts = {of[r]: r for r in road.left}
        rights = {of[r]: r for r in road.right}
        worst: NoCircuit | None = None
        for lg, left in lefts.items():
            for rg, right in rights.items():
                if lg == rg:
                    continue
                if self._tangled(left, right):
                    hard = self._tangled_one_wire(road, left, right)
                    if hard is not None and not hard.held:
                        return hard
                    worst = worst or hard
                    continue
                for x in self.reach.labels(lg):
                    for y in self.reach.labels(rg):
                        if self.contracted.circuit(x.wire, y.wire):
                            continue
                        t = join(x.term, y.term)
                        if t is None:
                            continue
                        for held, when in ((False, self.route_when(road)), (True, road.when)):
                            full = next((f for w in when if (f := join(t, w)) is not None), None)
                            if full is not None and not self._follows(x, y, when=full):
                                way = (*reversed(self.paths.to_wire(left, x)), *self.paths.to_wire(right, y))
                                found = NoCircuit(road, held, (x.wire, y.wire), full, tuple(way))
                                if not held:
                                    return found
                                worst = worst or found
        return worst

    def _tangled_one_wire(self, road: Road, left: str, right: str) -> NoCircuit | None:
        """The same where a hard island feeds one of the two."""
        question = "whether both rails can carry one bus wire"
        for held, when in ((False, self.route_when(road)), (True, road.when)):
            found = self._both(question, left, right, self.contracted.no_circuit, when)
            if found is not None:
                return NoCircuit(road, held, *found)
        return None

    def hangs(self) -> Iterator[Hangs]:
        """Groups that a road needs and that only blade contacts or untrusted joiners feed, most rails first."""
        robust = Reach(self.contracted, robust=True)
        found: list[Hangs] = []
        over: dict[int, list[Road]] = {}
        for road in self.network.roads:
            for rail in (*road.left, *road.right):
                g = self.contracted.group_of[rail]
                if not self.contracted.groups[g].fed:
                    over.setdefault(g, []).append(road)
        if self.reach.hard:
            self._ways.restart()
        for g, roads in over.items():
            if self.reach.is_hard(g) and robust.is_hard(g):
                self._give_up("whether these rails hang on a blade or a joiner", [g])
                continue
            hang = self._hang(g, roads, robust)
            if hang is not None:
                found.append(hang)
        yield from sorted(found, key=lambda h: -len(h.rails))

    def _hang(self, g: int, roads: list[Road], robust: Reach) -> Hangs | None:
        firm = feeding_terms(robust.labels(g))
        for road in roads:
            for t in road.when:
                bare = uncovered(firm, t, self.settings)
                if bare is None:
                    continue
                if self.reach.is_hard(g):
                    hang = self._tangled_hang(g, bare)
                    if hang is not None:
                        return hang
                    continue
                for label in self.reach.labels(g):
                    full = join(label.term, bare)
                    if full is not None and label.by is not None:
                        rail = label.by.a if label.by.a_group == g else label.by.b
                        return Hangs(
                            tuple(self.contracted.groups[g].rails),
                            self._weakest(label),
                            full,
                            tuple(self.paths.to_wire(rail, label)),
                        )
        return None

    def _tangled_hang(self, g: int, bare: Term) -> Hangs | None:
        """A way into a hard island at settings at which no switched feed reaches the group."""
        rails = tuple(self.contracted.groups[g].rails)
        verdict, found = self._ways.ask([Goal(rails[0], self._ways.classes(rails[0]))], bare)
        if verdict is Verdict.OUT_OF_TIME:
            self._give_up("whether these rails hang on a blade or a joiner", [g])
        if found is None:
            return None
        (way,) = found.ways
        return Hangs(rails, way.weakest or Via.CONTACT, found.when, way.rails)

    def _weakest(self, label: Label) -> Via:
        here: Label | None = label
        while here is not None and here.by is not None:
            if here.by.via is not Via.SWITCHED:
                return here.by.via
            here = here.before
        return Via.CONTACT
