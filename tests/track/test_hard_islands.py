"""Tangles on purpose: each question finishes right, or says in bounded time what it could not decide."""

from __future__ import annotations

import random
import time

import pytest
from frogfeed.track.answers import Solver
from frogfeed.track.assemble import assemble
from frogfeed.track.conditions import holds
from frogfeed.track.netlist import netlist

from tests.track import brute
from tests.track.make import layout, random_layout

SECONDS_ALLOWED = 60
"""Far above the sum of the solver's own limits; only an unbounded search exceeds it."""


@pytest.mark.parametrize("seed", range(150))
def test_sat_agrees_with_brute_force(seed: int) -> None:
    network = assemble(random_layout(random.Random(seed), 4))
    net = netlist(network)
    solver = Solver(network, budget=0)
    easy = Solver(network, budget=10**9)
    shorts = solver.shorts()
    shorted = [at for at in brute.all_settings(net) if any(len(w) > 1 for w in brute.wires_at(net, at).values())]
    assert bool(shorts) == bool(shorted)
    for s in shorts:
        # Whatever the drives that the term leaves out, it is a short.
        for at in brute.all_settings(net):
            if holds((s.when,), at):
                assert at in shorted
        assert s.path[0] in s.wires and s.path[-1] in s.wires
    assert not solver.not_proven or solver.hard
    mine = {r for d in solver.dead() for r in d.rails}
    theirs = {r for d in easy.dead() for r in d.rails}
    assert mine == theirs


def fan(count: int) -> str:
    """A ladder of as-made live turnouts, fed at the throat only."""
    pieces = "".join(f"[turnout.T{i}]\n" for i in range(count))
    places = "".join(f'[place.p{i}]\nkind = "buffer"\n' for i in range(count))
    lines = "".join(f'l{i} = ["T{i}.right", "p{i}"]\n' for i in range(count))
    run = ", ".join(f'"T{i}.toe", "T{i}.left"' for i in range(count))
    return (
        pieces + places + '[place.throat]\nkind = "buffer"\n[place.far]\nkind = "buffer"\n'
        f'[lines]\nmain = ["throat", {{ feed = "main", left = "A" }}, {run}, "far"]\n{lines}'
    )


@pytest.mark.parametrize("count", [50, 1000])
def test_a_fan_fed_at_its_throat_never_shorts(count: int) -> None:
    started = time.monotonic()
    solver = Solver(assemble(layout(fan(count))))
    assert solver.shorts() == []
    assert list(solver.dead()) == []
    one_wire = list(solver.no_circuit())
    # The blade that touches feeds both legs with one polarity: the leg that is not set has no circuit.
    assert len(one_wire) + len(solver.not_proven) >= count
    assert time.monotonic() - started < SECONDS_ALLOWED


def parallel(count: int) -> str:
    """Pairs of turnouts whose roads meet again: each pair offers two ways on, all fed at one end only."""
    pieces = "".join(f"[turnout.F{i}]\n[turnout.M{i}]\n" for i in range(count))
    run = ", ".join(f'"F{i}.toe", "F{i}.left", "M{i}.right", "M{i}.toe"' for i in range(count))
    loops = "".join(f'loop{i} = ["F{i}.right", "M{i}.left"]\n' for i in range(count))
    return (
        pieces + '[place.start]\nkind = "buffer"\n[place.end]\nkind = "buffer"\n[lines]\n'
        f'main = ["start", {{ feed = "main", left = "A" }}, {run}, "end"]\n{loops}'
    )


def test_pairs_of_ways_in_series_end_in_bounded_time() -> None:
    started = time.monotonic()
    solver = Solver(assemble(layout(parallel(200))))
    solver.shorts()
    list(solver.dead())
    assert time.monotonic() - started < SECONDS_ALLOWED
