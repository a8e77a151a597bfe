"""Where each rail of a piece lies: the rails that roads name in order, laid along the roads' courses.

Boundaries between rails come from the geometry: a blade's tip where its course parts from the stock rail's, a frog
where two rails cross. Nothing is known here about kinds by name.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from frogfeed.layout.schema import Hand
from frogfeed.sheets.courses import Course, Courses
from frogfeed.track.pieces.catalogue import Frog, Kind, KindRoad

Point = tuple[float, float]

_GRAIN = 240
AHEAD, BEYOND, OBTUSE = 0.16, 0.3, 0.13
"""How far a frog casting reaches, in units of gauge times the frog number at which its rails cross: ahead of an acute
crossing, beyond it, and to either side of an obtuse one.
"""


@dataclass(frozen=True, slots=True)
class Track:
    """One rail of one road as a function of x: the course, moved by half a gauge."""

    course: Course
    up: float

    def y(self, x: float) -> float:
        return self.course.y(x) + self.up


@dataclass(frozen=True, slots=True)
class Stretch:
    """A rail along a track from x0 to x1. `tips` are the x at which it begins or ends as a blade's tip."""

    rail: str
    track: Track
    x0: float
    x1: float
    tips: tuple[float, ...] = ()
    inward: float = 0.0

    def points(self, count: int = 40) -> tuple[Point, ...]:
        """The rail's line."""
        n = max(2, count)
        return tuple((x, self.track.y(x)) for i in range(n) for x in (self.x0 + (self.x1 - self.x0) * i / (n - 1),))

    @property
    def middle(self) -> float:
        return (self.x0 + self.x1) / 2


@dataclass(frozen=True)
class PieceRails:
    """All rails of a piece: each rail's stretches, the places of its frogs, and the joints between rails in a row."""

    stretches: Mapping[str, tuple[Stretch, ...]]
    frogs: Mapping[str, Point]
    seams: tuple[tuple[str, str, Point], ...]
    courses: Courses

    def main(self, rail: str) -> Stretch:
        """The longest stretch of a rail."""
        return max(self.stretches[rail], key=lambda s: (s.x1 - s.x0, -s.x0))


@dataclass(frozen=True, slots=True)
class _Row:
    road: KindRoad
    hand: Hand
    rails: tuple[str, ...]
    track: Track


def _rows(kind: Kind, courses: Courses) -> list[_Row]:
    rows: list[_Row] = []
    half = courses.gauge / 2
    for road in kind.roads:
        course = courses.roads.get((road.start, road.end))
        if course is None:
            continue
        r = road.reversed() if course.turned else road
        rows.append(_Row(r, Hand.LEFT, r.left, Track(course, half)))
        rows.append(_Row(r, Hand.RIGHT, r.right, Track(course, -half)))
    return rows


def lay_rails(kind: Kind, courses: Courses) -> PieceRails:
    """Lay the rails of a kind along its courses."""
    rows = _rows(kind, courses)
    crossings = {f.name: at for f in kind.frogs if (at := _crossing(rows, f, courses)) is not None}
    frogs = {name: point for name, (point, _) in crossings.items()}
    stretches: dict[str, list[Stretch]] = {}
    seams: dict[frozenset[str], tuple[str, str, Point]] = {}
    castings = {f.rails[0]: f for f in kind.frogs}
    for row in rows:
        bounds = _bounds(kind, rows, row, castings, crossings, courses)
        for i, rail in enumerate(row.rails):
            tips = []
            if i and _tip(kind, rail, row.rails[i - 1], row.road.start):
                tips.append(bounds[i])
            if i + 1 < len(row.rails) and _tip(kind, rail, row.rails[i + 1], row.road.end):
                tips.append(bounds[i + 1])
            inward = -1.0 if row.hand is Hand.LEFT else 1.0
            stretches.setdefault(rail, []).append(
                Stretch(rail, row.track, bounds[i], bounds[i + 1], tuple(tips), inward)
            )
            if i:
                x = bounds[i]
                seams.setdefault(frozenset((row.rails[i - 1], rail)), (row.rails[i - 1], rail, (x, row.track.y(x))))
    kept = {
        rail: _crossing_pair(found) if rail in castings else (max(found, key=lambda s: (s.x1 - s.x0, -s.x0)),)
        for rail, found in stretches.items()
    }
    return PieceRails(kept, frogs, tuple(seams.values()), courses)


def _crossing_pair(found: Sequence[Stretch]) -> tuple[Stretch, ...]:
    """The stretches of a frog that run apart: doubles along one line are dropped."""
    kept: list[Stretch] = []
    for s in found:
        if not any(
            abs(s.track.y(s.x0) - k.track.y(s.x0)) < 1e-6 and abs(s.track.y(s.x1) - k.track.y(s.x1)) < 1e-6
            for k in kept
        ):
            kept.append(s)
    return tuple(kept)


