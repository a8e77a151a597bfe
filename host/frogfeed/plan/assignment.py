"""Which board and which class of output serves what: one mixed-integer program, solved by HiGHS.

Drives whose settings decide one table belong together (a table only uses drives of its own board) and go to
a board as one cluster, with their feeds. Feed channels of a board that are alike (same switch, same enable)
form a class; the single channel within it is chosen afterwards (`channels`), where it makes no difference
to the wire.
"""

from __future__ import annotations

import time
from collections import Counter
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
from scipy.cluster.hierarchy import DisjointSet
from scipy.optimize import Bounds, LinearConstraint, OptimizeResult, milp
from scipy.sparse import coo_array

MOVED_COST = 1e6
"""What moving one thing away from where it is wired costs beside a millimetre of wire: it is not done for
wire.
"""


@dataclass(frozen=True, slots=True)
class Item:
    """A feed or a lone need of a cluster: which (board, class) pairs it may use, and at what cost in mm."""

    name: str
    cluster: int
    district: str
    options: Mapping[tuple[int, int], float]


@dataclass(frozen=True, slots=True)
class ClassOf:
    """A class of feed channels that are alike: how many, and what each takes of the board's shared cells.

    `cells` maps a pool to how much of it one channel takes. `domain` names a part of the board that falls
    into `groups` equal groups, each of which serves one district only; None where districts do not matter.
    """

    name: str
    count: int
    cells: Mapping[str, int]
    domain: str | None
    groups: int = 1


@dataclass(frozen=True, slots=True)
class BoardOf:
    """A board's capacities. `pools` are the shared cells of feed channels: name -> how many.

    `pins` are for kinds of channel ("servos", "inputs", "lamps") that share some: how many pins they have together.
    """

    name: str
    servos: int
    inputs: int
    classes: tuple[ClassOf, ...]
    pools: Mapping[str, int]
    lamps: int = 0
    pins: Mapping[tuple[str, ...], int] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Cluster:
    """Drives and things of the panel that share a board: how many servos, inputs and lamps, and the cost of each
    board in mm (None: not allowed).
    """

    name: str
    servos: int
    inputs: int
    cost: tuple[float | None, ...]
    lamps: int = 0

    def size(self, kinds: Sequence[str]) -> int:
        """How many channels of these kinds it takes together."""
        return sum({"servos": self.servos, "inputs": self.inputs, "lamps": self.lamps}[k] for k in kinds)


@dataclass(frozen=True, slots=True)
class Problem:
    """The whole assignment. `district_cost[board][district]` is the bus wire to bring a district to a
    board.
    """

    boards: tuple[BoardOf, ...]
    clusters: tuple[Cluster, ...]
    items: tuple[Item, ...]
    district_cost: tuple[Mapping[str, float], ...]


@dataclass(frozen=True, slots=True)
class Solution:
    """Board of every cluster, (board, class) of every item, the cost, the proven bound and the gap."""

    cluster_board: tuple[int, ...]
    item_class: tuple[tuple[int, int], ...]
    cost: float
    bound: float
    gap: float
    seconds: float


LIMITS = ("servos", "inputs", "lamps", "pins", "outputs", "districts", "together")
"""The families of limits that an infeasible problem is tested against, in the order in which they are
tried.
"""


@dataclass(slots=True)
class _Rows:
    rows: list[int] = field(default_factory=list)
    cols: list[int] = field(default_factory=list)
    values: list[float] = field(default_factory=list)
    low: list[float] = field(default_factory=list)
    high: list[float] = field(default_factory=list)

    def add(self, terms: Iterable[tuple[int, float]], low: float, high: float) -> None:
        row = len(self.low)
        for col, value in terms:
            self.rows.append(row)
            self.cols.append(col)
            self.values.append(value)
        self.low.append(low)
        self.high.append(high)


