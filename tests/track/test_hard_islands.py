"""Tangles on purpose: each question finishes right, or says in bounded time what it could not decide."""

from __future__ import annotations

import random
import time

import pytest

from frogfeed.layout.schema import Side
from frogfeed.track.assembly.assemble import assemble
from frogfeed.track.network.conditions import holds
from frogfeed.track.network.model import Contact, Feed, RailNetwork, Wire
from frogfeed.track.network.netlist import netlist
from frogfeed.track.solver.solver import Solver
from tests.track import brute
from tests.track.make import layout, random_layout

SECONDS_ALLOWED = 180
"""Far above the sum of the solver's own limits; only an unbounded search exceeds it."""


@pytest.mark.parametrize("seed", range(300))
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
    if shorts:
        return  # what else is wrong in an island with a short is said to be open until that is cured
    clashes = list(solver.clashes())
    assert [c.bridge for c in clashes] == [c.bridge for c in easy.clashes()]
    one_wire = list(solver.no_circuit())
    assert {(n.road.name, n.held) for n in one_wire} == {(n.road.name, n.held) for n in easy.no_circuit()}
    hangs = list(solver.hangs())
    assert {h.rails for h in hangs} == {h.rails for h in easy.hangs()}
    assert not solver.not_proven
    for found, a, b in [(c, c.bridge.a, c.bridge.b) for c in clashes] + [(n, "", "") for n in one_wire]:
        at = next(at for at in brute.all_settings(net) if holds((found.when,), at))
        carries = brute.wires_at(net, at)
        for wire, rail in zip(found.wires, (a, b), strict=True):
            assert not rail or wire in carries[rail]
        assert found.path[0] == found.wires[0] and found.path[-1] == found.wires[1]
    for h in hangs:
        at = next(at for at in brute.all_settings(net) if holds((h.when,), at))
        assert h.path[-1] in brute.wires_at(net, at)[h.rails[0]]


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