def _tip(kind: Kind, blade: str, stock: str, faces: str) -> bool:
    return any(t.blade == blade and t.stock == stock and t.faces == faces for t in kind.tips)


def _crossing(rows: Sequence[_Row], frog: Frog, courses: Courses) -> tuple[Point, float] | None:
    """Where the rails of a frog cross, and its unit: gauge times the frog number at which they do."""
    gauge = courses.gauge
    through = [r for r in rows if frog.rails[0] in r.rails]
    for i, a in enumerate(through):
        for b in through[i + 1 :]:
            x0, x1 = max(a.track.course.x0, b.track.course.x0), min(a.track.course.x1, b.track.course.x1)
            before = 0.0
            for n in range(_GRAIN + 1):
                x = x0 + (x1 - x0) * n / _GRAIN
                apart = a.track.y(x) - b.track.y(x)
                if abs(apart) < gauge * 1e-6:
                    continue
                if before and (apart > 0) != (before > 0):
                    x = _root(a.track, b.track, x - (x1 - x0) / _GRAIN * 2, x)
                    d = gauge * 0.05
                    slope = abs((a.track.y(x + d) - a.track.y(x - d)) - (b.track.y(x + d) - b.track.y(x - d))) / (2 * d)
                    unit = gauge / slope if slope > 1e-6 else courses.unit
                    return (x, a.track.y(x)), min(unit, 1.5 * courses.unit)
                before = apart
    return None


def _root(a: Track, b: Track, lo: float, hi: float) -> float:
    low = a.y(lo) - b.y(lo) > 0
    for _ in range(50):
        mid = (lo + hi) / 2
        if (a.y(mid) - b.y(mid) > 0) == low:
            lo = mid
        else:
            hi = mid
    return (lo + hi) / 2


def _parting(row: _Row, others: Iterable[_Row], from_start: bool, gauge: float) -> float | None:
    """Where a track parts from every other of its hand, seen from one of its ends."""
    x0, x1 = row.track.course.x0, row.track.course.x1
    found: float | None = None
    for o in others:
        last: float | None = None
        for n in range(_GRAIN + 1):
            u = n / _GRAIN
            x = x0 + (x1 - x0) * (u if from_start else 1 - u)
            if abs(row.track.y(x) - o.track.y(x)) > gauge * 2e-3:
                break
            last = x
        if last is not None and (found is None or (last > found) == from_start):
            found = last
    return found


def _bounds(
    kind: Kind,
    rows: Sequence[_Row],
    row: _Row,
    castings: Mapping[str, Frog],
    frogs: Mapping[str, tuple[Point, float]],
    courses: Courses,
) -> list[float]:
    """The x of every boundary between the rails of a row, its two ends included."""
    rails = row.rails
    n = len(rails)
    found: list[float | None] = [None] * (n + 1)
    found[0], found[n] = row.track.course.x0, row.track.course.x1
    for i in range(1, n):
        a, b = rails[i - 1], rails[i]
        for blade, stock, faces, start in ((b, a, row.road.start, True), (a, b, row.road.end, False)):
            if _tip(kind, blade, stock, faces):
                others = [o for o in rows if o.hand is row.hand and stock in o.rails and blade not in o.rails]
                found[i] = _parting(row, others, start, courses.gauge)
    for i, rail in enumerate(rails):
        frog = castings.get(rail)
        if frog is None or frog.name not in frogs:
            continue
        (x, _), unit = frogs[frog.name]
        if not frog.acute:
            west = east = OBTUSE
        else:
            vee = set(frog.vee or ()) | set(frog.rails[1:])
            nose_east = i + 1 < n and rails[i + 1] in vee
            nose_west = i > 0 and rails[i - 1] in vee
            west = BEYOND if nose_west else AHEAD
            east = BEYOND if nose_east else AHEAD
        if i:
            found[i] = x - west * unit
        if i + 1 < n:
            found[i + 1] = x + east * unit
    return _filled(found)


def _filled(found: list[float | None]) -> list[float]:
    """Boundaries that nothing states lie evenly between those that something does; never out of order."""
    known = [i for i, x in enumerate(found) if x is not None]
    filled: list[float] = []
    for i in range(len(found)):
        here = found[i]
        if here is None:
            a = max(k for k in known if k < i)
            b = min(k for k in known if k > i)
            xa, xb = found[a], found[b]
            assert xa is not None and xb is not None
            here = xa + (xb - xa) * (i - a) / (b - a)
        filled.append(max(here, filled[-1]) if filled else here)
    return filled
