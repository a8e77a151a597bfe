"""The course of each road through a piece: its centre line as a function of x, from frog number and gauge.

x runs from side 0 (toe, side a) to side 1 in mm at the size of the model, y to the left of it. Lengths come from
plain circular geometry, for which a lead of twice gauge times frog number holds; real pieces are shorter by what
their makers chose, so drawings give shape and order, not measures.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass

from frogfeed.track.pieces.catalogue import Kind

Curve = Callable[[float], float]
DEFAULT_FROG_NUMBER = 6.0
TWO_TRACKS = {"p.west", "p.east", "q.west", "q.east"}
"""The ends of a crossover or scissors as one piece."""


@dataclass(frozen=True, slots=True)
class Course:
    """One road's centre line over x0..x1. `turned` where the road is listed from side 1 to side 0."""

    start: str
    end: str
    y: Curve
    x0: float
    x1: float
    turned: bool = False


@dataclass(frozen=True)
class Courses:
    """All roads of a piece; `ends` gives each end its (x, y) and side; `unit` is gauge times frog number, in mm."""

    roads: Mapping[tuple[str, str], Course]
    ends: Mapping[str, tuple[float, float, int]]
    gauge: float
    unit: float

    @property
    def extent(self) -> tuple[float, float, float, float]:
        """x0, x1 and the lowest and highest y of any rail."""
        x0 = min(c.x0 for c in self.roads.values())
        x1 = max(c.x1 for c in self.roads.values())
        ys = [c.y(c.x0 + (c.x1 - c.x0) * i / 20) for c in self.roads.values() for i in range(21)]
        return x0, x1, min(ys) - self.gauge / 2, max(ys) + self.gauge / 2


def _bend(sign: float, unit: float, gauge: float, start: float = 0.0, lead: float = 2.0) -> Curve:
    """A curve that leaves the straight at `start`, is one gauge off after `lead` units, and runs on straight."""
    radius2 = (lead * unit) ** 2 / gauge

    def y(x: float) -> float:
        u = x - start
        if u <= 0:
            return 0.0
        if u <= lead * unit:
            return sign * u * u / radius2
        return sign * (gauge + (u - lead * unit) * 2 * gauge / (lead * unit))

    return y


def _straight(x: float) -> float:
    return 0.0


def courses(kind: Kind, frog_number: float, gauge: float, straight: str = "left") -> Courses:
    """The courses of a kind; for a turnout `straight` names the leg that runs straight, or "" for a wye."""
    ends = set(kind.ends)
    unit = gauge * frog_number
    if ends == {"toe", "left", "right"}:
        found = _turnout(unit, gauge, straight)
    elif ends == {"toe", "left", "middle", "right"}:
        found = _three_way(kind, unit, gauge)
    elif ends == {"a.left", "a.right", "b.left", "b.right"}:
        found = _crossing(unit, gauge, frog_number)
    elif ends == TWO_TRACKS:
        found = _two_tracks(kind, unit, gauge, frog_number)
    else:
        return any_kind(kind, 3.05 * unit, gauge, unit)
    roads: dict[tuple[str, str], Course] = {}
    for r in kind.roads:
        if (r.start, r.end) in found:
            y, x0, x1 = found[r.start, r.end]
            roads[r.start, r.end] = Course(r.start, r.end, y, x0, x1)
        elif (r.end, r.start) in found:
            y, x0, x1 = found[r.end, r.start]
            roads[r.start, r.end] = Course(r.start, r.end, y, x0, x1, turned=True)
        else:
            return any_kind(kind, 3.05 * unit, gauge, unit)
    return Courses(roads, _ends(roads), gauge, unit)


def _ends(roads: Mapping[tuple[str, str], Course]) -> dict[str, tuple[float, float, int]]:
    found: dict[str, tuple[float, float, int]] = {}
    for c in roads.values():
        west, east = (c.end, c.start) if c.turned else (c.start, c.end)
        found[west] = (c.x0, c.y(c.x0), 0)
        found[east] = (c.x1, c.y(c.x1), 1)
    return found


_Table = dict[tuple[str, str], tuple[Curve, float, float]]


def _turnout(unit: float, gauge: float, straight: str) -> _Table:
    x0, x1 = -0.35 * unit, 2.9 * unit
    left: Curve
    right: Curve
    if straight == "left":
        left, right = _straight, _bend(-1, unit, gauge)
    elif straight == "right":
        left, right = _bend(1, unit, gauge), _straight
    else:
        left, right = _bend(0.5, unit, gauge), _bend(-0.5, unit, gauge)
    return {("toe", "left"): (left, x0, x1), ("toe", "right"): (right, x0, x1)}


