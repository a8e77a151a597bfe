"""The solver's answers on random layouts equal brute force over every combination of settings."""

from __future__ import annotations

import os
import random

import pytest

from frogfeed.track.assembly.assemble import assemble
from frogfeed.track.network.conditions import holds, to_json
from frogfeed.track.network.netlist import netlist
from frogfeed.track.solver.solver import Solver
from tests.track import brute
from tests.track.make import random_layout

SEED = int(os.environ.get("FROGFEED_SEED", random.SystemRandom().randrange(2**31)))
ROUNDS = [(20, 9), (120, 7), (660, 5), (1200, 3)]
"""(layouts, most drives): 2,000 in all; and in LARGE a few with 12."""
LARGE = [(6, 12)]


@pytest.mark.parametrize(("count", "drives"), ROUNDS + LARGE)
def test_every_answer_equals_brute_force(count: int, drives: int) -> None:
    print(f"seed {SEED}")
    rng = random.Random(SEED * 100 + drives)
    for i in range(count):
        compare(
            random.Random(rng.randrange(2**62)),
            rng.randint(1, drives) if count > 6 else drives,
            f"{SEED}/{drives}/{i}",
        )


def compare(rng: random.Random, drives: int, name: str) -> None:
    network = assemble(random_layout(rng, drives))
    net = netlist(network)
    solver = Solver(network, budget=10**9)
    shorts = solver.shorts()
    labels = {r: solver.labels_of(r) for r in network.rails}
    clashes = {id(c.bridge): c for c in solver.clashes()}
    seen_clash: set[int] = set()
    dead_ever: set[str] = set()
    for at in brute.all_settings(net):
        wires = brute.wires_at(net, at)
        is_short = any(len(w) > 1 for w in wires.values())
        assert is_short == any(holds((s.when,), at) for s in shorts), (name, at, "short")
        for rail, joined in wires.items():
            claimed = {x.wire for x in labels[rail] if holds((x.term,), at)}
            if is_short:
                assert bool(claimed) == bool(joined), (name, at, rail)
            else:
                assert claimed == joined, (name, at, rail)
            if not joined:
                dead_ever.add(rail)
        for b in network.bridges:
            if not is_short and brute.holds(to_json(b.when), at) and len(wires[b.a] | wires[b.b]) > 1:
                seen_clash.add(id(b))
                assert id(b) in clashes, (name, at, b)
    for c in clashes.values():
        at = {d: s[0] for d, s in network.drives.items()} | dict(c.when)
        wires = brute.wires_at(net, at)
        assert set(c.wires) <= wires[c.bridge.a] | wires[c.bridge.b], (name, c)
        assert brute.holds(to_json(c.bridge.when), at), (name, c)
    for d in solver.dead():
        assert set(d.rails) <= dead_ever, (name, d)
        at = {drive: s[0] for drive, s in network.drives.items()} | dict(d.when)
        assert not brute.wires_at(net, at)[d.rails[0]], (name, d)
        if not d.held and not d.never:
            assert d.road is not None and holds(d.road.when, at), (name, d)
    never = {r for d in solver.dead() if d.never for r in d.rails}
    on_roads = {r for road in network.roads for r in (*road.left, *road.right)}
    alive = {r for r in network.rails if r not in dead_ever}
    assert not never & alive
    assert dead_ever & on_roads <= {r for d in solver.dead() for r in d.rails}, name
