"""Ways from bus wires to rails in islands too tangled to search: one rail, or two at the same settings.

Two flows over the same joins, one for each rail asked about, share the settings. Each group on a way has one join in
and one out, so a way is traced back from its rail to a wire without going round. All questions go to one incremental
solver as assumptions and share a limit of time; running out is an answer of its own.
"""

from __future__ import annotations

import time
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property

from pysat.solvers import Solver as Sat

from frogfeed.track.conditions import Term, join
from frogfeed.track.contract import Contracted, Via
from frogfeed.track.paths import Paths
from frogfeed.track.tangle import Pool, Tangle, Verdict, at_most_one, solve

FLOWS = (0, 1)


@dataclass(frozen=True, slots=True)
class Goal:
    """A rail to be reached by a wire of one of these classes."""

    rail: str
    classes: Collection[str]


@dataclass(frozen=True, slots=True)
class Way:
    """From a rail to a wire, rail by rail; `weakest` is the first join on it that is no switched feed."""

    wire: str
    rails: tuple[str, ...]
    weakest: Via | None


@dataclass(frozen=True, slots=True)
class Ways:
    """A way for each goal, all at settings within `when`."""

    ways: tuple[Way, ...]
    when: Term


class HardWays:
    """Questions about all hard islands together. `seconds` limits each kind of question: see `restart`."""

    def __init__(
        self,
        contracted: Contracted,
        islands: Iterable[int],
        settings: Mapping[str, tuple[str, ...]],
        paths: Paths,
        seconds: float = 5.0,
    ) -> None:
        self._c = contracted
        self._settings = settings
        self._paths = paths
        self._seconds = seconds
        self._tangle = Tangle(contracted, [g for i in islands for g in contracted.islands[i]])
        self._pool = Pool()
        self._deadline = 0.0
        self.restart()

    def restart(self) -> None:
        """Give the questions that follow their own time."""
        self._deadline = time.monotonic() + self._seconds

    def classes(self, rail: str) -> frozenset[str]:
        """The classes of wires that could reach a rail if every join on the way conducted."""
        return frozenset(self._reached.get(self._c.group_of[rail], ()))

    @cached_property
    def _reached(self) -> Mapping[int, set[str]]:
        found: dict[int, set[str]] = {}
        out: dict[int, list[int]] = {}
        for arc in self._tangle.arcs:
            out.setdefault(arc.start, []).append(arc.end)
        todo = [(tap.group, self._c.wire_class[tap.wire]) for tap in self._tangle.taps]
        while todo:
            group, cls = todo.pop()
            here = found.setdefault(group, set())
            if cls not in here:
                here.add(cls)
                todo += [(end, cls) for end in out.get(group, ())]
        return found

    @cached_property
    def _sat(self) -> Sat:
        pool = self._pool
        clauses = self._tangle.setting_clauses(pool, self._settings)
        for k in FLOWS:
            clauses += self._flow(k)
        return Sat(name="g4", bootstrap_with=clauses)

    def _flow(self, k: int) -> list[list[int]]:
        pool = self._pool
        clauses: list[list[int]] = []
        into: dict[int, list[int]] = {g: [] for g in self._tangle.members}
        out: dict[int, list[int]] = {g: [pool(("goal", k, g))] for g in self._tangle.members}
        for i, tap in enumerate(self._tangle.taps):
            var = pool(("tap", k, i))
            clauses += [[-var, pool(("set", d, s))] for d, s in tap.term]
            clauses.append([-var, pool(("use", k, self._c.wire_class[tap.wire]))])
            into[tap.group].append(var)
        for i, arc in enumerate(self._tangle.arcs):
            var = pool(("arc", k, i))
            clauses += [[-var, pool(("set", d, s))] for d, s in arc.term]
            out[arc.start].append(var)
            into[arc.end].append(var)
        for g in self._tangle.members:
            clauses += at_most_one(into[g], pool) + at_most_one(out[g], pool)
            # From a goal a way can only lead back, and never into itself: no group has two ways out.
            clauses += [[-v, *into[g]] for v in out[g]]
        return clauses

    def ask(self, goals: Sequence[Goal], within: Term) -> tuple[Verdict, Ways | None]:
        """Whether there are settings within a term at which all goals are reached at once."""
        if any(not set(g.classes) & self.classes(g.rail) for g in goals):
            return Verdict.NO, None
        left = self._deadline - time.monotonic()
        if left <= 0:
            return Verdict.OUT_OF_TIME, None
        sat, pool = self._sat, self._pool
        named = set(self._tangle.drives)
        assumed = [pool(("set", d, s)) for d, s in within if d in named]
        for k, goal in enumerate(goals):
            assumed.append(pool(("goal", k, self._c.group_of[goal.rail])))
            barred = {self._c.wire_class[t.wire] for t in self._tangle.taps} - set(goal.classes)
            assumed += [-pool(("use", k, cls)) for cls in sorted(barred)]
        answer = solve(sat, assumed, self._deadline - time.monotonic())
        if answer is None:
            return Verdict.OUT_OF_TIME, None
        if not answer:
            return Verdict.NO, None
        model = set(sat.get_model() or ())
        when: Term | None = within
        ways: list[Way] = []
        for k, goal in enumerate(goals):
            way, term = self._trace(k, goal.rail, model)
            ways.append(way)
            when = join(when, term) if when is not None else None
        if when is None:
            raise AssertionError("ways of one model agree about the settings")
        return Verdict.YES, Ways(tuple(ways), when)

    def _trace(self, k: int, rail: str, model: set[int]) -> tuple[Way, Term]:
        """Back from a goal to the wire of its way, with the settings that its joins need."""
        pool, tangle = self._pool, self._tangle
        arcs = {arc.end: arc for i, arc in enumerate(tangle.arcs) if pool(("arc", k, i)) in model}
        taps = {tap.group: tap for i, tap in enumerate(tangle.taps) if pool(("tap", k, i)) in model}
        way = [rail]
        needed: dict[str, str] = {}
        weakest: Via | None = None
        group = self._c.group_of[rail]
        while group not in taps:
            arc = arcs[group]
            way += self._paths.within(way[-1], arc.rails[1])[1:]
            way.append(arc.rails[0])
            needed.update(arc.term)
            weakest = weakest or _weak(arc.via)
            group = arc.start
        tap = taps[group]
        way += self._paths.within(way[-1], tap.rails[0])[1:]
        if len(tap.rails) > 1:
            fed = self._c.groups[self._c.group_of[tap.rails[1]]].fed
            way += self._paths.within(tap.rails[1], fed[tap.wire])
        way.append(tap.wire)
        needed.update(tap.term)
        return Way(tap.wire, tuple(way), weakest or _weak(tap.via)), tuple(sorted(needed.items()))


def _weak(via: Via) -> Via | None:
    return None if via is Via.SWITCHED else via
