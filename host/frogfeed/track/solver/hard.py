"""Islands too tangled to search: their questions as SAT, with time limits and honest answers.

A short is a path between two wires: each group on it has one join in and one join out, and the joins' conditions
hold. A stray cycle beside the path does no harm, for the path alone is an answer. A dead rail is a closure: a set of
groups that holds the rail, that no join that conducts leaves, and that no wire reaches. With drives shared between
pieces these questions are NP-hard; each has a time limit, and running out is an answer of its own.
"""

from __future__ import annotations

import time
from collections import deque
from collections.abc import Iterable, Mapping, Sequence

from pysat.solvers import Solver as Sat

from frogfeed.track.network.conditions import Term, When
from frogfeed.track.solver.answers import Short
from frogfeed.track.solver.contract import Contracted
from frogfeed.track.solver.tangle import Arc, Pool, Tangle, Tap, Verdict, at_most_one, solve


class HardIsland:
    """One island's questions. `seconds` limits each of them."""

    def __init__(
        self,
        contracted: Contracted,
        members: Sequence[int],
        settings: Mapping[str, tuple[str, ...]],
        seconds: float = 5.0,
    ) -> None:
        self._c = contracted
        self._members = members
        self._settings = settings
        self._seconds = seconds
        self._tangle = Tangle(contracted, members)

    @property
    def tapped(self) -> bool:
        """Whether any wire can reach the island at all."""
        return bool(self._tangle.taps)

    @property
    def classes(self) -> set[str]:
        """The classes of wires that can reach the island: one alone proves that nothing in it shorts."""
        return {self._c.wire_class[t.wire] for t in self._tangle.taps}

    def short(self) -> tuple[Verdict, Short | None]:
        """A short inside the island, made as small as the time allows."""
        if len(self.classes) < 2:
            return Verdict.NO, None
        deadline = time.monotonic() + self._seconds
        classes = sorted(self.classes)
        for cls in classes[:-1]:
            verdict, found = self._path_from(cls, deadline)
            if verdict is not Verdict.NO:
                return verdict, found
        return Verdict.NO, None

    def _path_from(self, cls: str, deadline: float) -> tuple[Verdict, Short | None]:
        pool = Pool()
        clauses = self._tangle.setting_clauses(pool, self._settings)
        sources: list[int] = []
        sinks: list[int] = []
        into: dict[int, list[int]] = {g: [] for g in self._members}
        out: dict[int, list[int]] = {g: [] for g in self._members}
        for i, tap in enumerate(self._tangle.taps):
            var = pool(("tap", i))
            clauses += [[-var, pool(("set", d, s))] for d, s in tap.term]
            if self._c.wire_class[tap.wire] == cls:
                sources.append(var)
                into[tap.group].append(var)
            else:
                sinks.append(var)
                out[tap.group].append(var)
        for i, arc in enumerate(self._tangle.arcs):
            var = pool(("arc", i))
            clauses += [[-var, pool(("set", d, s))] for d, s in arc.term]
            out[arc.start].append(var)
            into[arc.end].append(var)
        clauses += [sources, sinks]
        for g in self._members:
            for ways in (into[g], out[g]):
                clauses += at_most_one(ways, pool)
            clauses += [[-v, *out[g]] for v in into[g]]
            clauses += [[-v, *into[g]] for v in out[g]]
        with Sat(name="g4", bootstrap_with=clauses) as sat:
            found = solve(sat, [], deadline - time.monotonic())
            if found is None:
                return Verdict.OUT_OF_TIME, None
            if not found:
                return Verdict.NO, None
            model = set(sat.get_model() or ())
            return Verdict.YES, self._shrink(sat, pool, model, cls, deadline)

    def _path_of(self, pool: Pool, model: set[int], cls: str) -> tuple[tuple[str, str], Term, tuple[str, ...]]:
        """The wires, the settings its joins need, and the rails of the path in a model."""
        taken = [t for i, t in enumerate(self._tangle.taps) if pool(("tap", i)) in model]
        arcs: dict[int, list[Arc]] = {}
        for i, a in enumerate(self._tangle.arcs):
            if pool(("arc", i)) in model:
                arcs.setdefault(a.start, []).append(a)
        ends = {t.group: t for t in taken if self._c.wire_class[t.wire] != cls}
        for start in (t for t in taken if self._c.wire_class[t.wire] == cls):
            before: dict[int, Arc | None] = {start.group: None}
            queue = deque([start.group])
            while queue:
                g = queue.popleft()
                if g in ends:
                    return _spell(start, ends[g], before)
                for a in arcs.get(g, ()):
                    if a.end not in before:
                        before[a.end] = a
                        queue.append(a.end)
        raise AssertionError("a model of the path question holds a path")

    def _shrink(self, sat: Sat, pool: Pool, model: set[int], cls: str, deadline: float) -> Short:
        """Drop one drive after the other from the term while a path still exists without it."""
        wires, term, path = self._path_of(pool, model, cls)
        smallest = True
        fixed = list(term)
        i = 0
        while i < len(fixed):
            keep = fixed[:i] + fixed[i + 1 :]
            free = {d for d, _ in keep}
            # A drive that is left out may stand anywhere: no join on the path may name it.
            allowed = [pool(("set", d, s)) for d, s in keep]
            barred = [-pool(("tap", n)) for n, t in enumerate(self._tangle.taps) if not _within(t.term, free)]
            barred += [-pool(("arc", n)) for n, a in enumerate(self._tangle.arcs) if not _within(a.term, free)]
            found = solve(sat, allowed + barred, deadline - time.monotonic())
            if found is None:
                smallest = False
                break
            if found:
                wires, smaller, path = self._path_of(pool, set(sat.get_model() or ()), cls)
                fixed = [x for x in fixed if x in set(smaller)]
                i = 0
            else:
                i += 1
        return Short((min(wires), max(wires)), tuple(sorted(fixed)), path, smallest)

    def dead(self, questions: Iterable[tuple[int, When]]) -> list[tuple[int, Verdict, Term]]:
        """For (group, condition) pairs: settings within the condition at which the group is unfed.

        One incremental question to the solver, with the group and the condition as assumptions.
        """
        pool = Pool()
        clauses = self._tangle.setting_clauses(pool, self._settings)
        for tap in self._tangle.taps:
            clauses.append([-pool(("in", tap.group)), *(-pool(("set", d, s)) for d, s in tap.term)])
        for a in self._tangle.arcs:
            clauses.append([-pool(("in", a.start)), pool(("in", a.end)), *(-pool(("set", d, s)) for d, s in a.term)])
        found: list[tuple[int, Verdict, Term]] = []
        deadline = time.monotonic() + self._seconds
        with Sat(name="g4", bootstrap_with=clauses) as sat:
            for g, when in questions:
                verdict = Verdict.NO
                term: Term = ()
                for t in when:
                    answer = solve(
                        sat, [pool(("in", g)), *(pool(("set", d, s)) for d, s in t)], deadline - time.monotonic()
                    )
                    if answer is None:
                        verdict = Verdict.OUT_OF_TIME
                        break
                    if answer:
                        model = set(sat.get_model() or ())
                        verdict = Verdict.YES
                        term = self._settings_in(pool, model, t)
                        break
                found.append((g, verdict, term))
        return found

    def _settings_in(self, pool: Pool, model: set[int], at_least: Term) -> Term:
        """The settings of a model for the drives that this island names."""
        chosen = {d: s for d in self._tangle.drives for s in self._settings[d] if pool(("set", d, s)) in model}
        return tuple(sorted({**chosen, **dict(at_least)}.items()))


def _within(term: Term, drives: set[str]) -> bool:
    """Whether a term names only these drives."""
    return all(d in drives for d, _ in term)


def _spell(start: Tap, end: Tap, before: Mapping[int, Arc | None]) -> tuple[tuple[str, str], Term, tuple[str, ...]]:
    """The path from start's wire to end's, its settings and rails."""
    rails: list[str] = [end.wire, *reversed(end.rails)]
    settings = dict(start.term) | dict(end.term)
    here = end.group
    while (a := before[here]) is not None:
        rails += [a.rails[1], a.rails[0]]
        settings.update(a.term)
        here = a.start
    rails += [*start.rails, start.wire]
    return (start.wire, end.wire), tuple(sorted(settings.items())), tuple(dict.fromkeys(reversed(rails)))
