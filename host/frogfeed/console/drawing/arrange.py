"""Where nodes lie: lanes from top to bottom, and west to east as far apart as their joints need.

A chain is what runs straight: it lies on one lane. A leg that leans away leads to a chain above or below; chains are
put in order so that no leg crosses a track between, then packed together.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from scipy.cluster.hierarchy import DisjointSet

from frogfeed.console.drawing.nodes import Turned
from frogfeed.console.drawing.units import JOINT, LANE, LEAN, MARGIN, PIECE, SLIP, SLOPE, STEEP, STUB
from frogfeed.track.network.model import End, Joint

Track = tuple[str, int]
"""A node and which of its straight pairs."""


@dataclass(frozen=True)
class Arrangement:
    """Node -> x of its west side, its width; track -> y of its line; the whole size."""

    turned: Turned
    west: Mapping[str, float]
    width: Mapping[str, float]
    lane: Mapping[Track, float]
    size: tuple[float, float]

    def track(self, end: End) -> Track:
        """The straight track that an end belongs to."""
        return track_of(self.turned, end)

    def port(self, end: End) -> tuple[float, float]:
        """Where the middle of the track lies at an end."""
        x = self.west[end[0]] + (self.width[end[0]] if self.turned.east(end) else 0.0)
        return x, self.track_y(self.track(end)) + self.turned.lean(end) * LEAN

    def track_y(self, track: Track) -> float:
        """Where a track enters its node: on its lane, but the two of a crossing never further apart than one lane."""
        lanes = [self.lane[(track[0], k)] for k in range(max(1, len(self.turned.shapes[track[0]].straight)))]
        if len(lanes) < 2 or max(lanes) - min(lanes) <= LANE:
            return self.lane[track]
        middle = (max(lanes) + min(lanes)) / 2
        return middle + (LANE / 2 if self.lane[track] > middle else -LANE / 2)

    def slope(self, end: End) -> float:
        """dy / dx of the track at an end, going east."""
        lean = self.turned.lean(end)
        return lean * SLOPE if self.turned.east(end) else -lean * SLOPE


def track_of(turned: Turned, end: End) -> Track:
    """The straight track of a node that an end belongs to: its own, or the one it leans away from."""
    shape = turned.shapes[end[0]]
    for k, pair in enumerate(shape.straight):
        if end[1] in pair:
            return end[0], k
    return end[0], 0


def least(turned: Turned, a: End, b: End, lanes_apart: float) -> float:
    """The shortest way from west to east that a joint between these ends can be drawn in."""
    sloped = (turned.lean(a) != 0) + (turned.lean(b) != 0)
    beyond = max(abs(lanes_apart) * LANE - 2 * LEAN, 0.0) / STEEP
    if sloped == 2:
        return max(beyond + (PIECE / 2 if beyond else 0.0), 14.0)
    if sloped == 1:
        return beyond + PIECE
    return JOINT if not lanes_apart else JOINT + 1.5 * abs(lanes_apart) * LANE / STEEP


class _Layout:
    def __init__(self, turned: Turned, widths: Mapping[str, float]) -> None:
        self.turned = turned
        self.width = {n: (SLIP if len(s.straight) > 1 else widths.get(n, PIECE)) for n, s in turned.shapes.items()}
        self.pairs = [self._west_first(j) for j in turned.drawn]
        self.chain = self._chains()
        self.lanes: dict[Track, int] = {}

    def _west_first(self, j: Joint) -> tuple[End, End]:
        return (j.a, j.b) if self.turned.east(j.a) else (j.b, j.a)

    def _chains(self) -> dict[Track, Track]:
        tracks = [(n, k) for n, s in self.turned.shapes.items() for k in range(max(1, len(s.straight)))]
        chains = DisjointSet(tracks)
        for a, b in self.pairs:
            if not self.turned.lean(a) and not self.turned.lean(b):
                chains.merge(track_of(self.turned, a), track_of(self.turned, b))
        return {t: chains[t] for t in tracks}

    def of(self, end: End) -> Track:
        return self.chain[track_of(self.turned, end)]

    def row(self, end: End) -> float:
        """The row on which a track enters a node; the two of a crossing never lie further apart than one row."""
        tracks = range(max(1, len(self.turned.shapes[end[0]].straight)))
        rows = [self.lanes.get(self.chain[(end[0], k)], k) for k in tracks]
        own = self.lanes.get(self.of(end), track_of(self.turned, end)[1])
        if max(rows) - min(rows) <= 1:
            return own
        middle = (max(rows) + min(rows)) / 2
        return middle + (0.5 if own > middle else -0.5)

    def apart(self, a: End, b: End) -> float:
        ca, cb = self.of(a), self.of(b)
        if ca == cb:
            return abs(self.row(a) - self.row(b)) if self.lanes else 0
        return abs(self.lanes[ca] - self.lanes[cb]) if self.lanes else 1

    # ---- west to east ---------------------------------------------------------------------------------

    def columns(self) -> dict[str, float]:
        """The west side of every node: as far west as its joints let it, loose ends drawn up to what they join."""
        out: dict[str, list[tuple[str, float]]] = {n: [] for n in self.width}
        into: dict[str, list[tuple[str, float]]] = {n: [] for n in self.width}
        for a, b in self.pairs:
            need = least(self.turned, a, b, self.apart(a, b))
            out[a[0]].append((b[0], need))
            into[b[0]].append((a[0], need))
        x = self._pulled_together(out)
        for n in self.width:
            if self.turned.shapes[n].place and into[n] and out[n]:
                start = max(x[p] + self.width[p] + d for p, d in into[n])
                end = min(x[s] - d for s, d in out[n])
                if end - start > self.width[n]:
                    x[n], self.width[n] = start, end - start
        return x

    def _pulled_together(self, out: Mapping[str, list[tuple[str, float]]]) -> dict[str, float]:
        """The places that keep every joint its room and make the joints as short as can be, all of them together."""
        names = list(self.width)
        number = {n: i for i, n in enumerate(names)}
        cost = [1e-3] * len(names)
        rows: list[tuple[int, int, float]] = []
        for a, onward in out.items():
            for b, need in onward:
                cost[number[a]] -= 1.0
                cost[number[b]] += 1.0
                rows.append((number[a], number[b], self.width[a] + need))
        return dict(zip(names, least_differences(cost, rows), strict=True))

    # ---- top to bottom --------------------------------------------------------------------------------

    def spans(self, x: Mapping[str, float]) -> dict[Track, list[float]]:
        """Chain -> from where to where it takes up its lane, legs that lead to it included."""
        found: dict[Track, list[float]] = {}
        for (n, _), c in self.chain.items():
            span = found.setdefault(c, [x[n], x[n] + self.width[n]])
            span[0], span[1] = min(span[0], x[n]), max(span[1], x[n] + self.width[n])
        for a, b in self.pairs:
            ca, cb = self.of(a), self.of(b)
            if ca != cb:
                ax, bx = x[a[0]] + self.width[a[0]], x[b[0]]
                found[ca][1] = max(found[ca][1], bx)
                found[cb][0] = min(found[cb][0], ax - PIECE / 2)
        return found

    def links(self, x: Mapping[str, float]) -> dict[Track, list[tuple[int, float, Track]]]:
        """Chain -> (1 below or -1 above, order of insertion, other chain); outermost first."""
        found: dict[Track, list[tuple[int, float, Track]]] = {}
        for a, b in self.pairs:
            ca, cb = self.of(a), self.of(b)
            if ca == cb:
                continue
            for here, there, end, east in ((ca, cb, a, True), (cb, ca, b, False)):
                lean = self.turned.lean(end) or -self.turned.lean(b if end is a else a) or 1
                edge = x[end[0]] + (self.width[end[0]] if east else 0.0)
                found.setdefault(here, []).append((lean, edge if east else -edge, there))
        for n, s in self.turned.shapes.items():
            for k in range(len(s.straight) - 1):
                down = -1 if self.turned.flip[n] else 1
                c, d = self.chain[(n, k)], self.chain[(n, k + 1)]
                if c != d:
                    found.setdefault(c, []).append((down, -1e9, d))
                    found.setdefault(d, []).append((-down, -1e9, c))
        return {c: sorted(links, key=lambda link: link[1]) for c, links in found.items()}

    def place_lanes(self, x: Mapping[str, float]) -> None:
        spans, links = self.spans(x), self.links(x)
        todo = sorted(spans, key=lambda c: spans[c][0] - spans[c][1])
        base, self.lanes = 0, {}
        while todo:
            main = todo[0]
            order, at = [main], {main}
            queue = [main]
            while queue:
                here = queue.pop(0)
                for way, _, there in links.get(here, ()):
                    if there not in at:
                        order.insert(order.index(here) + (1 if way > 0 else 0), there)
                        at.add(there)
                        queue.append(there)
            rows = self._packed(order, spans, links)
            for c, row in rows.items():
                self.lanes[c] = base + row
            base += max(rows.values()) + 2
            todo = [c for c in todo if c not in at]

    def _packed(
        self,
        order: list[Track],
        spans: Mapping[Track, list[float]],
        links: Mapping[Track, list[tuple[int, float, Track]]],
    ) -> dict[Track, int]:
        """Rows that keep the order wherever two chains lie beside each other, with legs as short as can be."""
        number = {c: i for i, c in enumerate(order)}
        pairs = [(number[c], number[d]) for c in order for _, _, d in links.get(c, ()) if number[c] < number[d]]
        cost = [1e-3] * len(order) + [1.0] * len(pairs)
        rows: list[tuple[int, int, float]] = []
        for i, c in enumerate(order):
            for j in range(i + 1, len(order)):
                if _overlap(spans[c], spans[order[j]]) or (i, j) in pairs:
                    rows.append((i, j, 1.0))
        legs = [(len(order) + k, i, j) for k, (i, j) in enumerate(pairs)]
        found = least_differences(cost, rows, legs)
        return {c: round(found[i]) for i, c in enumerate(order)}


def least_differences(
    cost: Sequence[float], rows: Iterable[tuple[int, int, float]], legs: Iterable[tuple[int, int, int]] = ()
) -> list[float]:
    """Values of 0 and more with the least cost, where for each row (i, j, d) value j lies at least d beyond value i.

    A leg (k, i, j) makes value k at least the difference of j and i. Solved as a linear program, to the optimum.
    """
    import numpy as np
    from scipy.optimize import linprog
    from scipy.sparse import csr_matrix

    data: list[tuple[int, int, float]] = []
    bounds: list[float] = []
    for i, j, d in rows:
        n = len(bounds)
        data += [(n, i, 1.0), (n, j, -1.0)]
        bounds.append(-d)
    for k, i, j in legs:
        n = len(bounds)
        data += [(n, j, 1.0), (n, i, -1.0), (n, k, -1.0)]
        bounds.append(0.0)
    if not bounds:
        return [0.0] * len(cost)
    r, c, v = zip(*data, strict=True)
    matrix = csr_matrix((v, (r, c)), shape=(len(bounds), len(cost)))
    found = linprog(np.array(cost), A_ub=matrix.toarray(), b_ub=np.array(bounds), bounds=[(0.0, None)] * len(cost))
    if found.x is None:
        raise ValueError("these differences cannot hold together")
    return [float(x) for x in found.x]


def _overlap(a: list[float], b: list[float]) -> bool:
    return a[0] < b[1] + JOINT and b[0] < a[1] + JOINT


def arrange(turned: Turned, widths: Mapping[str, float]) -> Arrangement:
    """Lay the nodes out; `widths` are the least widths of places."""
    least_widths = dict(widths)
    layout = _Layout(turned, least_widths)
    for _ in range(3):
        layout.width = {
            n: (SLIP if len(s.straight) > 1 else least_widths.get(n, PIECE)) for n, s in turned.shapes.items()
        }
        x = layout.columns()
        layout.place_lanes(x)
    layout.width = {n: (SLIP if len(s.straight) > 1 else least_widths.get(n, PIECE)) for n, s in turned.shapes.items()}
    x = layout.columns()
    stubs = STUB if turned.apart else 0.0
    lane = {t: MARGIN + stubs / 2 + layout.lanes[c] * LANE for t, c in layout.chain.items()}
    west = {n: MARGIN + stubs + v for n, v in x.items()}
    right = max((west[n] + layout.width[n] for n in west), default=0.0) + MARGIN + stubs
    bottom = max(lane.values(), default=0.0) + MARGIN + stubs / 2
    return Arrangement(turned, west, layout.width, lane, (right, bottom))
