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

from frogfeed.track.network.conditions import Term, join
from frogfeed.track.solver.contract import Contracted, Via
from frogfeed.track.solver.paths import Paths
from frogfeed.track.solver.tangle import Arc, Pool, Tangle, Tap, Verdict, at_most_one, solve

FLOWS = (0, 1)


@dataclass(frozen=True, slots=True)
class Goal:
    """A rail to be reached by a wire of one of these classes."""

    rail: str
    classes: Collection[str]


@dataclass(frozen=True, slots=True)
class WireWay:
    """From a rail to a wire, rail by rail; `weakest` is the first join on it that is no switched feed."""

    wire: str
    rails: tuple[str, ...]
    weakest: Via | None


@dataclass(frozen=True, slots=True)
class WireWays:
    """A way for each goal, all at settings within `when`."""

    ways: tuple[WireWay, ...]
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
        self._into: list[dict[int, list[tuple[int, Arc | Tap]]]] = []
        """A flow's ways into a group, each with its variable."""
        self._deadline = 0.0
        self.restart()

    def restart(self) -> None:
        """Give the questions that follow their own time."""
        self._deadline = time.monotonic() + self._seconds

    def classes(self, rail: str) -> frozenset[str]:
        """The classes of wires that could reach a rail if every join on the way conducted."""
        return frozenset(self._reached.get(self._c.group_of[rail], ()))

    @cached_property
    def _tapping(self) -> frozenset[str]:
        """The classes of the wires that reach any island at all."""
        return frozenset(self._c.wire_class[tap.wire] for tap in self._tangle.taps)

    @cached_property
    def _drives(self) -> frozenset[str]:
        return frozenset(self._tangle.drives)

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
        into: dict[int, list[tuple[int, Arc | Tap]]] = {g: [] for g in self._tangle.members}
        out: dict[int, list[int]] = {g: [pool(("goal", k, g))] for g in self._tangle.members}
        for i, tap in enumerate(self._tangle.taps):
            var = pool(("tap", k, i))
            clauses += [[-var, pool(("set", d, s))] for d, s in tap.term]
            clauses.append([-var, pool(("use", k, self._c.wire_class[tap.wire]))])
            into[tap.group].append((var, tap))
        for i, arc in enumerate(self._tangle.arcs):
            var = pool(("arc", k, i))
            clauses += [[-var, pool(("set", d, s))] for d, s in arc.term]
            out[arc.start].append(var)
            into[arc.end].append((var, arc))
        for g in self._tangle.members:
            entries = [var for var, _ in into[g]]
            clauses += at_most_one(entries, pool) + at_most_one(out[g], pool)
            # From a goal a way can only lead back, and never into itself: no group has two ways out.
            clauses += [[-v, *entries] for v in out[g]]
        self._into.append(into)
        return clauses

    def ask(self, goals: Sequence[Goal], within: Term) -> tuple[Verdict, WireWays | None]:
        """Whether there are settings within a term at which all goals are reached at once."""
        if any(not set(g.classes) & self.classes(g.rail) for g in goals):
            return Verdict.NO, None
        left = self._deadline - time.monotonic()
        if left <= 0:
            return Verdict.OUT_OF_TIME, None
        sat, pool = self._sat, self._pool
        assumed = [pool(("set", d, s)) for d, s in within if d in self._drives]
        for k, goal in enumerate(goals):
            assumed.append(pool(("goal", k, self._c.group_of[goal.rail])))
            assumed += [-pool(("use", k, cls)) for cls in sorted(self._tapping.difference(goal.classes))]
        answer = solve(sat, assumed, self._deadline - time.monotonic())
        if answer is None:
            return Verdict.OUT_OF_TIME, None
        if not answer:
            return Verdict.NO, None
        model = set(sat.get_model() or ())
        when: Term | None = within
        ways: list[WireWay] = []
        for k, goal in enumerate(goals):
            way, term = self._trace(k, goal.rail, model)
            ways.append(way)
            when = join(when, term) if when is not None else None
        if when is None:
            raise AssertionError("ways of one model agree about the settings")
        return Verdict.YES, WireWays(tuple(ways), when)

    def _trace(self, k: int, rail: str, model: set[int]) -> tuple[WireWay, Term]:
        """Back from a goal to the wire of its way, with the settings that its joins need."""
        into = self._into[k]
        way = [rail]
        needed: dict[str, str] = {}
        weakest: Via | None = None
        group = self._c.group_of[rail]
        while True:
            step = next(step for var, step in into[group] if var in model)
            needed.update(step.term)
            weakest = weakest or _weak(step.via)
            way += self._paths.within(way[-1], step.near)[1:]
            if isinstance(step, Tap):
                break
            way.append(step.rails[0])
            group = step.start
        if len(step.rails) > 1:
            fed = self._c.groups[self._c.group_of[step.rails[1]]].fed
            way += self._paths.within(step.rails[1], fed[step.wire])
        way.append(step.wire)
        return WireWay(step.wire, tuple(way), weakest), tuple(sorted(needed.items()))


def _weak(via: Via) -> Via | None:
    return None if via is Via.SWITCHED else via
