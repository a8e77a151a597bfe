"""Meter checks: the shortest list of continuity readings, supplies off, that any single wiring fault spoils.

Every single fault is simulated at every setting that its piece and its neighbours can take; a reading finds a fault
where it differs from the layout as drawn. The list is a smallest set cover, solved to the optimum or with the bound
stated. Faults that change no reading at all are named, and so are faults that all readings show alike.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import product

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import Bounds, LinearConstraint, milp
from scipy.sparse import csr_matrix

from frogfeed.track.meter.faults import Edge, Fault, Wiring, wiring
from frogfeed.track.network.conditions import holds
from frogfeed.track.network.model import RailNetwork

Settings = tuple[tuple[str, str], ...]
Ints = NDArray[np.int32]

FULL = 400_000
"""Candidate readings up to which every pair of points at every setting is one: some seconds of work."""


@dataclass(frozen=True, slots=True)
class MeterCheck:
    """One continuity reading with the supplies off: at `settings`, between two points; `expect_closed` as drawn.

    Drives that `settings` leaves out may stand at their first setting. `finds` are the faults it shows.
    """

    settings: Settings
    probe_a: str
    probe_b: str
    expect_closed: bool
    finds: tuple[Fault, ...]

    @property
    def reason(self) -> str:
        """What a wrong reading means."""
        return "; or ".join(str(f) for f in self.finds[:3]) + ("; or more" if len(self.finds) > 3 else "")


@dataclass(frozen=True, slots=True)
class MeterPlan:
    """The readings; faults that none can show; faults that all show alike; and the least number proven."""

    checks: tuple[MeterCheck, ...]
    covered: int
    hidden: tuple[Fault, ...]
    alike: tuple[tuple[Fault, ...], ...]
    least: int


@dataclass(frozen=True, slots=True)
class _Change:
    """What a fault does at one setting: parts split off their component, and groups of parts that now conduct.

    A group names a component by its number, and part n that is split off by -1 - n.
    """

    parts: tuple[tuple[int, frozenset[str]], ...]
    merged: tuple[frozenset[int], ...]


class _At:
    """The layout as drawn at one setting: adjacency and components."""

    def __init__(self, w: Wiring, at: Mapping[str, str]) -> None:
        self.near: dict[str, list[tuple[str, int]]] = {p: [] for p in w.points}
        self.live: set[int] = set()
        for i, e in enumerate(w.edges):
            if holds(e.when, at):
                self.live.add(i)
                self.near[e.a].append((e.b, i))
                self.near[e.b].append((e.a, i))
        self.component: dict[str, int] = {}
        self.members: list[list[str]] = []
        for p in w.points:
            if p not in self.component:
                found = self._spread(p)
                for q in found:
                    self.component[q] = len(self.members)
                self.members.append(found)

    def _spread(self, start: str) -> list[str]:
        seen = {start}
        queue = deque([start])
        while queue:
            for q, _ in self.near[queue.popleft()]:
                if q not in seen:
                    seen.add(q)
                    queue.append(q)
        return list(seen)

    def side(self, start: str, goal: str, without: set[int]) -> frozenset[str] | None:
        """What hangs on `start` without these edges; None where `goal` still does. Searches from both, in turns."""
        seen = ({start}, {goal})
        queues = (deque([start]), deque([goal]))
        while queues[0] and queues[1]:
            for mine, theirs, queue in ((seen[0], seen[1], queues[0]), (seen[1], seen[0], queues[1])):
                p = queue.popleft()
                for q, i in self.near[p]:
                    if i in without or q in mine:
                        continue
                    if q in theirs:
                        return None
                    mine.add(q)
                    queue.append(q)
                if not queue:
                    break
        return frozenset(seen[0] if not queues[0] else seen[1])


def _change(here: _At, fault: Fault, edges: Sequence[Edge], at: Mapping[str, str]) -> _Change | None:
    """What the fault changes at this setting; None where nothing."""
    gone = {i for i in fault.removed if i in here.live}
    parts: list[tuple[int, frozenset[str]]] = []
    for i in sorted(gone):
        e = edges[i]
        part = here.side(e.a, e.b, gone)
        if part is not None:
            parts.append((here.component[e.a], part))
    added = [e for e in fault.added if holds(e.when, at)]

    def name(p: str) -> int:
        for n, (_, part) in enumerate(parts):
            if p in part:
                return -1 - n
        return here.component[p]

    groups: list[set[int]] = []
    for e in added:
        joined: set[int] = {name(e.a), name(e.b)}
        if len(joined) == 1:
            continue
        rest = [g for g in groups if not g & joined]
        for g in groups:
            if g & joined:
                joined |= g
        groups = [*rest, joined]
    if not parts and not groups:
        return None
    return _Change(tuple(parts), tuple(frozenset(g) for g in groups))


def _labels(change: _Change, index: Mapping[str, int], drawn: Ints) -> Ints:
    """A number for each point, equal where points conduct to each other with the fault."""
    found = drawn.copy()
    for n, (_, part) in enumerate(change.parts):
        found[[index[p] for p in part]] = -1 - n
    for group in change.merged:
        numbers = sorted(group)
        found[np.isin(found, numbers)] = numbers[0]
    return found


def _shape(labels: Ints) -> bytes:
    """Equal for labels that part the points in the same way, whatever the numbers."""
    _, first, inverse = np.unique(labels, return_index=True, return_inverse=True)
    return bytes(first[inverse].astype(np.int32).tobytes())


def _settings_to_try(network: RailNetwork) -> list[Settings]:
    """All first settings, and every combination of the drives of each one piece."""
    found: dict[Settings, None] = {(): None}
    by_piece: dict[str, set[str]] = {}
    for r in network.roads:
        by_piece.setdefault(r.piece, set()).update(d for t in r.when for d, _ in t)
    for s in network.switched:
        by_piece.setdefault(s.piece, set()).update(s.drives)
    for drives in by_piece.values():
        if 0 < len(drives) <= 6:
            for combo in product(*(network.drives[d] for d in sorted(drives))):
                found[_thrown(network, tuple(zip(sorted(drives), combo, strict=True)))] = None
    return list(found)


def _thrown(network: RailNetwork, settings: Settings) -> Settings:
    """The settings that are not a drive's first."""
    return tuple((d, s) for d, s in settings if network.drives[d][0] != s)


