"""Routes between two places: the way, the drives to throw, and an order in which no step shorts or is forbidden.

Pure: what stands where is passed in, and nothing is thrown here.
"""

from __future__ import annotations

import heapq
from collections import deque
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from functools import cached_property

from frogfeed.console.refusals import RefusedError
from frogfeed.track.explain.phrases import list_of, when_text
from frogfeed.track.network.conditions import Term
from frogfeed.track.network.model import End, RailNetwork, Road
from frogfeed.track.solver.answers import Clash, Short
from frogfeed.track.solver.solver import Solver

MOST_LABELS = 40_000
"""Partial ways looked at before the search gives up; a fiddle yard of 60 turnouts takes some hundreds."""
MOST_THROWS = 12
"""Throws up to which every order is tried."""


@dataclass(frozen=True, slots=True)
class Standing:
    """How a drive stands: `at` a setting (None: not known), on its way (`to`), or thrown by hand only."""

    at: str | None
    to: str | None = None
    hand: bool = False

    @property
    def moving(self) -> bool:
        return self.to is not None


@dataclass(frozen=True, slots=True)
class Step:
    """One piece or place of a route, entered at one end and left at the other; `joint` leads to it (-1: none)."""

    piece: str
    enter: str
    leave: str
    road: str
    joint: int


@dataclass(frozen=True, slots=True)
class Route:
    """A way from one place to another. `settings` must hold on it; `throws` are left to do, in a safe order."""

    start: str
    goal: str
    steps: tuple[Step, ...]
    settings: Mapping[str, str]
    throws: tuple[tuple[str, str], ...]

    @property
    def drives(self) -> frozenset[str]:
        """Drives that must not move while a train is on it."""
        return frozenset(self.settings)