@pytest.mark.parametrize("count", [50, 1000, 10_000])
def test_a_fan_fed_at_its_throat_never_shorts(count: int) -> None:
    started = time.monotonic()
    solver = Solver(assemble(layout(fan(count))))
    assert not solver.shorts()
    assert list(solver.dead()) == []
    list(solver.clashes())
    one_wire = list(solver.no_circuit())
    # The blade that touches feeds both legs with one polarity: the leg that is not set has no circuit.
    assert len(one_wire) + len(solver.not_proven) >= count
    for n in one_wire[:: max(1, len(one_wire) // 20)]:
        assert n.path[0] == n.path[-1] == n.wires[0] and len(dict(n.when)) == len(n.when)
    hangs = list(solver.hangs())
    # Whatever lies beyond a blade hangs on it.
    assert len(hangs) + len(solver.not_proven) >= count
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


def mesh(size: int) -> str:
    """Tracks that cross each other in a square of as-made live diamonds, fed at two sides only."""
    pieces = "".join(f"[diamond.D{r}x{c}]\n" for r in range(size) for c in range(size))
    places = ""
    lines = ""
    for n in range(size):
        for name in (f"w{n}", f"e{n}", f"n{n}", f"s{n}"):
            places += f'[place.{name}]\nkind = "buffer"\n'
        along = ", ".join(f'"D{n}x{c}.a.left", "D{n}x{c}.b.left"' for c in range(size))
        across = ", ".join(f'"D{r}x{n}.a.right", "D{r}x{n}.b.right"' for r in range(size))
        lines += f'r{n} = ["w{n}", {{ feed = "main", left = "A" }}, {along}, "e{n}"]\n'
        lines += f'c{n} = ["n{n}", {{ feed = "main", left = "A" }}, {across}, "s{n}"]\n'
    return f"{pieces}{places}[lines]\n{lines}"


def test_a_mesh_of_diamonds_ends_in_bounded_time() -> None:
    started = time.monotonic()
    solver = Solver(assemble(layout(mesh(12))))
    solver.shorts()
    list(solver.dead())
    list(solver.clashes())
    assert time.monotonic() - started < SECONDS_ALLOWED


def mains(count: int) -> str:
    """Parallel mains with a live crossover between each two neighbours, insulated at the heels, fed at one end."""
    pieces = ""
    places = ""
    lines = ""
    for n in range(count):
        for end in "we":
            places += f'[place.{end}{n}]\nkind = "buffer"\n'
        run = f'"w{n}", {{ feed = "main", left = "A" }}'
        if n + 1 < count:
            pieces += f"[turnout.D{n}]\n[turnout.U{n}]\n"
            lines += f'x{n} = ["D{n}.right", "|", "U{n}.right"]\n'
            run += f', "D{n}.toe", "D{n}.left"'
        if n:
            run += f', "|", "U{n - 1}.left", "U{n - 1}.toe", {{ feed = "main", left = "A" }}'
        lines += f'm{n} = [{run}, "e{n}"]\n'
    return f"{pieces}{places}[lines]\n{lines}"


def test_twenty_parallel_mains_end_in_bounded_time() -> None:
    started = time.monotonic()
    solver = Solver(assemble(layout(mains(20))))
    solver.shorts()
    list(solver.dead())
    list(solver.clashes())
    list(solver.no_circuit())
    assert time.monotonic() - started < SECONDS_ALLOWED


def three_sat(variables: int, clauses: list[tuple[int, int, int]]) -> RailNetwork:
    """A network with a path from A to B through every clause: passable where one of its three drives stands right."""
    drives = {f"V{v}": ("yes", "no") for v in range(1, variables + 1)}
    rails = tuple(f"R.{n}" for n in range(len(clauses) + 1))
    contacts = tuple(
        Contact(rails[n], rails[n + 1], tuple(((f"V{abs(x)}", "yes" if x > 0 else "no"),) for x in clause), None)
        for n, clause in enumerate(clauses)
    )
    wires = {w: Wire(w, "main", side) for w, side in (("main.A", Side.A), ("main.B", Side.B))}
    return RailNetwork(
        drives=drives,
        rails=("R.a", *rails, "R.b"),
        wires=wires,
        bonds=(),
        contacts=(
            Contact("R.a", rails[0], (((f"V{1}", "yes"),), ((f"V{1}", "no"),)), None),
            *contacts,
            Contact(rails[-1], "R.b", (((f"V{1}", "yes"),), ((f"V{1}", "no"),)), None),
        ),
        feeds=(Feed("R.a", "main.A", None, None, None), Feed("R.b", "main.B", None, None, None)),
        switched=(),
        bridges=(),
        roads=(),
        joints=(),
        pieces={},
        piece_of=dict.fromkeys(("R.a", *rails, "R.b"), "R"),
    )


@pytest.mark.parametrize("seed", range(12))
def test_shared_drives_that_spell_three_sat_are_answered_right(seed: int) -> None:
    rng = random.Random(seed)
    variables, count = 14, 62  # about 4.4 clauses a variable: as many satisfiable ones as not
    clauses = []
    for _ in range(count):
        chosen = rng.sample(range(1, variables + 1), 3)
        clauses.append(
            (chosen[0] * rng.choice((1, -1)), chosen[1] * rng.choice((1, -1)), chosen[2] * rng.choice((1, -1)))
        )
    satisfiable = any(
        all(any((x > 0) == bool(bits >> (abs(x) - 1) & 1) for x in c) for c in clauses)
        for bits in range(1 << variables)
    )
    solver = Solver(three_sat(variables, clauses))
    assert bool(solver.shorts()) == satisfiable


def test_a_large_three_sat_is_answered_or_admitted_in_bounded_time() -> None:
    rng = random.Random(5)
    variables = 260
    clauses = []
    for _ in range(round(4.26 * variables)):
        a, b, c = rng.sample(range(1, variables + 1), 3)
        clauses.append((a * rng.choice((1, -1)), b * rng.choice((1, -1)), c * rng.choice((1, -1))))
    started = time.monotonic()
    solver = Solver(three_sat(variables, clauses))
    shorts = solver.shorts()
    assert time.monotonic() - started < SECONDS_ALLOWED
    if shorts:
        at = dict(shorts[0].when)
        assert all(any(at.get(f"V{abs(x)}") == ("yes" if x > 0 else "no") for x in c) for c in clauses)
    else:
        assert solver.not_proven or solver.hard
