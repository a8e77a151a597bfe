"""The meter list finds every single fault that any reading could, and is no longer than it must be."""

from __future__ import annotations

import random
from itertools import combinations
from pathlib import Path

import networkx as nx
import pytest

from frogfeed.layout.reading import read_layout
from frogfeed.track.assembly.assemble import assemble
from frogfeed.track.meter.faults import Edge, Fault, FaultKind, wiring
from frogfeed.track.meter.readings import MeterPlan, meter_plan
from frogfeed.track.network.conditions import holds
from frogfeed.track.network.model import RailNetwork
from tests.track.make import layout, random_layout

DEMO = Path(__file__).parents[2] / "host/frogfeed/demo/saltmarsh-quay.toml"


def conducts(network: RailNetwork, fault: Fault | None, settings: dict[str, str]) -> nx.Graph:
    """The railway at these settings with one fault in it, built from the edges alone."""
    w = wiring(network)
    at = {d: s[0] for d, s in network.drives.items()} | settings
    gone = set(fault.removed) if fault else set()
    added: tuple[Edge, ...] = fault.added if fault else ()
    g = nx.Graph()
    g.add_nodes_from(w.points)
    g.add_edges_from((e.a, e.b) for i, e in enumerate(w.edges) if i not in gone and holds(e.when, at))
    g.add_edges_from((e.a, e.b) for e in added if holds(e.when, at))
    return g


def shows(plan: MeterPlan, network: RailNetwork, fault: Fault) -> bool:
    return any(
        nx.has_path(conducts(network, fault, dict(c.settings)), c.probe_a, c.probe_b) != c.expect_closed
        for c in plan.checks
    )


def check_plan(network: RailNetwork) -> MeterPlan:
    plan = meter_plan(network)
    for c in plan.checks:
        assert nx.has_path(conducts(network, None, dict(c.settings)), c.probe_a, c.probe_b) == c.expect_closed
        assert not c.expect_closed or c.probe_a != c.probe_b
    hidden = {str(f) for f in plan.hidden}
    for fault in wiring(network).faults:
        assert shows(plan, network, fault) == (str(fault) not in hidden), fault
    return plan


def test_the_demo_railway_is_covered() -> None:
    plan = check_plan(assemble(read_layout(DEMO)))
    assert plan.covered > 50
    assert len(plan.checks) == plan.least


@pytest.mark.parametrize("seed", range(25))
def test_random_railways_are_covered(seed: int) -> None:
    check_plan(assemble(random_layout(random.Random(seed), 3)))


def test_the_list_is_as_short_as_can_be() -> None:
    """On a small layout: no shorter list of any readings at all finds every fault (exhaustive)."""
    network = assemble(
        layout(
            '[turnout.T1]\nstate = "isolated-frog"\n[place.a]\nkind = "buffer"\n[place.b]\nkind = "buffer"\n'
            '[place.c]\nkind = "buffer"\n[lines]\n'
            'm = ["a", { feed = "main", left = "A" }, "T1.toe", "T1.left", "|", "b"]\n'
            's = ["T1.right", "|", "c"]\n'
        )
    )
    plan = check_plan(network)
    found = [f for f in wiring(network).faults if str(f) not in {str(h) for h in plan.hidden}]
    points = wiring(network).points
    columns: set[frozenset[int]] = set()
    for setting in ("left", "right"):
        at = {"T1": setting}
        drawn = conducts(network, None, at)
        faulty = [conducts(network, f, at) for f in found]
        for a, b in combinations(points, 2):
            was = nx.has_path(drawn, a, b)
            columns.add(frozenset(i for i, g in enumerate(faulty) if nx.has_path(g, a, b) != was))
    best = {c for c in columns if not any(c < o for o in columns)}
    everything = frozenset(range(len(found)))
    fewest = next(n for n in range(1, 20) if any(frozenset().union(*p) == everything for p in combinations(best, n)))
    assert len(plan.checks) == fewest


def test_faults_that_no_reading_parts_look_alike_everywhere() -> None:
    network = assemble(read_layout(DEMO))
    plan = meter_plan(network)
    assert plan.alike
    for group in plan.alike:
        for setting in [{}, *({d: s} for d, settings in network.drives.items() for s in settings)]:
            parts = [
                frozenset(frozenset(c) for c in nx.connected_components(conducts(network, f, setting))) for f in group
            ]
            assert len(set(parts)) == 1, group


def test_every_kind_of_fault_is_among_those_simulated() -> None:
    network = assemble(read_layout(DEMO))
    assert {f.kind for f in wiring(network).faults} == set(FaultKind)
