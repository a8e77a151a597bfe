"""Where names stand: near what they name, clear of every track, of each other, and within the drawing."""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field

from frogfeed.console.drawing.curves import Line, Point

Box = tuple[float, float, float, float]
"""x, y, width, height."""

GROWTH = 1.42
"""Names are drawn so much larger where the drawing is shown as small as on a phone."""
SLEEPERS = 7.5
"""How far the track reaches beyond its rails, with a little room."""
AWAY = 28.0
"""From the middle of a track to the middle of a name beside it."""
STEP = 12.0
CELL = 96.0


@dataclass(frozen=True, slots=True)
class Style:
    """How wide and high letters are, at most, before they grow."""

    letter: float
    height: float

    def size(self, text: str) -> tuple[float, float]:
        """Width and height of a text at its largest."""
        return len(text) * self.letter * GROWTH, self.height * GROWTH


PLACE = Style(7.3, 13.0)
PIECE = Style(9.6, 15.0)


@dataclass(frozen=True, slots=True)
class Wish:
    """A name to be placed: it would best stand at `best`, may be moved along to between `low` and `high`, or to the
    other side of the track, whose middle is at `track`.
    """

    text: str
    style: Style
    best: Point
    low: float
    high: float
    track: float

    def spots(self) -> Iterator[Point]:
        """Places for the name's middle, the best first."""
        x, y = self.best
        reach = max(x - self.low, self.high - x, 0.0)
        moves = [0.0, *(d * k * STEP for k in range(1, int(reach // STEP) + 1) for d in (-1, 1))]
        for row in (y, 2 * self.track - y):
            yield from ((x + m, row) for m in moves if self.low <= x + m <= self.high or m == 0.0)


def box_of(wish: Wish, at: Point) -> Box:
    """The room that a name takes with its middle at a spot."""
    w, h = wish.style.size(wish.text)
    return at[0] - w / 2, at[1] - h / 2, w, h


def place(
    wishes: Sequence[Wish], tracks: Iterable[Line], taken: Iterable[Box], size: tuple[float, float]
) -> list[Point]:
    """A spot for each name. Where none is free, the one that covers least."""
    ground = _Ground(size)
    for line in tracks:
        ground.add_line(line)
    for box in taken:
        ground.add_box(box)
    found = []
    for wish in wishes:
        at, least = wish.best, math.inf
        for spot in wish.spots():
            covered = ground.covers(box_of(wish, spot))
            if covered < least:
                at, least = spot, covered
            if not covered:
                break
        found.append(at)
        ground.add_box(box_of(wish, at))
    return found


def overlaps(a: Box, b: Box) -> bool:
    """Whether two boxes have room in common."""
    return a[0] < b[0] + b[2] and b[0] < a[0] + a[2] and a[1] < b[1] + b[3] and b[1] < a[1] + a[3]


def meets(box: Box, a: Point, b: Point) -> bool:
    """Whether a straight line from `a` to `b` touches a box: what is left of it within the box's sides."""
    low, high = 0.0, 1.0
    for start, delta, near, far in (
        (a[0], b[0] - a[0], box[0], box[0] + box[2]),
        (a[1], b[1] - a[1], box[1], box[1] + box[3]),
    ):
        if abs(delta) < 1e-9:
            if not near <= start <= far:
                return False
            continue
        t0, t1 = sorted(((near - start) / delta, (far - start) / delta))
        low, high = max(low, t0), min(high, t1)
    return low <= high


@dataclass
class _Ground:
    """What stands already, in cells, so that only what is near is looked at."""

    size: tuple[float, float]
    lines: dict[tuple[int, int], list[tuple[Point, Point]]] = field(default_factory=dict)
    boxes: list[Box] = field(default_factory=list)

    def add_line(self, line: Line) -> None:
        for a, b in itertools.pairwise(line):
            for cell in _cells((min(a[0], b[0]), min(a[1], b[1]), abs(a[0] - b[0]), abs(a[1] - b[1]))):
                self.lines.setdefault(cell, []).append((a, b))

    def add_box(self, box: Box) -> None:
        self.boxes.append(box)

    def covers(self, box: Box) -> int:
        """How much a name would cover there: pieces of track, other names, and the drawing's edge."""
        x, y, w, h = box
        wide = (x - SLEEPERS, y - SLEEPERS, w + 2 * SLEEPERS, h + 2 * SLEEPERS)
        near = {segment for cell in _cells(wide) for segment in self.lines.get(cell, ())}
        found = sum(meets(wide, a, b) for a, b in near) + 4 * sum(overlaps(box, o) for o in self.boxes)
        return found + 8 * (x < 0 or y < 0 or x + w > self.size[0] or y + h > self.size[1])


def _cells(box: Box) -> Iterator[tuple[int, int]]:
    x, y, w, h = box
    for i in range(int(x // CELL), int((x + w) // CELL) + 1):
        for j in range(int(y // CELL), int((y + h) // CELL) + 1):
            yield i, j