class _Model:
    """Columns and rows of one problem; `without` names families of limits left out."""

    def __init__(self, problem: Problem, without: frozenset[str] = frozenset()) -> None:
        self.problem = problem
        self.costs: list[float] = []
        self.most: list[int] = []
        self.rows = _Rows()
        self.x: dict[tuple[int, int], int] = {}
        self.f: dict[tuple[int, tuple[int, int]], int] = {}
        self.y: dict[tuple[int, str], int] = {}
        self.z: dict[tuple[int, str, str], int] = {}
        self._columns()
        self._choices(together="together" not in without)
        if "servos" not in without:
            self._capacity(lambda c: c.servos, lambda b: b.servos)
        if "inputs" not in without:
            self._capacity(lambda c: c.inputs, lambda b: b.inputs)
        if "lamps" not in without:
            self._capacity(lambda c: c.lamps, lambda b: b.lamps)
        if "pins" not in without:
            self._pins()
        if "outputs" not in without:
            self._outputs()
        if "districts" not in without:
            self._domains()
        self._district_wire()

    def _column(self, cost: float, most: int = 1) -> int:
        self.costs.append(cost)
        self.most.append(most)
        return len(self.costs) - 1

    def _columns(self) -> None:
        p = self.problem
        for c, cluster in enumerate(p.clusters):
            for b, cost in enumerate(cluster.cost):
                if cost is not None:
                    self.x[c, b] = self._column(cost)
        for i, item in enumerate(p.items):
            for option, cost in item.options.items():
                self.f[i, option] = self._column(cost)

    def _choices(self, together: bool) -> None:
        p = self.problem
        for c in range(len(p.clusters)):
            self.rows.add(((self.x[c, b], 1.0) for b in range(len(p.boards)) if (c, b) in self.x), 1, 1)
        for i, item in enumerate(p.items):
            self.rows.add(((self.f[i, o], 1.0) for o in item.options), 1, 1)
            if not together:
                continue
            for b in range(len(p.boards)):
                mine = [(self.f[i, o], 1.0) for o in item.options if o[0] == b]
                here = self.x.get((item.cluster, b))
                if mine or here is not None:
                    self.rows.add([*mine, *([] if here is None else [(here, -1.0)])], 0, 0)

    def _capacity(self, size: Callable[[Cluster], int], limit: Callable[[BoardOf], int]) -> None:
        for b, board in enumerate(self.problem.boards):
            terms = [
                (self.x[c, b], float(size(cluster)))
                for c, cluster in enumerate(self.problem.clusters)
                if (c, b) in self.x and size(cluster)
            ]
            if terms:
                self.rows.add(terms, 0, limit(board))

    def _pins(self) -> None:
        """Kinds of channel that share pins take no more of them together than there are (Hall's condition)."""
        for b, board in enumerate(self.problem.boards):
            for kinds, count in board.pins.items():
                terms = [
                    (self.x[c, b], float(cluster.size(kinds)))
                    for c, cluster in enumerate(self.problem.clusters)
                    if (c, b) in self.x and cluster.size(kinds)
                ]
                if terms:
                    self.rows.add(terms, 0, count)

    def _outputs(self) -> None:
        for b, board in enumerate(self.problem.boards):
            for k, cls in enumerate(board.classes):
                users = [(self.f[key], 1.0) for key in self.f if key[1] == (b, k)]
                if users:
                    self.rows.add(users, 0, cls.count)
            for pool, size in board.pools.items():
                terms = [
                    (col, float(board.classes[option[1]].cells[pool]))
                    for (_, option), col in self.f.items()
                    if option[0] == b and pool in board.classes[option[1]].cells
                ]
                if terms:
                    self.rows.add(terms, 0, size)

    def _domains(self) -> None:
        """Of each domain a whole number of groups for each district, and no more feeds than those hold."""
        p = self.problem
        users: dict[tuple[int, int, str], list[int]] = {}
        for (i, (b, k)), col in self.f.items():
            if p.boards[b].classes[k].domain is not None:
                users.setdefault((b, k, p.items[i].district), []).append(col)
        for (b, k, district), cols in users.items():
            cls = p.boards[b].classes[k]
            key = (b, str(cls.domain), district)
            if key not in self.z:
                self.z[key] = self._column(0.0, cls.groups)
            size = cls.count / cls.groups
            self.rows.add([*((c, 1.0) for c in cols), (self.z[key], -size)], -np.inf, 0)
            for c in cols:
                self.rows.add([(c, 1.0), (self.z[key], -1.0)], -np.inf, 0)
        groups = {(b, str(c.domain)): c.groups for b, board in enumerate(p.boards) for c in board.classes}
        for b, domain in {(b, d) for b, d, _ in self.z}:
            mine = [(col, 1.0) for (bb, d, _), col in self.z.items() if (bb, d) == (b, domain)]
            self.rows.add(mine, 0, groups[b, domain])

    def _district_wire(self) -> None:
        p = self.problem
        for (i, (b, _)), col in list(self.f.items()):
            district = p.items[i].district
            cost = p.district_cost[b].get(district, 0.0)
            if cost <= 0.0:
                continue
            if (b, district) not in self.y:
                self.y[b, district] = self._column(cost)
            self.rows.add([(col, 1.0), (self.y[b, district], -1.0)], -np.inf, 0)

    def _flows(self) -> set[int]:
        """Columns that need not be declared whole.

        A lone servo with at most one feed and one class of output to choose from, on boards whose other
        users are alike, is a unit of flow through nested capacities: once groups and bus wires are whole,
        so is it.
        """
        p = self.problem
        feeds = Counter(i.cluster for i in p.items)
        classes = Counter((i, o[0]) for i, o in self.f)
        unit = [
            c.size(("servos", "inputs", "lamps")) == c.servos == 1 and feeds[n] <= 1 for n, c in enumerate(p.clusters)
        ]
        plain = {n for n, item in enumerate(p.items) if all(classes[n, b] <= 1 for b, _ in item.options)}
        found = {col for (c, _), col in self.x.items() if unit[c]}
        return found | {col for (i, _), col in self.f.items() if i in plain and unit[p.items[i].cluster]}

    def solve(self, seconds: float, gap: float, whole: bool = False) -> OptimizeResult:
        """Run HiGHS; `whole` declares every column a whole number, else flows are left to come out whole."""
        n = len(self.costs)
        integral = np.ones(n, dtype=np.int64)
        flows = set() if whole else self._flows()
        integral[sorted(flows)] = 0
        rows = self.rows
        matrix = coo_array((rows.values, (rows.rows, rows.cols)), shape=(len(rows.low), n)).tocsr()
        return milp(
            np.array(self.costs),
            integrality=integral,
            bounds=Bounds(0, np.array(self.most)),
            constraints=LinearConstraint(matrix, np.array(rows.low), np.array(rows.high)),
            options={"time_limit": seconds, "mip_rel_gap": gap},
        )


