"""Shorts: which wires that must stay apart can be joined, at which settings, and what only follows from that."""

from __future__ import annotations

from collections.abc import Iterator
from functools import cached_property

from frogfeed.track.network.conditions import Term, When, join
from frogfeed.track.solver.answers import Short
from frogfeed.track.solver.reach import Label
from frogfeed.track.solver.search import Search
from frogfeed.track.solver.tangle import Verdict


class Shorts:
    """The shorts of a network. What they touch is no cause of anything else until they are cured."""

    def __init__(self, search: Search) -> None:
        self._search = search
        self._contracted = search.contracted
        self._paths = search.paths
        self._bad: set[int] = set()
        """Groups that are short in themselves."""
        self._islands: set[int] = set()
        """Hard islands that hold a short."""
        self.causes = tuple(self._find())
        """Root causes: groups fed for good by two wires, contacts between fed groups, ways through islands.

        A group that is short in itself gives one cause, and so does a hard island: cured, it may show another.
        """

    def _find(self) -> Iterator[Short]:
        c = self._contracted
        for g in c.groups:
            wires = sorted(g.fed)
            for a, b in ((a, b) for i, a in enumerate(wires) for b in wires[i + 1 :]):
                if not c.same(a, b):
                    self._bad.add(g.index)
                    yield Short((a, b), (), (a, *self._paths.within(g.fed[a], g.fed[b]), b))
                    break
        for j in c.joins:
            yield from self._direct(j.a_group, j.b_group, j.a, j.b, j.when)
        for i, members in enumerate(c.islands):
            hard = self._search.islands.get(i)
            if hard is None:
                yield from self._in_island(members)
                continue
            verdict, short = hard.short()
            if short is not None:
                self._islands.add(i)
                yield short
            elif verdict is Verdict.OUT_OF_TIME:
                self._search.give_up("whether two bus wires can be joined", self._search.rails_of(members))

    def _direct(self, a: int, b: int | None, a_rail: str, b_rail: str, when: When) -> Iterator[Short]:
        """A join whose sides are both fed for good, by different wires."""
        groups = self._contracted.groups
        fed_a = groups[a].fed
        fed_b = {b_rail: ""} if b is None else groups[b].fed
        if not fed_a or not fed_b or a in self._bad or b in self._bad:
            return
        for wa in sorted(fed_a):
            for wb in sorted(fed_b):
                if not self._contracted.same(wa, wb):
                    near = self._paths.within(fed_a[wa], a_rail)
                    far = [] if b is None else self._paths.within(b_rail, fed_b[wb])
                    for t in when:
                        yield Short((wa, wb), t, (wa, *near, *far, wb))
                    return

    def _in_island(self, members: list[int]) -> Iterator[Short]:
        """Minimal settings that join two wires through an island; one answer a pair of wires and term."""
        found: dict[tuple[str, str, Term], tuple[int, Label, Label]] = {}
        for g in members:
            labels = [x for x in self._search.reach.labels(g) if not self.through(x)]
            for i, x in enumerate(labels):
                for y in labels[i + 1 :]:
                    if self._contracted.same(x.wire, y.wire):
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

    def tainted(self, *labels: Label, when: Term) -> bool:
        """Whether wires got here by way of something that is a short in itself at these settings: cure that first."""
        if any(self.through(label) for label in labels):
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
        for s in self.causes:
            for rail in s.path:
                g = self._contracted.group_of.get(rail)
                if g is not None and s.when:
                    found.setdefault(g, []).append(s.when)
        return found

    def through(self, label: Label) -> bool:
        """Whether a label's way begins in a group that is short in itself: no root cause of another short."""
        here: Label | None = label
        while here is not None:
            if here.group in self._bad:
                return True
            here = here.before
        return False

    def _joined(self, g: int, p: Label, q: Label) -> tuple[str, ...]:
        """The path from p's wire through group g to q's wire."""
        start = p.by
        rail = self._contracted.groups[g].rails[0]
        if start is not None:
            rail = start.a if start.a_group == g else start.b
        return (*reversed(self._paths.to_wire(rail, p)), *self._paths.to_wire(rail, q)[1:])

    def shorted_island(self, *rails: str) -> bool:
        """Whether a short was found in the hard island of one of these rails: cured, all else there may change."""
        return any(self._search.group(r).island in self._islands for r in rails)
