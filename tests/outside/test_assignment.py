"""The assignment's optimum against exhaustive search, and against min-cost flow where the problem is one."""

from __future__ import annotations

import itertools
import random

import networkx as nx
import pytest

from frogfeed.plan.assignment import (
    BoardOf,
    ClassOf,
    Cluster,
    Item,
    Problem,
    Solution,
    binding_limits,
    solve,
)

DISTRICTS = ("main", "yard")


def random_problem(rng: random.Random, clusters: int, boards: int) -> Problem:
    """Small, tight problems: shared pools, district domains, bus wire, boards that some clusters may not use."""
    made = tuple(
        BoardOf(
            f"B{b}",
            servos=rng.randint(1, 3),
            inputs=rng.randint(0, 2),
            classes=(
                ClassOf("single", 4, {"relays": 1}, "ground" if rng.random() < 0.4 else None),
                ClassOf("twin", 2, {"relays": 2}, f"enable {b}" if rng.random() < 0.4 else None),
            ),
            pools={"relays": rng.randint(2, 4)},
        )
        for b in range(boards)
    )
    groups = tuple(
        Cluster(
            f"T{c}",
            servos=rng.randint(0, 2),
            inputs=rng.choice((0, 0, 1)),
            cost=tuple(None if rng.random() < 0.1 else float(rng.randint(0, 50)) for _ in range(boards)),
        )
        for c in range(clusters)
    )
    items = tuple(
        Item(
            f"F{i}",
            cluster=rng.randrange(clusters),
            district=rng.choice(DISTRICTS),
            options={
                (b, k): float(rng.randint(0, 40)) + (30.0 if k == 0 else 0.0)
                for b in range(boards)
                for k in range(2)
                if rng.random() < 0.85
            },
        )
        for i in range(rng.randint(1, clusters + 1))
    )
    wire = tuple({d: float(rng.randint(0, 60)) for d in DISTRICTS} for _ in range(boards))
    return Problem(made, groups, items, wire)


def cost_of(p: Problem, boards: tuple[int, ...], classes: tuple[tuple[int, int], ...]) -> float | None:
    """The cost of one assignment by the rules in words, or None where it breaks one."""
    total = 0.0
    for cluster, b in zip(p.clusters, boards, strict=True):
        if cluster.cost[b] is None:
            return None
        total += cluster.cost[b]
    for b, board in enumerate(p.boards):
        mine = [c for c, where in zip(p.clusters, boards, strict=True) if where == b]
        if sum(c.servos for c in mine) > board.servos or sum(c.inputs for c in mine) > board.inputs:
            return None
        used = [(i, k) for i, (bb, k) in zip(p.items, classes, strict=True) if bb == b]
        for k, cls in enumerate(board.classes):
            if sum(1 for _, kk in used if kk == k) > cls.count:
                return None
        if sum(board.classes[k].cells["relays"] for _, k in used) > board.pools["relays"]:
            return None
        domains: dict[str, set[str]] = {}
        for i, k in used:
            if board.classes[k].domain is not None:
                domains.setdefault(board.classes[k].domain, set()).add(i.district)
        if any(len(d) > 1 for d in domains.values()):
            return None
        total += sum(p.district_cost[b][d] for d in {i.district for i, _ in used})
    for i, option in zip(p.items, classes, strict=True):
        if option not in i.options or option[0] != boards[i.cluster]:
            return None
        total += i.options[option]
    return total


def exhaustive(p: Problem) -> float | None:
    best: float | None = None
    for boards in itertools.product(range(len(p.boards)), repeat=len(p.clusters)):
        choices = [[o for o in i.options if o[0] == boards[i.cluster]] for i in p.items]
        for classes in itertools.product(*choices):
            cost = cost_of(p, boards, tuple(classes))
            if cost is not None and (best is None or cost < best):
                best = cost
    return best


def test_optimum_and_feasibility_equal_exhaustive_search() -> None:
    rng = random.Random(20_240)
    feasible = refused = 0
    for _ in range(250):
        p = random_problem(rng, rng.randint(1, 4), rng.randint(1, 3))
        best, found = exhaustive(p), solve(p)
        if best is None:
            refused += 1
            assert found is None
            continue
        feasible += 1
        assert found is not None
        assert found.cost == pytest.approx(best, abs=1e-6)
        assert found.gap <= 1e-6
        assert cost_of(p, found.cluster_board, found.item_class) == pytest.approx(best, abs=1e-6)
    assert feasible > 60
    assert refused > 30


def test_lone_servos_are_a_min_cost_flow() -> None:
    rng = random.Random(7)
    for _ in range(25):
        boards, things = rng.randint(2, 6), rng.randint(3, 30)
        room = [rng.randint(1, 12) for _ in range(boards)]
        costs = [[rng.randint(0, 9000) for _ in range(boards)] for _ in range(things)]
        p = Problem(
            tuple(BoardOf(f"B{b}", room[b], 0, (), {}) for b in range(boards)),
            tuple(Cluster(f"T{t}", 1, 0, tuple(float(c) for c in costs[t])) for t in range(things)),
            (),
            tuple({} for _ in range(boards)),
        )
        g = nx.DiGraph()
        g.add_node("all", demand=-things)
        g.add_node("end", demand=things)
        for t in range(things):
            g.add_edge("all", ("t", t), capacity=1, weight=0)
            for b in range(boards):
                g.add_edge(("t", t), ("b", b), capacity=1, weight=costs[t][b])
        for b in range(boards):
            g.add_edge(("b", b), "end", capacity=room[b], weight=0)
        found = solve(p)
        if sum(room) < things:
            assert found is None
            assert binding_limits(p) == ("servos",)
            continue
        assert found is not None
        assert found.cost == pytest.approx(nx.min_cost_flow_cost(g), abs=1e-6)


def test_the_limit_named_is_the_one_whose_lifting_frees() -> None:
    rng = random.Random(99)
    named = 0
    for _ in range(200):
        p = random_problem(rng, 3, 2)
        if solve(p) is not None or any(not i.options for i in p.items):
            continue
        for limit in binding_limits(p):
            named += 1
            assert isinstance(solve(lifted(p, limit)), Solution)
    assert named > 20


def lifted(p: Problem, limit: str) -> Problem:
    """The same problem without one family of limits."""
    big = 10**6
    boards = tuple(
        BoardOf(
            b.name,
            big if limit == "servos" else b.servos,
            big if limit == "inputs" else b.inputs,
            tuple(
                ClassOf(
                    c.name,
                    big if limit == "outputs" else c.count,
                    c.cells,
                    None if limit == "districts" else c.domain,
                )
                for c in b.classes
            ),
            {k: big if limit == "outputs" else v for k, v in b.pools.items()},
        )
        for b in p.boards
    )
    if limit != "together":
        return Problem(boards, p.clusters, p.items, p.district_cost)
    extra = tuple(Cluster(i.name, 0, 0, tuple(0.0 for _ in p.boards)) for i in p.items)
    items = tuple(Item(i.name, len(p.clusters) + n, i.district, i.options) for n, i in enumerate(p.items))
    return Problem(boards, (*p.clusters, *extra), items, p.district_cost)
