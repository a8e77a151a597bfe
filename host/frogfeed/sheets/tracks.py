"""Where pieces and plain track lie on the layout drawing: columns and rows worked out from the lines.

Every piece and place is a box with its ends to the west or east. Boxes that a straight way joins share a row; a leg
that leaves leads to a row above or below, on the side it leaves by. Stated positions order the columns.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from functools import cmp_to_key, partial

import numpy as np
from scipy.optimize import Bounds, LinearConstraint, milp
from scipy.sparse import coo_array

from frogfeed.layout.model import Layout
from frogfeed.sheets.courses import TWO_TRACKS, q_is_left, sides
from frogfeed.track.network.model import End, Joint, RailNetwork
from frogfeed.track.pieces.catalogue import Kind

_RANK = {"left": 0, "middle": 1, "right": 2}
PIECE_MM = 30.0
PLACE_MM = 20.0
SHORT_MM = 13.0
APART_MM = 9.0
"""Widths of boxes on paper (pieces, sections, stubs) and the least distance between two of them."""
CLIMB_MM = 6.0
"""Length of a way between two boxes for each row that it climbs, beyond the half row of a leg."""


@dataclass(slots=True)
class Node:
    """A piece or place. `west` and `east` list its ends from top to bottom; `straight` pairs ends of one row.

    `crossing` where two straight ways pass through it, one above the other; `dips` where these come together in the
    middle, as the ways of a slip or diamond do.
    """

    name: str
    width: float
    west: tuple[str, ...]
    east: tuple[str, ...]
    straight: tuple[tuple[str, str], ...]
    dips: bool = False
    x: float = 0.0
    rows: dict[str, float] = field(default_factory=dict)

    @property
    def crossing(self) -> bool:
        return len(self.straight) > 1

    def flipped(self) -> Node:
        """Turned by half a turn."""
        return Node(
            self.name,
            self.width,
            self.east[::-1],
            self.west[::-1],
            tuple((b, a) for a, b in self.straight[::-1]),
            self.dips,
        )


@dataclass(frozen=True)
class Map:
    """The boxes placed: node -> x and the row of each end; `drawn` joints are lines, `apart` ones name each other."""

    nodes: Mapping[str, Node]
    drawn: tuple[Joint, ...]
    apart: tuple[Joint, ...]
    width: float
    rows: int


def _nodes(layout: Layout, network: RailNetwork, kinds: Mapping[str, Kind]) -> dict[str, Node]:
    found: dict[str, Node] = {}
    pieces = layout.file.pieces()
    for name, shown in network.pieces.items():
        piece = pieces.get(name)
        if piece is None:
            section = layout.file.place[name].kind.value == "section"
            found[name] = Node(name, PLACE_MM if section else SHORT_MM, ("a",), ("b",), (("a", "b"),))
            continue
        kind = kinds[shown.kind]
        side = sides(kind)
        west = tuple(e for e in kind.ends if side[e] == 0)
        east = tuple(e for e in kind.ends if side[e] == 1)
        ends = set(kind.ends)
        if ends == {"a.left", "a.right", "b.left", "b.right"}:
            # Looking in from b, left and right are turned about.
            ways = (("a.left", "b.right"), ("a.right", "b.left"))
        elif ends == TWO_TRACKS:
            ways = (("p.west", "p.east"), ("q.west", "q.east"))
            ways = ways[::-1] if q_is_left(kind) else ways
        else:
            west = tuple(sorted(west, key=lambda e: _RANK.get(e, 3)))
            east = tuple(sorted(east, key=lambda e: _RANK.get(e, 3)))
            leg = "middle" if "middle" in east else str(getattr(piece, "normal", None) or "")
            found[name] = Node(name, PIECE_MM, west, east, ((west[0], leg if leg in east else east[0]),))
            continue
        west, east = tuple(w for w, _ in ways), tuple(e for _, e in ways)
        node = Node(name, PIECE_MM, west, east, ways, dips=ends != TWO_TRACKS)
        found[name] = node
    return found


def _turn(nodes: dict[str, Node], joints: Sequence[Joint]) -> tuple[list[Joint], list[Joint]]:
    """Turn boxes so that joints lead from an east side to a west side; those that cannot be are apart."""
    near: dict[str, list[Joint]] = {}
    for j in joints:
        near.setdefault(j.a[0], []).append(j)
        near.setdefault(j.b[0], []).append(j)
    done: set[str] = set()
    seen: set[int] = set()
    good: list[Joint] = []
    apart: list[Joint] = []
    for start in [j.a[0] for j in joints]:
        if start in done:
            continue
        # A line's first item is left by its east side.
        first = next(j for j in joints if j.a[0] == start)
        if first.a[1] in nodes[start].west and len(nodes[start].west) + len(nodes[start].east) > 1:
            nodes[start] = nodes[start].flipped()
        done.add(start)
        queue = deque([start])
        while queue:
            here = queue.popleft()
            for j in near.get(here, ()):
                if id(j) in seen:
                    continue
                seen.add(id(j))
                mine, other = (j.a, j.b) if j.a[0] == here else (j.b, j.a)
                east = mine[1] in nodes[here].east
                there = nodes[other[0]]
                fits = (other[1] in there.west) == east
                if other[0] not in done:
                    if not fits:
                        nodes[other[0]] = there.flipped()
                    fits = True
                    done.add(other[0])
                    queue.append(other[0])
                (good if fits and other[0] != here else apart).append(j)
    order = {id(j): n for n, j in enumerate(joints)}
    good.sort(key=lambda j: order[id(j)])
    return good, apart


def _no_rings(nodes: Mapping[str, Node], joints: Sequence[Joint]) -> tuple[list[Joint], list[Joint]]:
    """Joints that would lead back west are taken apart."""
    onward: dict[str, list[Joint]] = {}
    for j in joints:
        onward.setdefault(_west_end(nodes, j)[0], []).append(j)
    state: dict[str, int] = {}
    back: set[int] = set()
    for root in nodes:
        if root in state:
            continue
        state[root] = 1
        stack = [(root, 0)]
        while stack:
            here, n = stack.pop()
            out = onward.get(here, [])
            if n == len(out):
                state[here] = 2
                continue
            stack.append((here, n + 1))
            there = _east_end(nodes, out[n])[0]
            if state.get(there) == 1:
                back.add(id(out[n]))
            elif there not in state:
                state[there] = 1
                stack.append((there, 0))
    return [j for j in joints if id(j) not in back], [j for j in joints if id(j) in back]


def _west_end(nodes: Mapping[str, Node], j: Joint) -> End:
    """The end of a joint that lies to the west of it."""
    return j.a if j.a[1] in nodes[j.a[0]].east else j.b


def _east_end(nodes: Mapping[str, Node], j: Joint) -> End:
    return j.b if j.a[1] in nodes[j.a[0]].east else j.a


def _solve(pairs: Sequence[tuple[int, int, float, float]], count: int, pulls: Mapping[int, float]) -> list[float]:
    """Numbers x with x[b] - x[a] >= least for every (a, b, least, weight), the weighted spans as small as can be.

    `pulls` are wishes for single numbers, weaker than any span.
    """
    rows, cols, data, rhs = [], [], [], []
    cost = np.zeros(count + len(pulls))
    for n, (a, b, least, weight) in enumerate(pairs):
        rows += [n, n]
        cols += [a, b]
        data += [1.0, -1.0]
        rhs.append(-least)
        cost[b] += weight
        cost[a] -= weight
    n = len(pairs)
    for k, (i, wish) in enumerate(pulls.items()):
        extra = count + k
        cost[extra] = 0.3
        for sign in (1.0, -1.0):
            rows += [n, n]
            cols += [i, extra]
            data += [sign, -1.0]
            rhs.append(sign * wish)
            n += 1
    matrix = coo_array((data, (rows, cols)), shape=(n, count + len(pulls))).tocsr()
    result = milp(cost, constraints=LinearConstraint(matrix, ub=np.array(rhs)), bounds=Bounds(0, np.inf))
    if result.x is None:
        raise ArithmeticError("the columns or rows of the drawing contradict each other")
    return [float(v) for v in result.x[:count]]


def lay_out(layout: Layout, network: RailNetwork, kinds: Mapping[str, Kind], apart_mm: float = APART_MM) -> Map:
    """Place every piece and place of a layout."""
    nodes = _nodes(layout, network, kinds)
    good, apart = _turn(nodes, network.joints)
    good, back = _no_rings(nodes, good)
    apart = [*apart, *back]
    wishes = _wishes(layout, nodes, good)
    names = list(nodes)
    index = {n: i for i, n in enumerate(names)}
    rows = 1
    for turn in range(3):
        pairs = []
        for j in good:
            a, b = _west_end(nodes, j), _east_end(nodes, j)
            climb = abs(nodes[a[0]].rows.get(a[1], 0.0) - nodes[b[0]].rows.get(b[1], 0.0)) if turn else 0.0
            least = nodes[a[0]].width + apart_mm + max(0.0, climb - 0.5) * CLIMB_MM
            pairs.append((index[a[0]], index[b[0]], least, 1.0))
        xs = _solve(pairs, len(names), {index[n]: x for n, x in wishes.items()}) if pairs else [0.0] * len(names)
        for n, x in zip(names, xs, strict=True):
            nodes[n].x = round(x, 2)
            nodes[n].rows.clear()
        rows = _rows(nodes, good)
    width = max(n.x + n.width for n in nodes.values())
    return Map(nodes, tuple(good), tuple(apart), width, rows)


def _wishes(layout: Layout, nodes: Mapping[str, Node], joints: Sequence[Joint]) -> dict[str, float]:
    """Columns from stated positions, where every piece has one: scaled to the room that the boxes need."""
    at = {n: p.at_mm for n, p in layout.file.pieces().items() if n in nodes}
    if not at or any(v is None for v in at.values()):
        return {}
    xs = {n: v[0] for n, v in at.items() if v is not None}
    low, high = min(xs.values()), max(xs.values())
    if high - low < 1.0:
        return {}
    ahead = sum(
        xs[_east_end(nodes, j)[0]] - xs[_west_end(nodes, j)[0]]
        for j in joints
        if _west_end(nodes, j)[0] in xs and _east_end(nodes, j)[0] in xs
    )
    sign = -1.0 if ahead < 0 else 1.0
    scale = (PIECE_MM + APART_MM) * max(2, len(xs) - 1) * 0.9 / (high - low)
    return {n: ((x - low) if sign > 0 else (high - x)) * scale for n, x in xs.items()}


# --- rows


@dataclass(slots=True)
class _Chain:
    """Boxes that straight ways join: (node, which of its straight ways) from west to east, over x0..x1."""

    parts: list[tuple[str, int]]
    x0: float = 0.0
    x1: float = 0.0


@dataclass(slots=True)
class _Link:
    """Another chain that lies above (-1) or below (1), and the x at which the two meet."""

    side: int
    at: list[float]


def _rows(nodes: Mapping[str, Node], joints: Sequence[Joint]) -> int:
    way = {(n.name, e): i for n in nodes.values() for i, pair in enumerate(n.straight) for e in pair}
    chains, of = _chains(nodes, joints, way)
    order = _ordered(nodes, joints, way, chains, of)
    rank = {c: i for i, c in enumerate(order)}
    count = len(chains)
    pairs: list[tuple[int, int, float, float]] = []
    for i, a in enumerate(order):
        for b in order[i + 1 :]:
            if chains[a].x0 < chains[b].x1 + APART_MM / 2 and chains[b].x0 < chains[a].x1 + APART_MM / 2:
                pairs.append((a, b, 1.0, 0.0))
    for j in joints:
        ca, cb = (_chain_of(nodes, way, of, e) for e in (j.a, j.b))
        if ca != cb:
            up, down = sorted((ca, cb), key=lambda c: rank[c])
            pairs.append((up, down, 0.0, 1.0))
    for n in nodes.values():
        if n.crossing:
            up, down = sorted((of[n.name, 0], of[n.name, 1]), key=lambda c: rank[c])
            pairs.append((up, down, 1.0, 3.0))
    ys = _solve(pairs, count, {}) if pairs else [0.0] * count
    used = sorted({round(y) for y in ys})
    level = {y: i for i, y in enumerate(used)}
    for n in nodes.values():
        for e in (*n.west, *n.east):
            if (n.name, e) in way:
                n.rows[e] = float(level[round(ys[of[n.name, way[n.name, e]]])])
    for n in nodes.values():
        _lean(n)
    return len(used)


def _lean(node: Node) -> None:
    """Ends that are not straight lie half a row off, above or below."""
    for ends in (node.west, node.east):
        at = [i for i, e in enumerate(ends) if e in node.rows]
        if not at:
            continue
        for i, e in enumerate(ends):
            if e not in node.rows:
                base = min(at, key=lambda k: abs(k - i))
                node.rows[e] = node.rows[ends[base]] + 0.5 * (i - base)


def _chains(
    nodes: Mapping[str, Node], joints: Sequence[Joint], way: Mapping[End, int]
) -> tuple[list[_Chain], dict[tuple[str, int], int]]:
    after: dict[tuple[str, int], tuple[str, int]] = {}
    before: set[tuple[str, int]] = set()
    for j in joints:
        a, b = _west_end(nodes, j), _east_end(nodes, j)
        if a in way and b in way:
            after[a[0], way[a]] = (b[0], way[b])
            before.add((b[0], way[b]))
    chains: list[_Chain] = []
    of: dict[tuple[str, int], int] = {}
    starts = [(n.name, i) for n in nodes.values() for i in range(len(n.straight))]
    for start in starts:
        if start in before or start in of:
            continue
        parts = [start]
        while parts[-1] in after and after[parts[-1]] not in of and after[parts[-1]] not in parts:
            parts.append(after[parts[-1]])
        first, last = nodes[parts[0][0]], nodes[parts[-1][0]]
        for p in parts:
            of[p] = len(chains)
        chains.append(_Chain(parts, first.x, last.x + last.width))
    for j in joints:
        a, b = _west_end(nodes, j), _east_end(nodes, j)
        # A way between a straight end and a leg runs level in the row of the straight end.
        if a in way and b not in way:
            chain = chains[of[a[0], way[a]]]
            chain.x1 = max(chain.x1, nodes[b[0]].x)
        if b in way and a not in way:
            chain = chains[of[b[0], way[b]]]
            chain.x0 = min(chain.x0, nodes[a[0]].x + nodes[a[0]].width)
    return chains, of


def _chain_of(nodes: Mapping[str, Node], way: Mapping[End, int], of: Mapping[tuple[str, int], int], end: End) -> int:
    return of[end[0], way.get(end, 0)]


def _ordered(
    nodes: Mapping[str, Node],
    joints: Sequence[Joint],
    way: Mapping[End, int],
    chains: Sequence[_Chain],
    of: Mapping[tuple[str, int], int],
) -> list[int]:
    """Chains from top to bottom: each next to the one it leaves, so that what leaves first lies outermost."""
    links: dict[int, dict[int, _Link]] = {i: {} for i in range(len(chains))}

    def link(a: int, b: int, side: int, x: float) -> None:
        """`b` lies above (-1) or below (1) `a`; they meet at x."""
        for one, two, way_ in ((a, b, side), (b, a, -side)):
            links[one].setdefault(two, _Link(way_, [])).at.append(x)

    for j in joints:
        for mine, other in ((j.a, j.b), (j.b, j.a)):
            node = nodes[mine[0]]
            a, b = _chain_of(nodes, way, of, mine), _chain_of(nodes, way, of, other)
            if a == b or mine in way:
                continue
            ends = node.east if mine[1] in node.east else node.west
            straight = next((i for i, e in enumerate(ends) if (node.name, e) in way), 0)
            link(a, b, -1 if ends.index(mine[1]) < straight else 1, node.x)
    for n in nodes.values():
        if n.crossing:
            link(of[n.name, 0], of[n.name, 1], 1, n.x)

    def outer(parent: int, one: int, two: int) -> int:
        """-1 where `one` lies farther out from the parent than `two`, 1 the other way round; both on one side."""
        side = links[parent][one].side
        direct = links[one].get(two)
        if direct is not None:
            return -1 if direct.side == -side else 1
        inside = [
            sum(chains[x].x0 < t < chains[x].x1 for t in links[parent][y].at) for x, y in ((one, two), (two, one))
        ]
        if bool(inside[0]) != bool(inside[1]):
            return -1 if inside[0] else 1
        lengths = [chains[c].x1 - chains[c].x0 for c in (one, two)]
        if lengths[0] != lengths[1]:
            return -1 if lengths[0] > lengths[1] else 1
        return -1 if one < two else 1

    order: list[int] = []
    span = [c.x1 - c.x0 for c in chains]
    for root in sorted(range(len(chains)), key=lambda c: (-span[c], c)):
        if root in order:
            continue
        order.append(root)
        stack = [root]
        while stack:
            here = stack.pop()
            fresh = []
            for side in (-1, 1):
                new = [c for c, k in links[here].items() if k.side == side and c not in order]
                for there in sorted(new, key=cmp_to_key(partial(outer, here))):
                    at = order.index(here)
                    order.insert(at if side < 0 else at + 1, there)
                    fresh.append(there)
            stack.extend(reversed(fresh))
    return order
