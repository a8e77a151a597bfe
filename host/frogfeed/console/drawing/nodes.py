"""Pieces and places as boxes with ports to the west and east, and which way round each lies on the drawing."""

from __future__ import annotations

import itertools
from collections import deque
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from frogfeed.layout.lines import EndItem
from frogfeed.layout.model import Layout
from frogfeed.track.network.model import End, Joint, RailNetwork

_RANK = {"left": 0, "middle": 1, "right": 2}


@dataclass(frozen=True, slots=True)
class Shape:
    """A node: its ends by side (side 0 first, each from left to right as seen from side 0), and what runs straight.

    `straight` pairs an end of side 0 with one of side 1 that lies in one line with it.
    """

    name: str
    sides: tuple[tuple[str, ...], tuple[str, ...]]
    straight: tuple[tuple[str, str], ...]
    place: bool

    def side(self, end: str) -> int:
        """0 or 1."""
        return 0 if end in self.sides[0] else 1

    def lean(self, end: str) -> int:
        """Where an end leads away from the straight: -1 to the left as seen from side 0, 1 to the right, 0 straight."""
        if any(end in pair for pair in self.straight):
            return 0
        ends = self.sides[self.side(end)]
        line = next((p[self.side(end)] for p in self.straight if p[self.side(end)] in ends), ends[0])
        return -1 if ends.index(end) < ends.index(line) else 1


@dataclass(frozen=True, slots=True)
class Turned:
    """Nodes with their direction: `flip` where side 0 lies to the east. `apart` are joints that can't be drawn."""

    shapes: Mapping[str, Shape]
    flip: Mapping[str, bool]
    drawn: tuple[Joint, ...]
    apart: tuple[Joint, ...]

    def east(self, end: End) -> bool:
        """Whether this end lies on the east side of its node."""
        return (self.shapes[end[0]].side(end[1]) == 1) != self.flip[end[0]]

    def lean(self, end: End) -> int:
        """-1 where the end leads up the drawing, 1 down, 0 straight on."""
        way = self.shapes[end[0]].lean(end[1])
        return -way if self.flip[end[0]] else way


@dataclass(slots=True)
class _Ends:
    zero: list[str] = field(default_factory=list)
    one: list[str] = field(default_factory=list)


def shapes(layout: Layout, network: RailNetwork) -> dict[str, Shape]:
    """Every piece and place of the network as a node.

    Straight lies the leg that a line runs through; else one that leads on to another piece; else the middle one.
    """
    through = _through(layout)
    onward = {j.a: j.b[0] for j in network.joints} | {j.b: j.a[0] for j in network.joints}
    ends: dict[str, _Ends] = {}
    for road in network.roads:
        found = ends.setdefault(road.piece, _Ends())
        for end, here, there in ((road.start, found.zero, found.one), (road.end, found.one, found.zero)):
            if end and end not in here and end not in there:
                here.append(end)
    for j in network.joints:
        for piece, end in (j.a, j.b):
            found = ends.setdefault(piece, _Ends())
            if end not in found.zero and end not in found.one:
                (found.one if found.zero else found.zero).append(end)
    for name, e in ends.items():
        leads = [x for x in (*e.zero, *e.one) if onward.get((name, x), name) not in layout.file.place]
        through.setdefault(name, []).extend((x, x) for x in leads)
    return {name: _shape(name, e, name in layout.file.place, through[name]) for name, e in ends.items()}


def _shape(name: str, ends: _Ends, place: bool, through: Sequence[tuple[str, str]]) -> Shape:
    zero = tuple(sorted(ends.zero, key=_order))
    one = tuple(sorted(ends.one, key=_order))
    if one and all("." in e for e in one):
        one = one[::-1]
    if len(zero) == len(one):
        straight = tuple(zip(zero, one, strict=True))
    elif not one or not zero:
        straight = ()
    else:
        many, few = (one, zero) if len(one) >= len(zero) else (zero, one)
        wanted = next((e for pair in through for e in pair if e in many), None)
        leg = wanted or ("middle" if "middle" in many else many[0])
        straight = ((few[0], leg),) if many is one else ((leg, few[0]),)
    return Shape(name, (zero, one), straight, place)


def _order(end: str) -> tuple[int, str]:
    return _RANK.get(end.rpartition(".")[2], 3), end


def _through(layout: Layout) -> dict[str, list[tuple[str, str]]]:
    """Piece -> pairs of its ends that a line runs through."""
    found: dict[str, list[tuple[str, str]]] = {}
    for items in layout.lines.values():
        ends = [i for i in items if isinstance(i, EndItem)]
        for a, b in itertools.pairwise(ends):
            if a.piece == b.piece:
                found.setdefault(a.piece, []).append((a.end, b.end))
    return found


def turn(layout: Layout, network: RailNetwork) -> Turned:
    """Turn every node so that joints lead from an east side to a west side wherever that can be."""
    known = shapes(layout, network)
    near: dict[str, list[Joint]] = {}
    for j in network.joints:
        near.setdefault(j.a[0], []).append(j)
        near.setdefault(j.b[0], []).append(j)
    flip: dict[str, bool] = {}
    good: list[Joint] = []
    bad: list[Joint] = []
    seen: set[int] = set()
    for start in [p for j in network.joints for p in (j.a[0], j.b[0])] + list(known):
        if start in flip:
            continue
        flip[start] = False
        queue = deque([start])
        while queue:
            here = queue.popleft()
            for j in near.get(here, ()):
                if id(j) in seen:
                    continue
                seen.add(id(j))
                a, b = (j.a, j.b) if j.a[0] == here else (j.b, j.a)
                east = (known[a[0]].side(a[1]) == 1) != flip[a[0]]
                wanted = (known[b[0]].side(b[1]) == 1) == east
                if b[0] not in flip:
                    flip[b[0]] = wanted
                    queue.append(b[0])
                (good if flip[b[0]] == wanted and a[0] != b[0] else bad).append(j)
    return Turned(known, flip, *_no_rings(known, flip, good, bad))


def _no_rings(
    known: Mapping[str, Shape], flip: Mapping[str, bool], good: Sequence[Joint], bad: Sequence[Joint]
) -> tuple[tuple[Joint, ...], tuple[Joint, ...]]:
    """Take out joints that lead back west: a ring is drawn as a line whose ends name each other."""
    turned = Turned(known, flip, tuple(good), tuple(bad))
    onward: dict[str, list[Joint]] = {}
    for j in good:
        west_end = j.a if turned.east(j.a) else j.b
        onward.setdefault(west_end[0], []).append(j)
    state: dict[str, int] = {}
    back: set[int] = set()
    for root in known:
        if root in state:
            continue
        stack: list[tuple[str, int]] = [(root, 0)]
        state[root] = 1
        while stack:
            here, n = stack.pop()
            out = onward.get(here, ())
            if n == len(out):
                state[here] = 2
                continue
            stack.append((here, n + 1))
            j = out[n]
            there = j.b[0] if j.a[0] == here else j.a[0]
            if state.get(there, 0) == 1:
                back.add(id(j))
            elif there not in state:
                state[there] = 1
                stack.append((there, 0))
    kept = tuple(j for j in good if id(j) not in back)
    return kept, (*bad, *(j for j in good if id(j) in back))
