"""A card's drawing: the piece with both rails in its own shape, from above and mirrored from below.

From above: joiners and gaps, and which blade lies over. From below: what is cut, bonded and wired. Everything that is a
step of the card bears the step's number in a ring. Lines: bus wire A solid, B broken, switched dash and dot.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

from frogfeed.plan.makeup import BondRails, FitDropper, FitJoiner, FitSwitched, KeepLink, RemoveLink
from frogfeed.sheets.cards import drawn_number
from frogfeed.sheets.courses import courses
from frogfeed.sheets.drawing import Box, Disc, Drawing, Item, Pen, Point, Sketch, bow, parallel
from frogfeed.sheets.model import Card, CardStep, Wire
from frogfeed.sheets.piece_rails import PieceRails, Stretch, lay_rails
from frogfeed.sheets.placing import Label, NoRoomError, covers, draw, leader_of, place, samples
from frogfeed.sheets.words import Words
from frogfeed.track.network.model import BondKind
from frogfeed.track.pieces.catalogue import Kind

RAIL = Pen(0.7)
CROSSING = Pen(0.9)
THIN = Pen(0.25)
WIRE_PENS: Mapping[str, Pen] = {"A": Pen(0.35), "B": Pen(0.35, (1.4, 0.7)), "F": Pen(0.35, (2.0, 0.6, 0.4, 0.6))}
GAUGE_MM = 13.5
"""Gauge on paper: wide enough for a name between the rails."""
CLOSE_GAUGE_MM = 21.0
"""Gauge on paper for a piece of more than `CLOSE` rails."""
CLOSE = 14
TALLEST = 60.0
"""Most height of the rails on paper, mm."""
ROOMS = (3.5, 6.0, 10.0, 15.0, 24.0, 40.0)
"""Paper above and below the rails for labels, mm: tried in turn until no label lies farther than `FAR` mm off."""
FAR = 9.0
COVERED_MM = 5.0
"""A label on a rail is as bad as so much leader."""
SIDE = 19.0
"""Paper beyond the ends, mm."""
OPEN_MM = 1.7
"""How far an open blade is drawn from its stock rail."""
GAP_MM = 1.5
"""Length of a gap between rails of a piece, as drawn."""


@dataclass(frozen=True)
class CardViews:
    """Both views of a piece, and how much wider than long they are drawn."""

    above: Drawing
    below: Drawing
    times: float


@dataclass(frozen=True)
class _Frame:
    """From the model's mm to paper: x and y have scales of their own; `flip` for the view from below."""

    kx: float
    ky: float
    x0: float
    y_mid: float
    left: float
    centre: float
    flip: bool

    def __call__(self, x: float, y: float) -> Point:
        dy = (y - self.y_mid) * self.ky
        return self.left + (x - self.x0) * self.kx, self.centre + (dy if self.flip else -dy)


def card_views(
    card: Card, kind: Kind, gauge_mm: float, wires: Mapping[str, Wire], width: float, words: Words
) -> CardViews:
    """Both views of a card's piece, `width` mm wide. Grows in height until every label has room."""
    shape = lay_rails(kind, courses(kind, drawn_number(card), gauge_mm, card.straight))
    x0, x1, low, high = shape.courses.extent
    kx = (width - 2 * SIDE) / (x1 - x0)
    rails = len(shape.stretches)
    tallest = TALLEST * (1.6 if rails > 2 * CLOSE else 1.0)
    ky = min((CLOSE_GAUGE_MM if rails > CLOSE else GAUGE_MM) / gauge_mm, tallest / (high - low))
    views = []
    for flip in (False, True):
        best: tuple[float, Drawing] | None = None
        for room in ROOMS:
            height = (high - low) * ky + 2 * room
            frame = _Frame(kx, ky, x0, (low + high) / 2, SIDE, height / 2, flip)
            try:
                stretch, drawing = _View(card, kind, shape, frame, wires, words).drawing(width, height)
            except NoRoomError:
                continue
            if best is None or stretch < best[0] - 4.0:
                best = (stretch, drawing)
            if stretch <= FAR:
                break
        if best is None:
            raise NoRoomError(card.name)
        views.append(best[1])
    return CardViews(views[0], views[1], ky / kx)