def _three_way(kind: Kind, unit: float, gauge: float) -> _Table:
    lap = 0.55 * unit if any(t.blade == "RL" and t.stock == "ML" for t in kind.tips) else 0.0
    x0, x1 = -0.35 * unit, 3.0 * unit + lap
    return {
        ("toe", "left"): (_bend(1, unit, gauge), x0, x1),
        ("toe", "middle"): (_straight, x0, x1),
        ("toe", "right"): (_bend(-1, unit, gauge, lap), x0, x1),
    }


def _crossing(unit: float, gauge: float, number: float) -> _Table:
    half = 1.75 * unit
    slope = 1 / (2 * number)
    flat = 0.72 * unit

    def slip(sign: float) -> Curve:
        def y(x: float) -> float:
            d = abs(x)
            return sign * slope * (d if d >= flat else (x * x / flat + flat) / 2)

        return y

    return {
        ("a.left", "b.left"): (lambda x: -x * slope, -half, half),
        ("a.right", "b.right"): (lambda x: x * slope, -half, half),
        ("a.left", "b.right"): (slip(1), -half, half),
        ("a.right", "b.left"): (slip(-1), -half, half),
    }


def q_is_left(kind: Kind) -> bool:
    """Whether track q of a crossover lies to the left of track p: on the side on which p's own road has its frogs."""
    own = next(r for r in kind.roads if {r.start, r.end} == {"p.west", "p.east"})
    road = own if own.start == "p.west" else own.reversed()
    frogs = {f.rails[0] for f in kind.frogs}
    return bool(frogs & set(road.left))


def _two_tracks(kind: Kind, unit: float, gauge: float, number: float) -> _Table:
    """Tracks p and q side by side, with ways across that leave one as a turnout does and join the other likewise."""
    both = sum({r.start[0], r.end[0]} == {"p", "q"} for r in kind.roads) > 1
    apart = (3.6 if both else 2.7) * gauge
    middle = 2.0 * unit + (apart / 2 - gauge) * number
    x0, x1 = -0.35 * unit, 2 * middle + 0.35 * unit
    up = apart if q_is_left(kind) else -apart
    leave = _bend(1, unit, gauge)

    def across(start: float, rise: float) -> Curve:
        sign = 1.0 if rise > 0 else -1.0

        def y(x: float) -> float:
            return start + sign * (leave(x) if x <= middle else apart - leave(2 * middle - x))

        return y

    return {
        ("p.west", "p.east"): (_straight, x0, x1),
        ("q.west", "q.east"): (lambda x: up, x0, x1),
        ("p.west", "q.east"): (across(0.0, up), x0, x1),
        ("q.west", "p.east"): (across(up, -up), x0, x1),
    }


def sides(kind: Kind) -> dict[str, int]:
    """Which side each end lies on: roads lead from side 0 to side 1; the first road's start is on side 0."""
    found: dict[str, int] = {}
    for _ in range(len(kind.roads) + 1):
        for r in kind.roads:
            if r.start in found:
                found.setdefault(r.end, 1 - found[r.start])
            elif r.end in found:
                found[r.start] = 1 - found[r.end]
            elif not found:
                found |= {r.start: 0, r.end: 1}
    for r in kind.roads:
        found.setdefault(r.start, 0)
        found.setdefault(r.end, 1)
    return found


def any_kind(
    kind: Kind, length: float, gauge: float, unit: float, at: Mapping[str, float] | None = None, x0: float = 0.0
) -> Courses:
    """Courses for a kind of unknown shape: smooth lines between ends; `at` gives ends their y, else 1.75 gauge apart.

    Ends on one side are taken to lie from left to right in the order in which roads name them; roads between two
    ends of one side are left out.
    """
    side = sides(kind)
    y_of = dict(at or {})
    if not y_of:
        for s in (0, 1):
            here = [e for e in side if side[e] == s]
            for n, e in enumerate(here if s == 1 else here[::-1]):
                y_of[e] = ((len(here) - 1) / 2 - n) * 1.75 * gauge * (1 if s == 1 else -1)
    roads: dict[tuple[str, str], Course] = {}
    for r in kind.roads:
        if side[r.start] == side[r.end]:
            continue
        turned = side[r.start] == 1
        a, b = (y_of[r.end], y_of[r.start]) if turned else (y_of[r.start], y_of[r.end])
        roads[r.start, r.end] = Course(r.start, r.end, smooth(a, b, x0, x0 + length), x0, x0 + length, turned)
    return Courses(roads, _ends(roads), gauge, unit)


def smooth(a: float, b: float, x0: float, x1: float) -> Curve:
    """From (x0, a) to (x1, b), level at both ends."""

    def y(x: float) -> float:
        u = min(max((x - x0) / (x1 - x0), 0.0), 1.0)
        return a + (b - a) * u * u * (3 - 2 * u)

    return y