def solve(problem: Problem, seconds: float = 60.0, gap: float = 0.0) -> Solution | None:
    """The cheapest assignment, or None where none exists. Raises TimeoutError where none was found in
    time.
    """
    began = time.perf_counter()
    if not problem.clusters and not problem.items:
        return Solution((), (), 0.0, 0.0, 0.0, 0.0)
    if any(all(c is None for c in cluster.cost) for cluster in problem.clusters):
        return None
    if any(not item.options for item in problem.items):
        return None
    model = _Model(problem)
    result = model.solve(seconds, gap)
    if result.x is not None and np.max(np.abs(result.x - np.round(result.x)), initial=0.0) > 1e-5:
        result = model.solve(max(seconds - (time.perf_counter() - began), 1.0), gap, whole=True)
    if result.x is None:
        if result.status == 1:
            raise TimeoutError(f"no assignment was found within {seconds:.0f} s")
        return None
    chosen = np.round(result.x) > 0.5
    board = [
        next(b for b in range(len(problem.boards)) if (c, b) in model.x and chosen[model.x[c, b]])
        for c in range(len(problem.clusters))
    ]
    classes = [next(o for o in item.options if chosen[model.f[i, o]]) for i, item in enumerate(problem.items)]
    cost = float(result.fun)
    bound = float(result.mip_dual_bound) if result.mip_dual_bound is not None else cost
    spread = max(0.0, cost - bound) / cost if cost > 1e-9 else 0.0
    return Solution(tuple(board), tuple(classes), cost, bound, spread, time.perf_counter() - began)