class _View:
    """One view in the making."""

    def __init__(
        self, card: Card, kind: Kind, shape: PieceRails, frame: _Frame, wires: Mapping[str, Wire], words: Words
    ) -> None:
        self.card, self.kind, self.shape, self.at, self.wires, self.say = card, kind, shape, frame, wires, words
        self.sketch = Sketch()
        self.labels: list[Label] = []
        self.solid: list[tuple[Point, ...]] = []
        self.taken: list[Box] = []
        self.used: list[Point] = []
        assert card.make is not None
        self.make = kind.makes[card.make]
        self.touching = set(card.settings[0].touching) if card.settings else set()
        self.bonded = {frozenset((d.a, d.b)) for s in card.steps for d in s.does if isinstance(d, BondRails)}
        self.first_roads = card.settings[0].roads if card.settings else ()

    @property
    def below(self) -> bool:
        return self.at.flip

    def drawing(self, width: float, height: float) -> tuple[float, Drawing]:
        """The finished view and how bad it is: its longest leader in mm, and more for every label that covers a line.

        Raises NoRoomError where a label finds no place.
        """
        self._rails()
        self._ends()
        for step in self.card.steps:
            for does in step.does:
                match does:
                    case RemoveLink(a, b) if self.below:
                        self._link(step, a, b, cut=True)
                    case KeepLink(a, b) if self.below:
                        self._link(step, a, b, cut=False)
                    case BondRails(a, b, BondKind.SECTION) if self.below:
                        self._joint_bond(step, a, b)
                    case BondRails(a, b) if self.below:
                        self._bond(step, a, b)
                    case FitDropper(rail) if self.below:
                        self._wire(step, rail)
                    case FitSwitched(rail) if self.below:
                        self._wire(step, rail)
                    case FitJoiner():
                        self._joiner(step, does)
                    case _:
                        pass
        self._names()
        rank = {"end": 0, "wire": 1, "step": 2, "rail": 3}
        order = sorted(self.labels, key=lambda x: rank.get(x.part.partition(":")[0], 9))
        frame = Box(0.4, 0.4, width - 0.4, height - 0.4)
        placed = place(order, samples(self.solid), frame, self.taken)
        items: list[Item] = list(self.sketch.items)
        for p in placed:
            items += draw(p)
        name = f"{self.card.name}-{'below' if self.below else 'above'}"
        title = f"{self.card.name}: {self.say('view.below' if self.below else 'view.above').partition(':')[0]}"
        leaders = [math.dist(*line) for p in placed if (line := leader_of(p)) is not None]
        covered = sum(covers(p.box.grown(-0.3), self.solid) for p in placed)
        drawing = Drawing(name, width, height, tuple(items), title)
        return max(leaders, default=0.0) + COVERED_MM * covered, drawing

    # --- rails

    def _line(self, s: Stretch, cut0: float = 0.0, cut1: float = 0.0) -> tuple[Point, ...]:
        """A stretch on paper, shortened by mm of paper at its ends; an open blade stands off its stock rail."""
        x0, x1 = s.x0 + cut0 / self.at.kx, s.x1 - cut1 / self.at.kx
        if x1 <= x0:
            return ()
        offs = [(tip, self._open(s, tip)) for tip in s.tips]
        found = []
        for i in range(49):
            x = x0 + (x1 - x0) * i / 48
            y = s.track.y(x)
            for tip, off in offs:
                far = abs(x - tip) / ((s.x1 - s.x0) * (0.75 if len(s.tips) == 1 else 0.4))
                if far < 1:
                    y += s.inward * off * (1 - far) ** 1.3 / self.at.ky
            found.append(self.at(x, y))
        return tuple(found)

    def _open(self, s: Stretch, tip: float) -> float:
        """How far a blade's tip is drawn from its stock rail, in mm of paper."""
        for t in self.kind.tips:
            if t.blade == s.rail and (len(s.tips) == 1 or (t.faces in self._west()) == (tip == s.x0)):
                pair = (self._full(t.stock), self._full(t.blade))
                if pair in self.touching or (frozenset(pair) in self.bonded and self._over(t.blade)):
                    return 0.45
        return OPEN_MM

    def _over(self, blade: str) -> bool:
        """Whether a road that is set at the first setting runs on this blade."""
        for road in self.kind.roads:
            if f"{road.start}–{road.end}" in self.first_roads and blade in (*road.left, *road.right):
                return True
        return False

    def _west(self) -> set[str]:
        return {e for e, (_, _, side) in self.shape.courses.ends.items() if side == 0}

    def _full(self, rail: str) -> str:
        return f"{self.card.name}.{rail}"

    def _joined(self, a: str, b: str) -> bool:
        """Whether two rails in a row are one piece of metal: a casting, or a blade against its stock rail."""
        if any(a in group and b in group for group in self.make.castings):
            return True
        return any({t.blade, t.stock} == {a, b} for t in self.kind.tips)

    def _rails(self) -> None:
        ends: dict[str, set[float]] = {}
        for a, b, (x, _) in self.shape.seams:
            if not self._joined(a, b):
                for rail in (a, b):
                    ends.setdefault(rail, set()).add(round(x, 3))
        frogs = {f.rails[0]: f for f in self.kind.frogs}
        fed = {d.rail.partition(".")[2] for s in self.card.steps for d in s.does if isinstance(d, FitSwitched)}
        for rail, stretches in self.shape.stretches.items():
            for s in stretches:
                cuts = [GAP_MM / 2 if round(x, 3) in ends.get(rail, ()) else 0.0 for x in (s.x0, s.x1)]
                line = self._line(s, *cuts)
                if not line:
                    continue
                self.solid.append(line)
                if rail in self.make.plastic:
                    for side in (0.45, -0.45):
                        self.sketch.line(*parallel(line, side), pen=Pen(0.2))
                elif rail in frogs:
                    pen = Pen(1.7) if rail in fed or set(frogs[rail].rails) & fed else CROSSING
                    self.sketch.line(*line, pen=pen)
                    if pen.width > 1.2:
                        self.sketch.line(*line, pen=Pen(0.75, (0.9, 0.7), 1.0))
                else:
                    self.sketch.line(*line, pen=RAIL)

    def _names(self) -> None:
        frogs = {f.rails[0]: f for f in self.kind.frogs}
        for rail in self.shape.stretches:
            if rail in frogs:
                at = self.shape.frogs.get(frogs[rail].name)
                if at is None:
                    continue
                anchor = self.at(*at)
                name = f"({rail})" if rail in self.make.plastic else rail
                self.labels.append(Label(f"rail:{rail}", (name,), anchor, None, True, weight=4.0))
                continue
            s = self.shape.main(rail)
            best = self._name_spot(s)
            up = s.inward > 0 if self.below else s.inward < 0
            way = (0.0, 1.0 if up else -1.0)
            self.labels.append(Label(f"rail:{rail}", (rail,), self.at(best, s.track.y(best)), way, weight=4.0))

    def _name_spot(self, s: Stretch) -> float:
        """The x along a rail that lies farthest from other rails, nearer the middle where it makes no difference."""
        best, score = s.middle, -1.0
        for i in range(2, 19):
            x = s.x0 + (s.x1 - s.x0) * i / 20
            near = min(
                (
                    abs(o.track.y(x) - s.track.y(x)) * self.at.ky
                    for name, all_ in self.shape.stretches.items()
                    for o in all_
                    if name != s.rail and o.x0 <= x <= o.x1
                ),
                default=20.0,
            )
            value = min(near, 7.0) - abs(i - 10) * 0.08
            if value > score:
                best, score = x, value
        return best

    # --- ends, joiners, wires

    def _ends(self) -> None:
        """The ends by name; where one step fits both joiners of an end, it stands there with the joint's mark."""
        both = {s.end: s for s in self.card.steps if len(s.does) == 2 and isinstance(s.does[0], FitJoiner)}
        for end, (x, y, side) in self.shape.courses.ends.items():
            px, py = self.at(x, y)
            out = -1.0 if side == 0 else 1.0
            step = both.get(end)
            lines: tuple[str, ...] = (end,)
            ring: str | None = None
            if step is not None and not self.below:
                lines, ring = (end, step.mark), str(step.number)
            self.labels.append(Label(f"end:{end}", lines, (px + out * 3.6, py), (out, 0.0), leader=False, ring=ring))

    def _end_point(self, end: str, rail: str) -> tuple[Point, float]:
        """Where a rail shows at an end, on paper, and which way is out (-1 west, 1 east)."""
        x, y, side = self.shape.courses.ends[end]
        left, _ = self.kind.ends[end]
        half = self.shape.courses.gauge / 2
        looking_east = side == 0
        up = (rail == left) == looking_east
        return self.at(x, y + (half if up else -half)), -1.0 if side == 0 else 1.0

    def _joiner(self, step: CardStep, does: FitJoiner) -> None:
        rail = does.rail.partition(".")[2]
        (x, y), out = self._end_point(does.end, rail)
        s = self.sketch
        if does.conducts:
            box = Box(x - 1.7, y - 0.75, x + 1.7, y + 0.75)
            s.line((x, y), (x + out * 3.4, y), pen=RAIL)
            s.rect(box, THIN, 0.0 if does.trusted else 1.0)
            if not does.trusted:
                s.line((x - 1.7, y + 0.75), (x + 1.7, y - 0.75), pen=THIN)
        else:
            s.line((x + out * 1.3, y), (x + out * 3.4, y), pen=RAIL)
            for dx in (0.25, 1.05):
                s.line((x + out * dx, y - 1.5), (x + out * dx, y + 1.5), pen=Pen(0.45))
        self.solid.append(((x - 1.7, y - 0.8), (x + 1.7, y + 0.8), (x + out * 3.4, y)))
        if not self.below and len(step.does) == 1:
            self._step_label(step, ((x + out * 1.0), y), (out * 0.5, -0.8), (step.mark,) if step.mark else ())

    def _step_label(self, step: CardStep, anchor: Point, way: Point, lines: tuple[str, ...] = ()) -> None:
        self.labels.append(Label(f"step:{step.number}", lines, anchor, way, False, ring=str(step.number), weight=2.0))

    def _spot(self, rail: str, end: str) -> float:
        """The x at which a wire is soldered to a rail: near the end that is named, else in its middle."""
        s = self.shape.main(rail)
        if end in self.shape.courses.ends:
            side = self.shape.courses.ends[end][2]
            reach = min(0.32 * (s.x1 - s.x0), 9.0 / self.at.kx)
            return s.x0 + reach if side == 0 else s.x1 - reach
        return s.middle

    def _wire(self, step: CardStep, full: str) -> None:
        rail = full.partition(".")[2]
        wire = self.wires.get(step.mark)
        letter = wire.letter if wire is not None else "F"
        if rail in self.shape.stretches:
            s = self.shape.main(rail)
            x = self._spot(rail, step.end)
            if rail in {f.rails[0] for f in self.kind.frogs}:
                x = s.x1 - 0.12 * (s.x1 - s.x0) if s.x1 > self.shape.frogs[rail][0] else s.middle
            point = self.at(x, s.track.y(x))
            toward = -1.0 if point[1] < self.at.centre else 1.0
        else:
            return
        lines = (wire_text(wire, self.say), f"→ {wire.end}") if wire is not None else (letter,)
        start = (point[0], point[1] + toward * 4.0)
        self.sketch.line(point, start, pen=WIRE_PENS[letter])
        self.sketch.items.append(Disc(point[0], point[1], 0.75, None, 0.0))
        self.solid.append((point, start))
        self.labels.append(
            Label(f"wire:{step.mark}", lines, start, (0.0, toward), True, ring=str(step.number), weight=4.0)
        )

    # --- links and bonds

    def _near(self, rail: str) -> list[Point]:
        """Points of a rail on paper where a wire may be soldered: 2 mm inside its ends, and along it."""
        found = []
        for s in self.shape.stretches[rail]:
            inset = min(2.2 / self.at.kx, (s.x1 - s.x0) / 3)
            for i in range(9):
                x = s.x0 + inset + (s.x1 - s.x0 - 2 * inset) * i / 8
                found.append(self.at(x, s.track.y(x)))
        return found

    def _link(self, step: CardStep, a: str, b: str, cut: bool) -> None:
        pa, pb = self._link_points(a.partition(".")[2], b.partition(".")[2])
        by = max(1.9, min(4.0, math.dist(pa, pb) * 0.16))
        line = max((bow(pa, pb, by), bow(pa, pb, -by)), key=self._clear)
        self.sketch.line(*line, pen=Pen(0.4, (0.8, 0.6)) if cut else Pen(0.4))
        self.solid.append(line)
        middle = line[len(line) // 2]
        if cut:
            for d in (1.1, -1.1):
                cross = ((middle[0] - 1.1, middle[1] - d), (middle[0] + 1.1, middle[1] + d))
                self.sketch.line(*cross, pen=Pen(0.5))
                self.solid += [cross, cross]
        self.used += [pa, pb, middle]
        straight = ((pa[0] + pb[0]) / 2, (pa[1] + pb[1]) / 2)
        n = math.dist(straight, middle) or 1.0
        self._step_label(step, middle, ((middle[0] - straight[0]) / n, (middle[1] - straight[1]) / n))

    def _clear(self, line: tuple[Point, ...]) -> float:
        """How far the middle of a line keeps from all that is drawn."""
        x, y = line[len(line) // 2]
        return float(min((math.dist((x, y), p) for drawn in self.solid for p in drawn), default=0.0))

    def _link_points(self, a: str, b: str) -> tuple[Point, Point]:
        """Where a link begins and ends: across its gap where the rails follow each other, else along one road."""
        for first, second, (x, y) in self.shape.seams:
            if {first, second} == {a, b}:
                for s in self.shape.stretches[a]:
                    if abs(s.track.y(x) - y) < 1e-6 and (abs(s.x0 - x) < 1e-6 or abs(s.x1 - x) < 1e-6):
                        d = 3.0 / self.at.kx
                        west, east = self.at(x - d, s.track.y(x - d)), self.at(x + d, s.track.y(x + d))
                        return west, east
        for road in self.kind.roads:
            for hand in (road.left, road.right):
                if a in hand and b in hand:
                    s, t = sorted((self.shape.main(a), self.shape.main(b)), key=lambda v: v.x0)
                    d = 2.2 / self.at.kx
                    return self.at(s.x1 - d, s.track.y(s.x1 - d)), self.at(t.x0 + d, t.track.y(t.x0 + d))
        near_a, near_b = (self._near(r) for r in (a, b))
        return min(((p, q) for p in near_a for q in near_b), key=lambda pq: math.dist(*pq))

    def _bond(self, step: CardStep, a: str, b: str) -> None:
        ra, rb = a.partition(".")[2], b.partition(".")[2]
        pa, pb = self._bond_points(ra, rb)
        line = bow(pa, pb, 1.2 if pa[0] <= pb[0] else -1.2)
        self.sketch.line(*line, pen=Pen(0.55))
        for p in (pa, pb):
            self.sketch.rect(Box(p[0] - 0.75, p[1] - 0.75, p[0] + 0.75, p[1] + 0.75), None, 0.0)
        self.solid.append(line)
        self.used += [pa, pb]
        self._step_label(step, line[len(line) // 2], (1.0, 0.0))

    def _joint_bond(self, step: CardStep, a: str, b: str) -> None:
        """A bond from one of the piece's rails past the joint at its end."""
        rail = (a if a.partition(".")[0] == self.card.name else b).partition(".")[2]
        end = next(e for e, shown in self.kind.ends.items() if rail in shown)
        (x, y), out = self._end_point(end, rail)
        pa, pb = (x - out * 3.0, y), (x + out * 3.2, y)
        line = bow(pa, pb, 1.6 if out > 0 else -1.6)
        self.sketch.line(*line, pen=Pen(0.55))
        for p in (pa, pb):
            self.sketch.rect(Box(p[0] - 0.75, p[1] - 0.75, p[0] + 0.75, p[1] + 0.75), None, 0.0)
        self.solid.append(line)
        self.used += [pa, pb]
        self._step_label(step, line[len(line) // 2], (0.0, -1.0))

    def _bond_points(self, a: str, b: str) -> tuple[Point, Point]:
        """Where a bond is soldered: where the rails lie apart far enough to be told, near a blade's fixed end."""
        best: tuple[float, Point, Point] | None = None
        for s in self.shape.stretches[a]:
            for t in self.shape.stretches[b]:
                lo, hi = max(s.x0, t.x0), min(s.x1, t.x1)
                if hi - lo <= 0:
                    continue
                for i in range(1, 20):
                    x = lo + (hi - lo) * i / 20
                    p, q = self.at(x, s.track.y(x)), self.at(x, t.track.y(x))
                    apart = abs(p[1] - q[1])
                    tip = next((v for v in (*s.tips, *t.tips)), None)
                    far = abs(x - tip) * self.at.kx if tip is not None and len((*s.tips, *t.tips)) == 1 else 20.0
                    cost = abs(apart - 5.5) + max(0.0, 14.0 - far) * 0.3
                    near = min((math.dist(u, v) for u in self.used for v in (p, q)), default=9.0)
                    cost += max(0.0, 5.0 - near)
                    if best is None or cost < best[0]:
                        best = (cost, p, q)
        if best is not None:
            return best[1], best[2]
        return min(((p, q) for p in self._near(a) for q in self._near(b)), key=lambda pq: math.dist(*pq))


def wire_text(wire: Wire, words: Words) -> str:
    """A wire in a drawing: mark, letter, colour: "W12 A red"."""
    return " ".join(x for x in (wire.mark, wire.letter, words.colour(wire.colour) if wire.colour else "") if x)