def _full(network: RailNetwork, settings: Settings) -> dict[str, str]:
    return {d: s[0] for d, s in network.drives.items()} | dict(settings)


def meter_plan(network: RailNetwork, seconds: float = 30.0) -> MeterPlan:
    """The shortest list of readings that any single fault spoils.

    Up to FULL candidate readings, every pair of points at every setting tried is one, and `least` holds for all
    readings; above that, pairs of points near each other or with a bus wire, and `least` holds for those.
    """
    w = wiring(network)
    index = {p: n for n, p in enumerate(w.points)}
    tried = _settings_to_try(network)
    drawn: list[Ints] = []
    blocks: list[tuple[list[int], Ints]] = []
    signature: dict[int, list[object]] = {}
    for n, s in enumerate(tried):
        at = _full(network, s)
        here = _At(w, at)
        base = np.array([here.component[p] for p in w.points], dtype=np.int32)
        as_drawn = _shape(base)
        changed: list[int] = []
        rows: list[Ints] = []
        for i, fault in enumerate(w.faults):
            change = _change(here, fault, w.edges, at)
            if change is None:
                continue
            row = _labels(change, index, base)
            shape = _shape(row)
            if shape != as_drawn:
                changed.append(i)
                rows.append(row)
                signature.setdefault(i, []).append((n, shape))
        drawn.append(base)
        blocks.append((changed, np.array(rows, dtype=np.int32).reshape(len(rows), len(w.points))))
    readings, finds = _readings(network, w, tried, drawn, blocks)
    found = sorted(signature)
    chosen, least = _cover(finds, found, [len(tried[n]) for n, _, _ in readings], seconds)
    checks = []
    for c in sorted(chosen, key=lambda c: (len(tried[readings[c][0]]), readings[c])):
        n, x, y = readings[c]
        a, b = w.points[x], w.points[y]
        closed = bool(drawn[n][x] == drawn[n][y])
        checks.append(MeterCheck(tried[n], a, b, closed, tuple(w.faults[i] for i in finds[c])))
    groups: dict[tuple[object, ...], list[Fault]] = {}
    for i in found:
        groups.setdefault(tuple(signature[i]), []).append(w.faults[i])
    return MeterPlan(
        tuple(checks),
        len(found),
        tuple(f for i, f in enumerate(w.faults) if i not in signature),
        tuple(tuple(group) for group in groups.values() if len(group) > 1),
        least,
    )


