"""An island too tangled to search, taken apart for SAT: its ways along joins, the wires that tap it, its settings."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from enum import Enum
from functools import cached_property
from threading import Timer

from pysat.card import CardEnc, EncType
from pysat.solvers import Solver as Sat

from frogfeed.track.network.conditions import Term
from frogfeed.track.solver.contract import Contracted, Join, Via

UNTIMED_CONFLICTS = 500
"""Where the search runs into so few dead ends it needs no clock beside it: starting one would cost more."""


class Verdict(Enum):
    """What a limited question came to."""

    YES = "yes"
    NO = "no"
    OUT_OF_TIME = "not decided in the time allowed"


@dataclass(frozen=True, slots=True)
class Arc:
    """One way along a join, at one term: from group to group."""

    start: int
    end: int
    term: Term
    rails: tuple[str, str]
    via: Via

    @property
    def near(self) -> str:
        """The rail at which it comes into its group."""
        return self.rails[1]


@dataclass(frozen=True, slots=True)
class Tap:
    """A wire that reaches a group at one term; `rails` from the group's rail outward."""

    group: int
    wire: str
    term: Term
    rails: tuple[str, ...]
    via: Via

    @property
    def near(self) -> str:
        """The rail at which it comes into its group."""
        return self.rails[0]


class Pool:
    """Numbers for variables, one a key."""

    def __init__(self) -> None:
        self._ids: dict[object, int] = {}

    def __call__(self, key: object) -> int:
        return self._ids.setdefault(key, len(self._ids) + 1)

    @property
    def top(self) -> int:
        return len(self._ids)

    def fresh(self, top: int) -> None:
        """Keep clear of variables that an encoding took."""
        for i in range(len(self._ids), top):
            self._ids[("aux", i)] = i + 1


def solve(sat: Sat, assumptions: list[int], seconds: float) -> bool | None:
    """Solve with a time limit; None where it ran out."""
    if seconds <= 0:
        return None
    sat.conf_budget(UNTIMED_CONFLICTS)
    at_once: bool | None = sat.solve_limited(assumptions=assumptions)
    if at_once is not None:
        return at_once
    sat.conf_budget(-1)
    timer = Timer(seconds, sat.interrupt)
    timer.start()
    try:
        result: bool | None = sat.solve_limited(assumptions=assumptions, expect_interrupt=True)
    finally:
        timer.cancel()
    sat.clear_interrupt()
    return result


def at_most_one(literals: Sequence[int], pool: Pool) -> list[list[int]]:
    """Clauses that let at most one of these hold."""
    if len(literals) < 2:
        return []
    encoded = CardEnc.atmost(lits=list(literals), bound=1, top_id=pool.top, encoding=EncType.seqcounter)
    pool.fresh(encoded.nv)
    clauses: list[list[int]] = encoded.clauses
    return clauses


class Tangle:
    """The arcs and taps of some groups."""

    def __init__(self, contracted: Contracted, members: Iterable[int]) -> None:
        self.members = tuple(members)
        self.arcs: list[Arc] = []
        self.taps: list[Tap] = []
        inside = set(self.members)
        seen: set[int] = set()
        for g in self.members:
            for j in contracted.groups[g].joins:
                if id(j) not in seen:
                    seen.add(id(j))
                    self._add(contracted, j, inside)

    def _add(self, contracted: Contracted, j: Join, inside: set[int]) -> None:
        for t in j.when:
            if j.b_group is None:
                self.taps.append(Tap(j.a_group, j.b, t, (j.a,), j.via))
                continue
            for near, far, near_rail, far_rail in (
                (j.a_group, j.b_group, j.a, j.b),
                (j.b_group, j.a_group, j.b, j.a),
            ):
                if near not in inside:
                    continue
                if far in inside:
                    self.arcs.append(Arc(near, far, t, (near_rail, far_rail), j.via))
                else:
                    for wire in contracted.groups[far].fed:
                        self.taps.append(Tap(near, wire, t, (near_rail, far_rail), j.via))

    @cached_property
    def drives(self) -> list[str]:
        """The drives that these joins name."""
        terms = [t.term for t in self.taps] + [a.term for a in self.arcs]
        return sorted({d for t in terms for d, _ in t})

    def setting_clauses(self, pool: Pool, settings: Mapping[str, tuple[str, ...]]) -> list[list[int]]:
        """One setting a drive, for the drives that these joins name."""
        clauses: list[list[int]] = []
        for d in self.drives:
            one = [pool(("set", d, s)) for s in settings[d]]
            clauses.append(one)
            clauses += [[-a, -b] for i, a in enumerate(one) for b in one[i + 1 :]]
        return clauses
