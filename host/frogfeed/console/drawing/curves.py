"""Lines as lists of points: offset to one side, cut, crossed with each other. Units are the drawing's; y grows down."""

from __future__ import annotations

import itertools
import math
from collections.abc import Callable, Sequence

Point = tuple[float, float]
Line = tuple[Point, ...]


def sample(y_at: Callable[[float], float], x0: float, x1: float, count: int = 33) -> Line:
    """The line y = y_at(u) over x from `x0` to `x1`, with u from 0 to 1 along it; `count` points."""
    return tuple((x0 + (x1 - x0) * i / (count - 1), y_at(i / (count - 1))) for i in range(count))


def normals(line: Sequence[Point]) -> tuple[Point, ...]:
    """Unit vectors to the left of the direction of travel, one a point (left of +x is -y on the screen)."""
    found: list[Point] = []
    for i in range(len(line)):
        a, b = line[max(i - 1, 0)], line[min(i + 1, len(line) - 1)]
        dx, dy = b[0] - a[0], b[1] - a[1]
        size = math.hypot(dx, dy) or 1.0
        found.append((dy / size, -dx / size))
    return tuple(found)


def offset(line: Sequence[Point], left: float) -> Line:
    """The line moved by `left` to the left of its direction (negative: to the right)."""
    return tuple((x + left * nx, y + left * ny) for (x, y), (nx, ny) in zip(line, normals(line), strict=True))


def lengths(line: Sequence[Point]) -> tuple[float, ...]:
    """How far along the line each of its points lies, from 0."""
    found = [0.0]
    for a, b in itertools.pairwise(line):
        found.append(found[-1] + math.dist(a, b))
    return tuple(found)


def point_at(line: Sequence[Point], s: float) -> Point:
    """The point so far along the line; its ends where `s` lies beyond them."""
    along = lengths(line)
    if s <= 0.0:
        return line[0]
    for i in range(1, len(line)):
        if along[i] >= s:
            step = along[i] - along[i - 1]
            u = (s - along[i - 1]) / step if step else 0.0
            (ax, ay), (bx, by) = line[i - 1], line[i]
            return ax + u * (bx - ax), ay + u * (by - ay)
    return line[-1]


def cut(line: Sequence[Point], start: float, end: float) -> Line:
    """The part between two places along the line; empty where it has no length."""
    if end - start < 1e-6:
        return ()
    along = lengths(line)
    inner = [p for p, s in zip(line, along, strict=True) if start + 1e-6 < s < end - 1e-6]
    return (point_at(line, start), *inner, point_at(line, end))


def crossing(one: Sequence[Point], other: Sequence[Point]) -> float | None:
    """How far along `one` the two lines first cross; None where they do not."""
    along = lengths(one)
    for i in range(len(one) - 1):
        for j in range(len(other) - 1):
            u = _cross(one[i], one[i + 1], other[j], other[j + 1])
            if u is not None:
                return along[i] + u * (along[i + 1] - along[i])
    return None


def _cross(a: Point, b: Point, c: Point, d: Point) -> float | None:
    rx, ry, sx, sy = b[0] - a[0], b[1] - a[1], d[0] - c[0], d[1] - c[1]
    det = rx * sy - ry * sx
    if abs(det) < 1e-9:
        return None
    u = ((c[0] - a[0]) * sy - (c[1] - a[1]) * sx) / det
    v = ((c[0] - a[0]) * ry - (c[1] - a[1]) * rx) / det
    return u if 0.0 <= u <= 1.0 and 0.0 <= v <= 1.0 else None


def distance(point: Point, line: Sequence[Point]) -> float:
    """How far a point lies from a line."""
    return min(_to_segment(point, a, b) for a, b in itertools.pairwise(line))


def _to_segment(p: Point, a: Point, b: Point) -> float:
    dx, dy = b[0] - a[0], b[1] - a[1]
    size = dx * dx + dy * dy
    u = min(max(((p[0] - a[0]) * dx + (p[1] - a[1]) * dy) / size, 0.0), 1.0) if size else 0.0
    return math.dist(p, (a[0] + u * dx, a[1] + u * dy))


def hermite(a: Point, slope_a: float, b: Point, slope_b: float, count: int = 17) -> Line:
    """A smooth line from a to b that leaves and arrives with these slopes (dy / dx)."""
    dx = b[0] - a[0]

    def y(u: float) -> float:
        h00, h10 = 2 * u**3 - 3 * u**2 + 1, u**3 - 2 * u**2 + u
        h01, h11 = -2 * u**3 + 3 * u**2, u**3 - u**2
        return h00 * a[1] + h10 * dx * slope_a + h01 * b[1] + h11 * dx * slope_b

    return sample(y, a[0], b[0], count)