def _readings(
    network: RailNetwork,
    w: Wiring,
    tried: Sequence[Settings],
    drawn: Sequence[Ints],
    blocks: Sequence[tuple[list[int], Ints]],
) -> tuple[list[tuple[int, int, int]], list[tuple[int, ...]]]:
    """Candidate readings (setting, point, point) and the faults that each shows; of equals, the first stays."""
    _, inverse = np.unique(np.vstack([*(rows for _, rows in blocks), *drawn]), axis=1, return_inverse=True)
    # Points that no fault parts at any setting are one class; a bus wire speaks for its class, else the first rail.
    order = sorted(range(len(w.points)), key=lambda n: (w.points[n] not in network.wires, n))
    best: dict[int, int] = {}
    for n in order:
        best.setdefault(int(inverse[n]), n)
    points = sorted(best.values())
    full = len(points) * len(points) // 2 * len(tried) <= FULL
    kept: dict[tuple[int, ...], tuple[int, int, int]] = {}
    for n, (base, (changed, rows)) in enumerate(zip(drawn, blocks, strict=True)):
        if not changed:
            continue
        numbers = np.array(changed)
        pairs = _pairs(network, w, points, tried[n], full)
        for x, y in pairs:
            shows = (rows[:, x] == rows[:, y]) != (base[x] == base[y])
            if shows.any():
                kept.setdefault(tuple(numbers[shows].tolist()), (n, x, y))
    return list(kept.values()), list(kept)


def _pairs(
    network: RailNetwork, w: Wiring, points: Sequence[int], settings: Settings, full: bool
) -> Iterator[tuple[int, int]]:
    """Pairs of points to read between, a rail before a bus wire."""
    near = _near(network, settings) if not full and settings else None
    for i, x in enumerate(points):
        for y in points[i + 1 :]:
            a, b = w.points[x], w.points[y]
            if not full:
                wires = (a in network.wires) + (b in network.wires)
                pa, pb = network.piece_of.get(a), network.piece_of.get(b)
                if wires == 0 and pa != pb:
                    continue
                if near is not None and wires < 2 and pa not in near and pb not in near:
                    continue
            yield (y, x) if a in network.wires and b not in network.wires else (x, y)


def _near(network: RailNetwork, settings: Settings) -> set[str]:
    """The pieces that these drives throw, and those joined to them."""
    drives = {d for d, _ in settings}
    thrown = {r.piece for r in network.roads if any(d in drives for t in r.when for d, _ in t)}
    thrown |= {s.piece for s in network.switched if drives & set(s.drives)}
    return thrown | {p for j in network.joints for p in (j.a[0], j.b[0]) if {j.a[0], j.b[0]} & thrown}


def _cover(
    finds: Sequence[tuple[int, ...]], found: Sequence[int], throws: Sequence[int], seconds: float
) -> tuple[list[int], int]:
    """A smallest set of readings that covers every fault found, and the proven least number.

    `throws` says for each reading how many drives stand away from their first setting.
    """
    if not found:
        return [], 0
    index = {f: n for n, f in enumerate(found)}
    rows = [index[f] for shown in finds for f in shown]
    columns = [c for c, shown in enumerate(finds) for _ in shown]
    count = len(finds)
    matrix = csr_matrix((np.ones(len(rows)), (rows, columns)), shape=(len(found), count))
    # Among lists of equal length the one that throws fewest drives: all of it together counts less than one reading.
    cost = 1.0 + np.asarray(throws, dtype=float) * (0.5 / (1 + len(found) * max(throws, default=0)))
    result = milp(
        cost,
        constraints=LinearConstraint(matrix, lb=1.0),
        integrality=np.ones(count, dtype=np.int64),
        bounds=Bounds(0, 1),
        options={"time_limit": seconds, "mip_rel_gap": 0.0},
    )
    if result.x is None:
        return _greedy(finds), 1
    return [c for c in range(count) if result.x[c] > 0.5], int(np.floor(result.mip_dual_bound + 1e-6))


def _greedy(finds: Sequence[tuple[int, ...]]) -> list[int]:
    left = {f for shown in finds for f in shown}
    chosen: list[int] = []
    while left:
        best = max(range(len(finds)), key=lambda c: len(left.intersection(finds[c])))
        chosen.append(best)
        left -= set(finds[best])
    return chosen
