"""The layout drawing: every track with both rails, its joints, gaps, droppers, frogs, districts and boards, on as many
sheets as it takes, with match lines between them.

Order and side are true, lengths are not. Labels are placed sheet by sheet, so none is cut by a match line.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from itertools import pairwise

from frogfeed.layout.model import Layout
from frogfeed.layout.schema import Hand
from frogfeed.plan.makeup import FitDropper, FitSwitched
from frogfeed.sheets.courses import Course, Courses, smooth
from frogfeed.sheets.drawing import (
    LEAST_PT,
    Anchor,
    Box,
    Disc,
    Drawing,
    Item,
    Pen,
    Point,
    Sketch,
    Stroke,
    Text,
    parallel,
)
from frogfeed.sheets.model import Book, Card
from frogfeed.sheets.piece_rails import PieceRails, lay_rails
from frogfeed.sheets.placing import Label, NoRoomError, draw, place, samples
from frogfeed.sheets.tracks import Map, Node, lay_out
from frogfeed.sheets.words import Words
from frogfeed.track.network.model import Joint, RailNetwork
from frogfeed.track.pieces.catalogue import Kind

GAUGE = 3.2
ROW_MM = 24.0
LEAST_ROW_MM = 10.5
CUT_ROW_MM = 12.0
"""Between two rows: at most, at least, and where the rows take more than one sheet."""
APART_MM = (22.0, 18.0, 15.0, 12.0, 9.0)
"""Between two pieces: the widest that fits on one sheet, else the last."""
MOST_WIDE = 60
"""With more pieces and places than this, no sheet has room to spare."""
RAIL = Pen(0.4)
MARGIN = 9.0
"""Paper kept free around the tracks of a sheet, mm."""
Cell = tuple[int, int]
"""Column and row of a sheet."""
BANDS: tuple[Pen | None, ...] = (
    None,
    Pen(GAUGE * 2.1, (), 0.87),
    Pen(GAUGE * 2.1, (5.0, 1.6), 0.85),
    Pen(GAUGE * 2.1, (1.2, 1.2), 0.83),
    Pen(GAUGE * 2.1, (0.4, 2.0), 0.6),
)
"""What lies under the tracks of the first, second, ... district."""


@dataclass
class _World:
    """All geometry of the whole drawing, before it is cut into sheets."""

    bands: list[Stroke] = field(default_factory=list)
    items: list[Item] = field(default_factory=list)
    labels: list[Label] = field(default_factory=list)
    crossing: list[tuple[Box, str, str]] = field(default_factory=list)


def layout_drawings(
    layout: Layout,
    network: RailNetwork,
    book: Book,
    kinds: Mapping[str, Kind],
    width: float,
    height: float,
    words: Words,
) -> tuple[Drawing, ...]:
    """The sheets of the layout drawing, each at most `width` x `height` mm."""
    inner = width - 2 * MARGIN
    wide = (apart for apart in APART_MM[:-1] if lay_out(layout, network, kinds, apart).width <= inner)
    few = len(network.pieces) <= MOST_WIDE
    apart = next(wide, APART_MM[-1]) if few else APART_MM[-1]
    while True:
        try:
            return _sheets(layout, network, book, kinds, width, height, words, apart)
        except NoRoomError:
            apart *= 1.5
            if apart > 60.0:
                raise


def _sheets(
    layout: Layout,
    network: RailNetwork,
    book: Book,
    kinds: Mapping[str, Kind],
    width: float,
    height: float,
    words: Words,
    apart: float,
) -> tuple[Drawing, ...]:
    plan = lay_out(layout, network, kinds, apart)
    inner_w, inner_h = width - 2 * MARGIN, height - 2 * MARGIN
    row = min(ROW_MM, inner_h / plan.rows)
    downs = 1
    if row < LEAST_ROW_MM:
        row = CUT_ROW_MM
        downs = math.ceil(plan.rows * row / inner_h)
    world = _draw_world(network, book, kinds, plan, row, words)
    xs = _cuts(plan, inner_w)
    per = math.ceil(plan.rows / downs)
    ys = [(-0.5 + per * k) * row for k in range(downs)] + [(plan.rows - 0.5) * row]
    grid = {(i, k): Box(xs[i], ys[k], xs[i + 1], ys[k + 1]) for k in range(len(ys) - 1) for i in range(len(xs) - 1)}
    used = [at for at, box in grid.items() if any(True for item in world.items for _ in _inside(item, box))]
    numbers = {at: n for n, at in enumerate(used, 1)}
    return tuple(_tile(world, grid[at], at, numbers, words) for at in used)


def _cuts(plan: Map, inner: float) -> list[float]:
    """Where match lines stand: evenly, moved to where they cut the fewest boxes."""
    n = max(1, math.ceil(plan.width / inner))
    if n == 1:
        return [0.0, plan.width]
    found = [0.0]
    for k in range(1, n):
        left = plan.width - found[-1]
        ideal = found[-1] + left / (n - k + 1)
        best = min(
            (found[-1] + inner - d for d in range(0, int(inner * 0.35), 2)),
            key=lambda x: (
                sum(v.x - 1 < x < v.x + v.width + 1 for v in plan.nodes.values()) * 8
                + abs(x - ideal) * 0.3
                + (1000 if plan.width - x > inner * (n - k) else 0)
            ),
        )
        found.append(best)
    return [*found, plan.width]


# --- the whole drawing


def _draw_world(
    network: RailNetwork, book: Book, kinds: Mapping[str, Kind], plan: Map, row: float, words: Words
) -> _World:
    world = _World()
    cards = {c.name: c for c in book.cards}
    district = {d: i for i, d in enumerate(book.districts)}
    of = {name: s.district for (name, _), s in network.sides.items()}
    first: set[str] = set()
    shapes: dict[str, PieceRails] = {}
    for node in plan.nodes.values():
        here = of.get(node.name, "")
        band = BANDS[min(district.get(here, 0), len(BANDS) - 1)]
        card = cards.get(node.name)
        kind = kinds.get(network.pieces[node.name].kind)
        if kind is not None and card is not None and card.piece:
            shapes[node.name] = _piece(world, network, node, card, kind, row, band, words)
        else:
            _place(world, node, card, row, band, book)
        if here and here not in first and len(book.districts) > 1:
            first.add(here)
            y = next(iter(node.rows.values()), 0.0) * row
            world.labels.append(
                Label(
                    f"district:{here}", (words("layout.district", name=here),), (node.x, y), (-0.5, -0.85), boxed=True
                )
            )
    marks = {(j.a, j.b): j.mark for j in book.joints}
    for j in plan.drawn:
        a, b = (j.a, j.b) if j.a[1] in plan.nodes[j.a[0]].east else (j.b, j.a)
        da, db = of.get(a[0], ""), of.get(b[0], "")
        bands = [BANDS[min(district.get(d, 0), len(BANDS) - 1)] for d in (da, db)]
        _joint(world, plan, j, a, b, row, bands, marks[j.a, j.b])
    for j in plan.apart:
        for mine, other in ((j.a, j.b), (j.b, j.a)):
            node = plan.nodes[mine[0]]
            east = mine[1] in node.east
            x = node.x + (node.width if east else 0.0)
            y = node.rows.get(mine[1], 0.0) * row
            key = "layout.joins.gap" if j.gaps else "layout.joins"
            text = f"{marks[j.a, j.b]} " + words(key, other=f"{other[0]}.{other[1]}")
            world.labels.append(Label(f"joint:{j.line}", (text,), (x, y), (1.0 if east else -1.0, 0.0)))
    return world


def _courses(node: Node, kind: Kind, row: float) -> Courses:
    """The courses of a piece in its box: smooth from row to row, y upwards."""
    x0, x1 = node.x, node.x + node.width
    y = {e: -node.rows[e] * row for e in (*node.west, *node.east)}
    roads: dict[tuple[str, str], Course] = {}
    if node.dips:
        up, down = max(y.values()), min(y.values())
        mid, half = (up + down) / 2, (up - down) / 2
        cross = smooth(half, -half, x0, x1)
        flat = max(GAUGE * 0.75, half * 0.3)

        def slip(sign: float) -> Callable[[float], float]:
            def at(x: float) -> float:
                d = abs(cross(x))
                return mid + sign * (d if d >= flat else (d * d / flat + flat) / 2)

            return at

    for r in kind.roads:
        turned = r.start in node.east
        west, east = (r.end, r.start) if turned else (r.start, r.end)
        if west not in node.west or east not in node.east:
            continue
        if node.dips and abs(y[west] - y[east]) < 1e-6:
            curve = slip(1.0 if y[west] > mid else -1.0)
        else:
            curve = smooth(y[west], y[east], x0, x1)
        roads[r.start, r.end] = Course(r.start, r.end, curve, x0, x1, turned)
    ends = {e: (x0 if e in node.west else x1, y[e], 0 if e in node.west else 1) for e in y}
    return Courses(roads, ends, GAUGE, node.width / 3.3)


def _piece(
    world: _World, network: RailNetwork, node: Node, card: Card, kind: Kind, row: float, band: Pen | None, words: Words
) -> PieceRails:
    shape = lay_rails(kind, _courses(node, kind, row))
    if band is not None:
        for c in shape.courses.roads.values():
            points = tuple((c.x0 + (c.x1 - c.x0) * i / 24, -c.y(c.x0 + (c.x1 - c.x0) * i / 24)) for i in range(25))
            world.bands.append(Stroke(points, band))
    frogs = {f.rails[0]: f for f in kind.frogs}
    make = kind.makes[card.make] if card.make is not None else None
    plastic = make.plastic if make is not None else frozenset()
    fed = {d.rail.partition(".")[2] for s in card.steps for d in s.does if isinstance(d, FitSwitched)}
    for rail, stretches in shape.stretches.items():
        for s in stretches:
            line = tuple((x, -y) for x, y in s.points(33))
            if rail in plastic:
                for shift in (0.3, -0.3):
                    world.items.append(Stroke(parallel(line, shift), Pen(0.15)))
            elif rail in frogs:
                switched = bool(set(frogs[rail].rails) & fed)
                world.items.append(Stroke(line, Pen(1.15 if switched else 0.6)))
                if switched:
                    world.items.append(Stroke(line, Pen(0.5, (0.6, 0.5), 1.0)))
            else:
                world.items.append(Stroke(line, RAIL))
    # A piece without a drive of its own is set by the drives of others, which stand at theirs.
    own = ("servo", "contact") if kind.slots else ()
    channels = [f"{c.board} {c.name}" for c in card.channels if c.kind in own]
    feeds = [f"{c.board} {c.name}" for c in card.channels if c.kind not in ("servo", "contact")]
    lines = [card.name]
    for group in (channels, feeds):
        lines += _joined(group)
    ys = [node.rows[e] * row for e in (*node.west, *node.east)]
    middle = (node.x + node.width * 0.45, sum(ys) / len(ys))
    leaning = [node.rows[e] for e in (*node.west, *node.east)]
    straight = node.rows[node.straight[0][0]] if node.straight else 0.0
    way = -1.0 if max(leaning) > straight else 1.0
    anchor = (middle[0], straight * row + way * GAUGE * 0.5)
    world.labels.append(Label(f"piece:{card.name}", tuple(lines), anchor, (0.0, way), True, weight=4.0))
    for step in card.steps:
        for does in step.does:
            if isinstance(does, FitDropper):
                rail = does.rail.partition(".")[2]
                s = shape.main(rail)
                side = shape.courses.ends[step.end][2] if step.end in shape.courses.ends else None
                x = s.middle if side is None else s.x0 + 3.0 if side == 0 else s.x1 - 3.0
                x = min(max(x, s.x0), s.x1)
                up = s.inward < 0
                _dropper(world, (x, -s.track.y(x)), -1.0 if up else 1.0, step.mark, does.wire)
    return shape


def _joined(names: Sequence[str]) -> list[str]:
    """Channel names of one board in one go: "B1 S1 S2"."""
    boards: dict[str, list[str]] = {}
    for n in names:
        board, _, channel = n.partition(" ")
        boards.setdefault(board, []).append(channel)
    return [f"{b} {' '.join(c)}" for b, c in boards.items()]


def _dropper(world: _World, at: Point, way: float, mark: str, wire: str) -> None:
    letter = wire.rpartition(".")[2]
    end = (at[0], at[1] + way * 2.2)
    pen = Pen(0.3) if letter == "A" else Pen(0.3, (0.7, 0.4))
    world.items += [Stroke((at, end), pen), Disc(at[0], at[1], 0.55, None, 0.0)]
    world.labels.append(Label(f"wire:{mark}", (f"{mark} {letter}",), end, (0.0, way), weight=4.0))


def _place(world: _World, node: Node, card: Card | None, row: float, band: Pen | None, book: Book) -> None:
    y = node.rows.get("a", 0.0) * row
    x0, x1 = node.x, node.x + node.width
    if band is not None:
        world.bands.append(Stroke(((x0, y), (x1, y)), band))
    for side in (-0.5, 0.5):
        world.items.append(Stroke(((x0, y + side * GAUGE), (x1, y + side * GAUGE)), RAIL))
    used = {e for j in book.joints for e in (j.a, j.b) if e[0] == node.name}
    for end, x, out in ((node.west[0], x0, -1.0), (node.east[0], x1, 1.0)):
        if (node.name, end) not in used and len(used) < 2:
            if card is not None and card.kind == "open":
                for side in (-0.5, 0.5):
                    tip = (x + out * 2.5, y + side * GAUGE)
                    world.items.append(Stroke(((x, y + side * GAUGE), tip), Pen(0.4, (0.7, 0.7))))
            else:
                world.items.append(Stroke(((x, y - GAUGE * 0.8), (x, y + GAUGE * 0.8)), Pen(0.8)))
    top = ((x0 + x1) / 2, y - GAUGE / 2)
    world.labels.append(Label(f"place:{node.name}", (node.name,), top, (0.0, -1.0), False, weight=4.0))
    if card is None:
        return
    # R1 is on the left of the way from a to b: above where a lies west.
    above = "R1" if node.west[0] == "a" else "R2"
    n = 0
    for step in card.steps:
        for does in step.does:
            if isinstance(does, FitDropper | FitSwitched):
                rail = does.rail.partition(".")[2]
                way = -1.0 if rail == above else 1.0
                at = ((x0 + x1) / 2 + (n // 2) * 3.0 - 2.0, y + way * GAUGE / 2)
                n += 1
                if isinstance(does, FitDropper):
                    _dropper(world, at, way, step.mark, does.wire)
                else:
                    world.items += [Disc(at[0], at[1], 0.55, None, 0.0)]
                    text = f"{step.mark} F {does.board or ''} {does.channel or ''}".strip()
                    world.labels.append(Label(f"wire:{step.mark}", (text,), at, (0.0, way)))


def _joint(
    world: _World,
    plan: Map,
    j: Joint,
    a: tuple[str, str],
    b: tuple[str, str],
    row: float,
    bands: Sequence[Pen | None],
    mark: str,
) -> None:
    na, nb = plan.nodes[a[0]], plan.nodes[b[0]]
    xa, ya = na.x + na.width, na.rows[a[1]] * row
    xb, yb = nb.x, nb.rows[b[1]] * row
    span = max(xb - xa, 1.0)
    # A change of row is made close to the leg, so that long ways run level.
    reach = min(span, 14.0 + abs(yb - ya) * 0.6)
    late = b[1] not in [e for pair in nb.straight for e in pair] and a[1] in [e for pair in na.straight for e in pair]
    c0 = xb - reach if late else xa
    curve = smooth(ya, yb, c0, c0 + reach)
    count = max(12, int(span / 2.5))
    line = tuple((xa + span * i / count, curve(xa + span * i / count)) for i in range(count + 1))
    half = len(line) // 2
    for part, band in zip((line[: half + 1], line[half:]), bands, strict=True):
        if band is not None:
            world.bands.append(Stroke(part, band))
    forward = a == j.a
    x, y = line[half]
    for hand, side in ((Hand.LEFT, 1.0), (Hand.RIGHT, -1.0)):
        rail = parallel(line, side * GAUGE / 2)
        real = hand if forward else hand.other
        px, py = rail[half]
        if real in j.gaps:
            left = tuple(p for p in rail if p[0] <= px - 0.4)
            right = tuple(p for p in rail if p[0] >= px + 0.4)
            world.items += [Stroke((*left, (px - 0.4, py)), RAIL), Stroke(((px + 0.4, py), *right), RAIL)]
            for dx in (-0.4, 0.4):
                world.items.append(Stroke(((px + dx, py - 1.1), (px + dx, py + 1.1)), Pen(0.4)))
        else:
            world.items.append(Stroke(rail, RAIL))
            fill = 1.0 if real in j.untrusted else 0.0
            box = ((px - 0.9, py - 0.45), (px + 0.9, py - 0.45), (px + 0.9, py + 0.45), (px - 0.9, py + 0.45))
            world.items.append(Stroke(box, Pen(0.2), True, fill))
    world.labels.append(Label(f"joint:{mark}", (mark,), (x, y + GAUGE / 2), (0.0, 1.0), weight=4.0))
    top, low = min(ya, yb) - 0.1, max(ya, yb) + 0.1
    world.crossing.append((Box(xa, top, xb, low), a[0], b[0]))


# --- sheets


def _clip(points: Sequence[Point], box: Box) -> list[tuple[Point, ...]]:
    """The parts of a line inside a box."""
    found: list[list[Point]] = []
    for (ax, ay), (bx, by) in pairwise(points):
        lo, hi = 0.0, 1.0
        for at, d, low, high in ((ax, bx - ax, box.x0, box.x1), (ay, by - ay, box.y0, box.y1)):
            if abs(d) < 1e-12:
                if at < low or at > high:
                    lo, hi = 1.0, 0.0
                continue
            u, v = sorted(((low - at) / d, (high - at) / d))
            lo, hi = max(lo, u), min(hi, v)
        if lo > hi:
            continue
        p = (ax + (bx - ax) * lo, ay + (by - ay) * lo)
        q = (ax + (bx - ax) * hi, ay + (by - ay) * hi)
        if found and math.dist(found[-1][-1], p) < 1e-6:
            found[-1].append(q)
        else:
            found.append([p, q])
    return [tuple(f) for f in found]


def _inside(item: Item, box: Box) -> Iterable[Item]:
    match item:
        case Stroke(points, pen, closed, fill):
            if closed:
                x = sum(p[0] for p in points) / len(points)
                y = sum(p[1] for p in points) / len(points)
                if box.x0 <= x < box.x1 and box.y0 <= y < box.y1:
                    yield item
            else:
                for part in _clip(points, box):
                    yield Stroke(part, pen, closed, fill)
        case Disc(x, y):
            if box.x0 <= x < box.x1 and box.y0 <= y < box.y1:
                yield item


def _shift(item: Item, dx: float, dy: float) -> Item:
    match item:
        case Stroke(points, pen, closed, fill):
            return Stroke(tuple((x + dx, y + dy) for x, y in points), pen, closed, fill)
        case Disc(x, y, r, pen, fill):
            return Disc(x + dx, y + dy, r, pen, fill)
        case _:
            raise TypeError(item)


def _tile(world: _World, tile: Box, at: Cell, numbers: Mapping[Cell, int], words: Words) -> Drawing:
    """One sheet: its part of the drawing, labels, and match lines to its neighbours."""
    column, line = at
    west, east = numbers.get((column - 1, line)), numbers.get((column + 1, line))
    north, south = numbers.get((column, line - 1)), numbers.get((column, line + 1))
    tile = _cropped(world, tile, north is not None, south is not None)
    dx, dy = MARGIN - tile.x0, MARGIN - tile.y0
    width = (tile.x1 - tile.x0) + 2 * MARGIN
    height = (tile.y1 - tile.y0) + 2 * MARGIN
    edge = Box(
        tile.x0 - (MARGIN if west is None else 0.0),
        tile.y0 - (MARGIN if north is None else 0.0),
        tile.x1 + (MARGIN if east is None else 0.0),
        tile.y1 + (MARGIN if south is None else 0.0),
    )
    bands = [_shift(i, dx, dy) for band in world.bands for i in _inside(band, edge)]
    items = [_shift(i, dx, dy) for item in world.items for i in _inside(item, edge)]
    sketch = Sketch([*bands, *items])
    labels = [
        replace(x, anchor=(x.anchor[0] + dx, x.anchor[1] + dy))
        for x in world.labels
        if edge.x0 <= x.anchor[0] < edge.x1 and edge.y0 <= x.anchor[1] < edge.y1
    ]
    frame = Box(0.5, 0.5, width - 0.5, height - 0.5)
    x0, x1, y0, y1 = tile.x0 + dx, tile.x1 + dx, tile.y0 + dy, tile.y1 + dy
    match = Pen(0.35, (4.0, 1.2, 0.8, 1.2))
    taken: list[Box] = []
    solid = [s.points for s in items if isinstance(s, Stroke)]

    def edge_line(a: Point, b: Point, name: str, sheet: int, x: float, y: float, anchor: Anchor) -> None:
        sketch.line(a, b, pen=match)
        solid.append((a, b))
        text = Text(x, y, words("layout.match", name=name, n=sheet), LEAST_PT, anchor, True, part="match")
        sketch.items.append(text)
        taken.append(text.box)

    across, middle = f"{line + 1}" if line or south is not None else "", (x0 + x1) / 2
    if west is not None:
        edge_line((x0, 3.9), (x0, height - 0.8), f"{_letter(column)}{across}", west, x0 - 8.0, 3.4, "start")
    if east is not None:
        edge_line((x1, 3.9), (x1, height - 0.8), f"{_letter(column + 1)}{across}", east, x1 + 8.0, 3.4, "end")
    if north is not None:
        edge_line((x0, y0), (x1, y0), f"H{line}{_letter(column + 1)}", north, middle, y0 - 0.9, "middle")
    if south is not None:
        edge_line((x0, y1), (x1, y1), f"H{line + 1}{_letter(column + 1)}", south, middle, y1 + 3.2, "middle")
    order = {"piece": 0, "district": 1, "place": 2, "joint": 3, "wire": 4}
    labels.sort(key=lambda v: order.get(v.part.partition(":")[0], 9))
    for p in place(labels, samples(solid), frame, taken):
        sketch.items += draw(p, Pen(0.15))
    n = numbers[at]
    return sketch.done(f"layout-{n}", width, height, words("layout.sheet", n=n, of=len(numbers)))


def _cropped(world: _World, tile: Box, above: bool, below: bool) -> Box:
    """The tile without the empty paper above and below its tracks; a side with a match line stays."""
    ys = [y for item in world.items if isinstance(item, Stroke) for part in _clip(item.points, tile) for _, y in part]
    if not ys:
        return tile
    return Box(tile.x0, tile.y0 if above else min(ys) - 4.0, tile.x1, tile.y1 if below else max(ys) + 3.0)


def _letter(column: int) -> str:
    """The letter of the match line to the west of a column: A, B, ... Z, AA, ..."""
    return (_letter(column // 26) if column > 26 else "") + chr(ord("A") + (column - 1) % 26)
