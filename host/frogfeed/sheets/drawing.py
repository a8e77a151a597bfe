"""A small drawing model: lines, discs and texts with known extents, in mm on paper; x to the right, y down.

Texts are set in one fixed-pitch face, so the extent of every text is known without any font file, and a test
can tell overlaps and clipping from the boxes alone. Nothing here knows about rails.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from typing import Literal

Point = tuple[float, float]

MM_PER_PT = 25.4 / 72.0
ADVANCE_EM = 0.6021
"""Width of every glyph of the drawing face (DejaVu Sans Mono: 1233 of 2048 units)."""
ASCENT_EM = 0.76
"""From the baseline to the top of the tallest letter or digit."""
DESCENT_EM = 0.24
"""From the baseline to the lowest point of g, p, q and y."""
LEAST_PT = 8.0
"""No text on any sheet is smaller."""

Anchor = Literal["start", "middle", "end"]


@dataclass(frozen=True, slots=True)
class Box:
    """An upright rectangle."""

    x0: float
    y0: float
    x1: float
    y1: float

    def overlaps(self, other: Box, slack: float = 0.0) -> bool:
        """Whether the two share more than an edge; `slack` mm of overlap is let pass."""
        return (
            self.x0 < other.x1 - slack
            and other.x0 < self.x1 - slack
            and self.y0 < other.y1 - slack
            and other.y0 < self.y1 - slack
        )

    def inside(self, other: Box, slack: float = 1e-6) -> bool:
        """Whether this lies wholly in `other`."""
        return (
            self.x0 >= other.x0 - slack
            and self.y0 >= other.y0 - slack
            and self.x1 <= other.x1 + slack
            and self.y1 <= other.y1 + slack
        )

    def grown(self, by: float) -> Box:
        """The box with a margin on every side."""
        return Box(self.x0 - by, self.y0 - by, self.x1 + by, self.y1 + by)

    def moved(self, dx: float, dy: float) -> Box:
        """The box elsewhere."""
        return Box(self.x0 + dx, self.y0 + dy, self.x1 + dx, self.y1 + dy)


@dataclass(frozen=True, slots=True)
class Pen:
    """How a line is drawn: width and dash pattern in mm (empty is solid), and a grey from 0 (black) to 1 (white)."""

    width: float = 0.25
    dash: tuple[float, ...] = ()
    grey: float = 0.0


@dataclass(frozen=True, slots=True)
class Stroke:
    """A line through points; `fill` is a grey, or None for no filling; `closed` joins the last point to the first."""

    points: tuple[Point, ...]
    pen: Pen | None = Pen()
    closed: bool = False
    fill: float | None = None


@dataclass(frozen=True, slots=True)
class Disc:
    """A circle; `fill` as for a stroke."""

    x: float
    y: float
    r: float
    pen: Pen | None = Pen()
    fill: float | None = None


@dataclass(frozen=True, slots=True)
class Text:
    """One line of text on its baseline at (x, y). `part` says what it stands for, in tests and reports."""

    x: float
    y: float
    text: str
    pt: float = LEAST_PT
    anchor: Anchor = "start"
    bold: bool = False
    white: bool = False
    part: str = ""

    @property
    def box(self) -> Box:
        """The extent of the text: full height of the face, exact width."""
        w = text_width(self.text, self.pt)
        x0 = self.x - (w / 2.0 if self.anchor == "middle" else w if self.anchor == "end" else 0.0)
        em = self.pt * MM_PER_PT
        return Box(x0, self.y - ASCENT_EM * em, x0 + w, self.y + DESCENT_EM * em)


@dataclass(frozen=True, slots=True)
class Modules:
    """A square code: rows of "1" (dark) and "0", drawn `size` mm wide with its corner at (x, y)."""

    x: float
    y: float
    size: float
    rows: tuple[str, ...]


Item = Stroke | Disc | Text | Modules


@dataclass(frozen=True)
class Drawing:
    """A finished drawing of `width` x `height` mm."""

    name: str
    width: float
    height: float
    items: tuple[Item, ...]
    title: str = ""

    @property
    def frame(self) -> Box:
        """The paper that the drawing has."""
        return Box(0.0, 0.0, self.width, self.height)

    @property
    def texts(self) -> tuple[Text, ...]:
        """All texts, in drawing order."""
        return tuple(i for i in self.items if isinstance(i, Text))


def text_width(text: str, pt: float) -> float:
    """Width of a text in mm."""
    return len(text) * ADVANCE_EM * pt * MM_PER_PT


def line_height(pt: float) -> float:
    """Height of the face in mm, ascent and descent together."""
    return (ASCENT_EM + DESCENT_EM) * pt * MM_PER_PT


def overlaps(drawing: Drawing, slack: float = 0.05) -> list[tuple[str, str]]:
    """Pairs of texts whose extents overlap."""
    texts = sorted(drawing.texts, key=lambda t: t.box.x0)
    found: list[tuple[str, str]] = []
    for i, a in enumerate(texts):
        for b in texts[i + 1 :]:
            if b.box.x0 >= a.box.x1:
                break
            if a.box.overlaps(b.box, slack):
                found.append((a.text, b.text))
    return found


def clipped(drawing: Drawing) -> list[str]:
    """Texts that reach beyond the paper."""
    return [t.text for t in drawing.texts if not t.box.inside(drawing.frame)]


def too_small(drawing: Drawing) -> list[str]:
    """Texts below the least size."""
    return [t.text for t in drawing.texts if t.pt < LEAST_PT]


@dataclass
class Sketch:
    """A drawing in the making: items are appended, then frozen."""

    items: list[Item] = field(default_factory=list)

    def line(self, *points: Point, pen: Pen = Pen()) -> None:
        """A line through these points."""
        if len(points) > 1:
            self.items.append(Stroke(tuple(points), pen))

    def area(self, points: Iterable[Point], fill: float | None, pen: Pen | None = None) -> None:
        """A closed outline, filled with a grey or not at all."""
        self.items.append(Stroke(tuple(points), pen, True, fill))

    def rect(self, box: Box, pen: Pen | None = Pen(), fill: float | None = None) -> None:
        """A rectangle."""
        self.area(((box.x0, box.y0), (box.x1, box.y0), (box.x1, box.y1), (box.x0, box.y1)), fill, pen)

    def text(
        self,
        x: float,
        y: float,
        text: str,
        *,
        anchor: Anchor = "start",
        bold: bool = False,
        pt: float = LEAST_PT,
        part: str = "",
    ) -> None:
        """A line of text on its baseline."""
        self.items.append(Text(x, y, text, pt, anchor, bold, part=part))

    def done(self, name: str, width: float, height: float, title: str = "") -> Drawing:
        """The finished drawing."""
        return Drawing(name, width, height, tuple(self.items), title)


def arrow(tip: Point, towards: Point, size: float = 1.6) -> tuple[Point, Point, Point]:
    """A filled arrow head with its tip at `tip`, pointing the way from `tip` to `towards`."""
    dx, dy = towards[0] - tip[0], towards[1] - tip[1]
    n = math.hypot(dx, dy) or 1.0
    ux, uy = dx / n, dy / n
    end = (tip[0] + ux * size, tip[1] + uy * size)
    return (
        end,
        (tip[0] - uy * size * 0.45, tip[1] + ux * size * 0.45),
        (tip[0] + uy * size * 0.45, tip[1] - ux * size * 0.45),
    )


def bow(a: Point, b: Point, by: float, count: int = 13) -> tuple[Point, ...]:
    """A curved line from a to b whose middle stands `by` mm to the left of the straight one (y down)."""
    dx, dy = b[0] - a[0], b[1] - a[1]
    n = math.hypot(dx, dy) or 1.0
    cx, cy = (a[0] + b[0]) / 2 + dy / n * by * 2, (a[1] + b[1]) / 2 - dx / n * by * 2
    found = []
    for i in range(count):
        u = i / (count - 1)
        v = 1 - u
        found.append((v * v * a[0] + 2 * u * v * cx + u * u * b[0], v * v * a[1] + 2 * u * v * cy + u * u * b[1]))
    return tuple(found)


def parallel(points: Sequence[Point], by: float) -> tuple[Point, ...]:
    """The line moved sideways by `by` mm, to the left of its direction with y down."""
    found = []
    for i, (x, y) in enumerate(points):
        a, b = points[max(i - 1, 0)], points[min(i + 1, len(points) - 1)]
        dx, dy = b[0] - a[0], b[1] - a[1]
        n = math.hypot(dx, dy) or 1.0
        found.append((x + dy / n * by, y - dx / n * by))
    return tuple(found)