class Router:
    """Finds routes through one network."""

    def __init__(self, network: RailNetwork) -> None:
        self.network = network
        self._across: dict[End, tuple[End, int]] = {}
        for n, j in enumerate(network.joints):
            self._across[j.a] = (j.b, n)
            self._across[j.b] = (j.a, n)
        self._from: dict[End, list[tuple[str, Road]]] = {}
        self._roads: dict[str, list[Road]] = {}
        for r in network.roads:
            self._roads.setdefault(r.piece, []).append(r)
            self._from.setdefault((r.piece, r.start), []).append((r.end, r))
            if r.end:
                self._from.setdefault((r.piece, r.end), []).append((r.start, r))

    @cached_property
    def _solver(self) -> Solver:
        return Solver(self.network)

    @cached_property
    def shorts(self) -> tuple[Short, ...]:
        """Settings that join two bus wires."""
        return self._solver.shorts()

    @cached_property
    def clashes(self) -> tuple[Clash, ...]:
        """Gaps at which a wheel joins two bus wires."""
        return tuple(self._solver.clashes())

    def find(self, start: str, goal: str, standing: Mapping[str, Standing]) -> Route:
        """A route with the fewest throws, then the shortest. Raises RefusedError, with the reason and what to do."""
        for name in (start, goal):
            if name not in self._roads:
                raise RefusedError(f"there is no place called {name}", cure="choose a place on the drawing")
        if start == goal:
            raise RefusedError(f"{start} is both ends of this route", cure="choose two places")
        found = self._search(start, goal, standing, blocked=True)
        if found is None:
            free = self._search(start, goal, standing, blocked=False)
            if free is None:
                raise RefusedError(
                    f"no train can run from {start} to {goal} without turning back on the way",
                    "the track between them joins at legs that face the same way, or not at all",
                    "lay it as two routes, by way of a place where the train can reverse",
                )
            raise self._blocked(free, standing)
        steps, settings = found
        needed = {d: s for d, s in settings.items() if standing[d].at != s or standing[d].moving}
        self._check_clash(steps, settings)
        return Route(start, goal, steps, settings, self._order(needed, settings, standing))

    def _search(
        self, start: str, goal: str, standing: Mapping[str, Standing], blocked: bool
    ) -> tuple[tuple[Step, ...], dict[str, str]] | None:
        """Cheapest first over (end reached, settings so far); `blocked` keeps to drives that may be thrown."""
        heap: list[tuple[int, int, int, End, frozenset[tuple[str, str]], tuple[Step, ...]]] = []
        count = 0
        for road in self._roads[start]:
            for leave in (road.start, road.end):
                if leave:
                    enter = road.end if leave == road.start else road.start
                    first = Step(start, enter, leave, road.name, -1)
                    heapq.heappush(heap, (0, 0, count, (start, leave), frozenset(), (first,)))
                    count += 1
        seen: dict[End, list[frozenset[tuple[str, str]]]] = {}
        while heap and count < MOST_LABELS:
            cost, hops, _, end, have, way = heapq.heappop(heap)
            if end[0] == goal and len(way) > 1:
                return way, dict(have)
            if any(k <= have for k in seen.get(end, ())):
                continue
            seen.setdefault(end, []).append(have)
            there = self._across.get(end)
            if there is None:
                continue
            entry, joint = there
            for leave, road in self._from.get(entry, ()):
                for term in road.when:
                    more = self._with(have, term, standing, blocked)
                    if more is None:
                        continue
                    price = cost + sum(1 for d, s in more - have if standing[d].at != s)
                    step = Step(entry[0], entry[1], leave, road.name, joint)
                    count += 1
                    heapq.heappush(heap, (price, hops + 1, count, (entry[0], leave), more, (*way, step)))
        return None

    def _with(
        self, have: frozenset[tuple[str, str]], term: Term, standing: Mapping[str, Standing], blocked: bool
    ) -> frozenset[tuple[str, str]] | None:
        known = dict(have)
        for drive, setting in term:
            if known.setdefault(drive, setting) != setting:
                return None
            now = standing[drive]
            if blocked and ((now.hand and now.at != setting) or now.moving):
                return None
        return frozenset(known.items())

    def _blocked(
        self, found: tuple[tuple[Step, ...], dict[str, str]], standing: Mapping[str, Standing]
    ) -> RefusedError:
        settings = found[1]
        moving = [d for d in settings if standing[d].moving]
        if moving:
            return RefusedError(
                f"{list_of(moving)} is being thrown just now",
                "the route lies over it, and would foul the running throw",
                "wait until it has come to rest, then lay the route again",
            )
        by_hand = [f"{d} to {s}" for d, s in settings.items() if standing[d].hand and standing[d].at != s]
        return RefusedError(
            "the route needs a turnout that is thrown by hand",
            f"it lies over {list_of(by_hand)}",
            f"throw {list_of(by_hand)} by hand, then lay the route again",
        )

    def _check_clash(self, steps: Iterable[Step], settings: Mapping[str, str]) -> None:
        names = {s.road for s in steps}
        on = {r for road in self.network.roads if road.name in names for r in (*road.left, *road.right)}
        for clash in self.clashes:
            b = clash.bridge
            if {b.a, b.b} <= on and all(settings.get(d) == s for d, s in clash.when):
                raise RefusedError(
                    f"a train on this route would short {clash.wires[0]} and {clash.wires[1]} at {b.a} | {b.b}",
                    "its wheels join the two rails there, and they carry different bus wires",
                    "`frogfeed check` says how to cure it; until then lay another route",
                )

    def unsafe(self, at: Mapping[str, str | None]) -> str | None:
        """Why these positions must not be; None where nothing speaks against them. None as a position is any."""
        for s in self.shorts:
            if _may_hold(s.when, at):
                way = f", by way of {', '.join(s.path[1:-1])}" if len(s.path) > 2 else ""
                return f"{s.wires[0]} and {s.wires[1]} are joined {when_text(s.when)}{way}"
        for t in self.network.forbidden:
            if _may_hold(t, at):
                return f"there is no road {when_text(t)}"
        return None

    def check_throw(self, drive: str, to: str, standing: Mapping[str, Standing]) -> None:
        """Raise RefusedError where this one throw would join two bus wires or leave a piece without a road."""
        before = _positions(standing)
        after = {**before, drive: to}
        problem = self.unsafe(after)
        if problem is not None and self.unsafe(before) is None:
            raise RefusedError(
                f"{drive} was not thrown to {to}: {problem}",
                "the supply would trip, or a train would have nowhere to go",
                "throw the other drive first, or cure the layout: `frogfeed check` says how",
            )

    def _order(
        self, needed: Mapping[str, str], settings: Mapping[str, str], standing: Mapping[str, Standing]
    ) -> tuple[tuple[str, str], ...]:
        """The throws in an order whose every step is safe: fewest looked at first, else a refusal."""
        before = _positions(standing)
        if not needed:
            return ()
        names = tuple(sorted(needed, key=lambda d: list(settings).index(d)))
        if len(names) > MOST_THROWS:
            raise RefusedError(
                f"this route needs {len(names)} throws at once",
                f"no order is tried for more than {MOST_THROWS}",
                "lay it in two parts, by way of a place between",
            )
        order, problem = self._safe_order(names, needed, before, lenient=False)
        if order is None and self.unsafe(before) is not None:
            order, problem = self._safe_order(names, needed, before, lenient=True)
        if order is not None:
            return tuple((d, needed[d]) for d in order)
        raise RefusedError(
            f"this route cannot be laid one drive at a time: {problem}",
            "on the way two bus wires would be joined, or a piece would have no road",
            "throw the drives that stand against it by hand first, or cure the layout: `frogfeed check` says how",
        )

    def _safe_order(
        self, names: tuple[str, ...], needed: Mapping[str, str], before: Mapping[str, str | None], lenient: bool
    ) -> tuple[tuple[str, ...] | None, str]:
        """An order whose every step is safe, or None and why not. `lenient`: only its end must be."""
        problem = ""
        queue: deque[tuple[str, ...]] = deque([()])
        seen: set[frozenset[str]] = {frozenset()}
        while queue:
            done = queue.popleft()
            if len(done) == len(names):
                return done, ""
            for d in names:
                key = frozenset((*done, d))
                if d in done or key in seen:
                    continue
                reason = self.unsafe({**before, **{k: needed[k] for k in key}})
                if reason is None or (lenient and len(key) < len(names)):
                    seen.add(key)
                    queue.append((*done, d))
                else:
                    problem = reason
        return None, problem


def _positions(standing: Mapping[str, Standing]) -> dict[str, str | None]:
    return {d: None if s.moving else s.at for d, s in standing.items()}


def _may_hold(term: Term, at: Mapping[str, str | None]) -> bool:
    return all(at.get(d) in (None, s) for d, s in term)
