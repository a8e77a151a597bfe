"""Where labels go: each near its anchor, none on another, on as few lines as can be, always in the same way.

Labels are placed one after the other. For each, boxes around the anchor at growing distances are tried; a box
that leaves the paper or meets a placed text is out, and of the others the one with the least cost is taken.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from frogfeed.sheets.drawing import (
    ASCENT_EM,
    LEAST_PT,
    MM_PER_PT,
    Box,
    Disc,
    Item,
    Pen,
    Point,
    Stroke,
    Text,
    line_height,
    text_width,
)

_RINGS = (0.7, 1.6, 2.8, 4.2, 6.0, 8.0, 10.5, 13.5, 17.0, 21.0, 26.0, 32.0, 40.0)
_WAYS = np.array([(math.cos(math.radians(a)), math.sin(math.radians(a))) for a in range(0, 360, 15)])
NEAR = 7
"""How many of the rings are near."""
GOOD = 9.0
"""Cost up to which a near place is taken without a look at the far ones."""
_SPACE = 0.35
"""Clear distance between two texts, mm."""


class NoRoomError(Exception):
    """A label fits nowhere on the paper that the drawing has."""


@dataclass(frozen=True, slots=True)
class Label:
    """A text to be placed. `way` is where it would like to lie from its anchor (a unit vector), or None.

    `ring` puts the text in a circle (a step's number) before its first line; `leader` allows a line to the
    anchor; `near` is the distance beyond which a leader is drawn.
    """

    part: str
    lines: tuple[str, ...]
    anchor: Point
    way: Point | None = None
    bold: bool = False
    pt: float = LEAST_PT
    ring: str | None = None
    leader: bool = True
    boxed: bool = False
    weight: float = 1.0

    @property
    def size(self) -> tuple[float, float]:
        """Width and height in mm, with the ring."""
        w = max((text_width(t, self.pt) for t in self.lines), default=0.0)
        h = line_height(self.pt) * len(self.lines)
        if self.ring is not None:
            r = ring_radius(self.ring, self.pt)
            w += 2 * r + (0.7 if self.lines else 0.0)
            h = max(h, 2 * r)
        return (w + 1.4, h + 0.8) if self.boxed else (w, h)


@dataclass(frozen=True, slots=True)
class Placed:
    """A label with its box."""

    label: Label
    box: Box


def ring_radius(text: str, pt: float) -> float:
    """Radius of the circle around a step's number."""
    return math.hypot(text_width(text, pt), ASCENT_EM * pt * MM_PER_PT) / 2.0 + 0.25


def samples(lines: Iterable[Sequence[Point]], step: float = 0.7) -> NDArray[np.float64]:
    """Points along lines, at most `step` mm apart: what labels keep off."""
    found: list[Point] = []
    for line in lines:
        for (ax, ay), (bx, by) in pairwise(line):
            n = max(1, math.ceil(math.hypot(bx - ax, by - ay) / step))
            found += [(ax + (bx - ax) * i / n, ay + (by - ay) * i / n) for i in range(n + 1)]
    return np.array(found, dtype=np.float64).reshape(len(found), 2)


def covers(box: Box, lines: Iterable[Sequence[Point]]) -> bool:
    """Whether a box lies on any of these lines."""
    p = samples(lines)
    return bool(((p[:, 0] > box.x0) & (p[:, 0] < box.x1) & (p[:, 1] > box.y0) & (p[:, 1] < box.y1)).any())


def place(
    labels: Sequence[Label],
    keep_off: NDArray[np.float64],
    frame: Box,
    taken: Sequence[Box] = (),
) -> list[Placed]:
    """Place all labels, in their order. Raises NoRoomError where one fits nowhere."""
    boxes = [b.grown(_SPACE) for b in taken]
    leaders: list[tuple[Point, Point]] = []
    points = keep_off
    placed: list[Placed] = []
    for label in labels:
        box = _best(label, points, leaders, frame, boxes)
        if box is None:
            raise NoRoomError(f"{label.part}: {' '.join(label.lines) or label.ring}")
        placed.append(Placed(label, box))
        boxes.append(box.grown(_SPACE))
        line = leader_of(placed[-1])
        if line is not None:
            leaders.append(line)
            points = np.vstack([points, np.repeat(samples([line]), 3, axis=0)])
    return placed


def _best(
    label: Label,
    points: NDArray[np.float64],
    leaders: Sequence[tuple[Point, Point]],
    frame: Box,
    boxes: Sequence[Box],
) -> Box | None:
    """The cheapest box: near rings first, the far ones only where the near ones hold nothing good."""
    near = _among(label, points, leaders, frame, boxes, _RINGS[:NEAR])
    if near is not None and near[0] <= GOOD:
        return near[1]
    far = _among(label, points, leaders, frame, boxes, _RINGS[NEAR:])
    if near is None or (far is not None and far[0] < near[0]):
        return None if far is None else far[1]
    return near[1]


def _among(
    label: Label,
    points: NDArray[np.float64],
    leaders: Sequence[tuple[Point, Point]],
    frame: Box,
    boxes: Sequence[Box],
    rings: Sequence[float],
) -> tuple[float, Box] | None:
    w, h = label.size
    ax, ay = label.anchor
    ux, uy = _WAYS[:, 0], _WAYS[:, 1]
    with np.errstate(divide="ignore"):
        reach = np.minimum(w / 2 / np.abs(ux), h / 2 / np.abs(uy))
    # The box touches the ring with the side that faces the anchor.
    d = (np.array(rings)[:, None] + reach[None, :]).ravel()
    turn = np.zeros(len(_WAYS)) if label.way is None else 1.0 - (ux * label.way[0] + uy * label.way[1])
    cost = (np.array(rings)[:, None] * 1.1 + turn[None, :] * 2.4).ravel()
    cx, cy = ax + np.tile(ux, len(rings)) * d, ay + np.tile(uy, len(rings)) * d
    x0, x1, y0, y1 = cx - w / 2, cx + w / 2, cy - h / 2, cy + h / 2
    ok = (x0 >= frame.x0) & (x1 <= frame.x1) & (y0 >= frame.y0) & (y1 <= frame.y1)
    for q in boxes:
        if q.x1 > ax - w - rings[-1] and q.x0 < ax + w + rings[-1]:
            ok &= (x0 >= q.x1) | (x1 <= q.x0) | (y0 >= q.y1) | (y1 <= q.y0)
    keep = np.flatnonzero(ok)
    if not len(keep):
        return None
    x0, x1, y0, y1, cost = x0[keep], x1[keep], y0[keep], y1[keep], cost[keep]
    g = 0.25
    if len(points):
        px, py = points[:, 0], points[:, 1]
        here = (px > x0.min() - g) & (px < x1.max() + g) & (py > y0.min() - g) & (py < y1.max() + g)
        px, py = px[here][None, :], py[here][None, :]
        inside = (px > x0[:, None] - g) & (px < x1[:, None] + g) & (py > y0[:, None] - g) & (py < y1[:, None] + g)
        cost = cost + inside.sum(axis=1) * 0.9 * label.weight
    best: tuple[float, Box] | None = None
    for i in np.argsort(cost, kind="stable"):
        total = float(cost[i])
        if best is not None and total >= best[0]:
            break
        box = Box(float(x0[i]), float(y0[i]), float(x1[i]), float(y1[i]))
        line = leader_of(Placed(label, box))
        if line is not None:
            total += 7.0 * sum(_crosses_box(line, q) for q in boxes)
            total += 4.0 * sum(_crosses(line, o) for o in leaders)
        if best is None or total < best[0]:
            best = (total, box)
    return best


def leader_of(placed: Placed) -> tuple[Point, Point] | None:
    """The line from a label to its anchor, or None where it lies close enough."""
    label, box = placed.label, placed.box
    x, y = label.anchor
    px, py = min(max(x, box.x0), box.x1), min(max(y, box.y0), box.y1)
    if not label.leader or math.hypot(px - x, py - y) < 1.3:
        return None
    if label.ring is not None:
        r = ring_radius(label.ring, label.pt)
        cx, cy = ring_centre(placed)
        n = math.hypot(cx - x, cy - y)
        if not label.lines and n > r:
            return (cx + (x - cx) / n * r, cy + (y - cy) / n * r), (x, y)
    return (px, py), (x, y)


def ring_centre(placed: Placed) -> Point:
    """Where the ring of a label is drawn: at its left end."""
    label, box = placed.label, placed.box
    r = ring_radius(label.ring or "", label.pt)
    return box.x0 + r + (0.7 if label.boxed else 0.0), (box.y0 + box.y1) / 2


def _crosses(a: tuple[Point, Point], b: tuple[Point, Point]) -> bool:
    def side(p: Point, q: Point, r: Point) -> float:
        return (q[0] - p[0]) * (r[1] - p[1]) - (q[1] - p[1]) * (r[0] - p[0])

    return side(*a, b[0]) * side(*a, b[1]) < 0 and side(*b, a[0]) * side(*b, a[1]) < 0


def _crosses_box(line: tuple[Point, Point], box: Box) -> bool:
    (ax, ay), (bx, by) = line
    lo, hi = 0.0, 1.0
    for p, d, low, high in ((ax, bx - ax, box.x0, box.x1), (ay, by - ay, box.y0, box.y1)):
        if abs(d) < 1e-9:
            if p <= low or p >= high:
                return False
            continue
        u, v = sorted(((low - p) / d, (high - p) / d))
        lo, hi = max(lo, u), min(hi, v)
    return lo < hi


def draw(placed: Placed, pen: Pen = Pen(0.18)) -> list[Item]:  # noqa: B008
    """The label as items: leader, ring, frame and text, with white behind the text."""
    label, box = placed.label, placed.box
    items: list[Item] = []
    line = leader_of(placed)
    if line is not None:
        items.append(Stroke(line, pen))
    corners = ((box.x0, box.y0), (box.x1, box.y0), (box.x1, box.y1), (box.x0, box.y1))
    if label.lines:
        items.append(Stroke(corners, Pen(0.25) if label.boxed else None, True, 1.0))
    pad = 0.7 if label.boxed else 0.0
    left = box.x0 + pad
    em = label.pt * MM_PER_PT
    if label.ring is not None:
        r = ring_radius(label.ring, label.pt)
        cx, cy = ring_centre(placed)
        items.append(Disc(cx, cy, r, Pen(0.3), 1.0))
        items.append(Text(cx, cy + (ASCENT_EM - 0.03) * em / 2, label.ring, label.pt, "middle", True, part=label.part))
        left += 2 * r + 0.7
    top = (box.y0 + box.y1) / 2 - line_height(label.pt) * len(label.lines) / 2
    for n, text in enumerate(label.lines):
        y = top + line_height(label.pt) * n + ASCENT_EM * em
        items.append(Text(left, y, text, label.pt, "start", label.bold and n == 0, part=label.part))
    return items