def exceeded_limits(problem: Problem) -> tuple[str, ...]:
    """Limits that plain counting shows to be exceeded on all boards together: no program need be run for
    these.
    """
    p = problem
    found: list[str] = []
    if sum(c.servos for c in p.clusters) > sum(b.servos for b in p.boards):
        found.append("servos")
    if sum(c.inputs for c in p.clusters) > sum(b.inputs for b in p.boards):
        found.append("inputs")
    if sum(c.lamps for c in p.clusters) > sum(b.lamps for b in p.boards):
        found.append("lamps")
    shared = {kinds for b in p.boards for kinds in b.pins}
    if not found and any(
        sum(c.size(kinds) for c in p.clusters) > sum(b.pins.get(kinds, _all_of(b, kinds)) for b in p.boards)
        for kinds in shared
    ):
        found.append("pins")
    if len(p.items) > sum(c.count for b in p.boards for c in b.classes):
        found.append("outputs")
    return tuple(found)


def _all_of(board: BoardOf, kinds: Sequence[str]) -> int:
    """How many channels of these kinds a board has, where they share no pins."""
    return sum({"servos": board.servos, "inputs": board.inputs, "lamps": board.lamps}[k] for k in kinds)


def binding_limits(problem: Problem, seconds: float = 20.0) -> tuple[str, ...]:
    """For a problem without a solution: the families of limits of which dropping any one alone would allow
    one.

    Empty where no single family is to blame, or where none could be tested in time.
    """
    found: list[str] = []
    for limit in LIMITS:
        result = _Model(problem, frozenset((limit,))).solve(seconds, 1.0)
        if result.x is not None:
            found.append(limit)
    return tuple(found)


def left_over(problem: Problem, seconds: float = 20.0) -> tuple[int, ...] | None:
    """The smallest set of clusters without which the rest fits; None where that took too long to say."""
    p = problem
    nowhere = len(p.boards)
    much = 10**6
    room = BoardOf("nowhere", much, much, (ClassOf("nowhere", much, {}, None),), {}, much)
    items = tuple(Item(i.name, i.cluster, i.district, {**i.options, (nowhere, 0): 0.0}) for i in p.items)
    dear = 1.0 + sum(max((x for x in c.cost if x is not None), default=0.0) for c in p.clusters)
    dear += sum(max(i.options.values(), default=0.0) for i in p.items)
    dear += sum(x for board in p.district_cost for x in board.values())
    clusters = tuple(Cluster(c.name, c.servos, c.inputs, (*c.cost, dear), c.lamps) for c in p.clusters)
    try:
        found = solve(Problem((*p.boards, room), clusters, items, (*p.district_cost, {})), seconds, 0.0)
    except TimeoutError:
        return None
    if found is None:
        return None
    return tuple(c for c, b in enumerate(found.cluster_board) if b == nowhere)


def joined(pairs: Iterable[Sequence[int]], count: int) -> list[int]:
    """The cluster number of each of `count` things, numbered in order of first appearance."""
    found = DisjointSet(range(count))
    for group in pairs:
        for other in group[1:]:
            found.merge(group[0], other)
    order: dict[int, int] = {}
    return [order.setdefault(found[i], len(order)) for i in range(count)]
