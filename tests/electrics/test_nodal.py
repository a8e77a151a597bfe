"""Circuits worked out by hand, and the fast answers against the slow ones."""

from __future__ import annotations

import random

import numpy as np
import pytest

from frogfeed.electrics import practice
from frogfeed.electrics.circuit import Circuit, Part, Resistor, Source, build_circuit
from frogfeed.electrics.lengths import facing_pairs, rail_lengths
from frogfeed.electrics.nodal import FEW_PAIRS, Nodal
from frogfeed.electrics.settings_cover import cover
from frogfeed.electrics.survey import survey
from frogfeed.parts import rails, wires
from frogfeed.track.assembly.assemble import assemble
from frogfeed.track.network.conditions import holds
from tests.plan.make import row
from tests.track.make import layout as read
from tests.track.make import random_layout


def circuit(resistors: list[tuple[str, str, float]], sources: list[Source]) -> Circuit:
    made = tuple(Resistor(a, b, ohm, Part.RAIL) for a, b, ohm in resistors)
    nodes = dict.fromkeys(
        [n for a, b, _ in resistors for n in (a, b)] + [n for s in sources for n in (s.plus, s.minus)]
    )
    return Circuit(tuple(nodes), made, tuple(sources), sources[0].minus)


def test_a_divider() -> None:
    c = circuit([("p", "m", 3.0), ("m", "g", 5.0)], [Source("d", "p", "g", 12.0, 2.0)])
    volts = Nodal(c).voltages()
    assert volts["m"] == pytest.approx(12 * 5 / 10, rel=1e-8)
    assert volts["g"] == 0.0
    loaded = Nodal(c).voltages({("m", "g"): 1.0})
    assert loaded["m"] == pytest.approx(6 - 2.5, rel=1e-8)


def test_a_balanced_bridge_carries_nothing_across() -> None:
    c = circuit(
        [("p", "x", 1.0), ("p", "y", 2.0), ("x", "g", 3.0), ("y", "g", 6.0), ("x", "y", 7.0)],
        [Source("d", "p", "g", 9.0, 0.5)],
    )
    n = Nodal(c)
    amps = n.branch_amps(n.voltages())
    assert amps[4] == pytest.approx(0.0, abs=1e-9)
    assert amps[0] == pytest.approx(2 * amps[1])


def test_two_supplies_in_parallel() -> None:
    c = circuit(
        [("p", "q", 1e-4), ("p", "g", 4.0)], [Source("a", "p", "g", 12.0, 1.0), Source("b", "q", "g", 12.0, 1.0)]
    )
    found = Nodal(c).thevenin([("p", "g")])
    assert found.volts[0] == pytest.approx(12 * 4 / 4.5, rel=1e-4)
    assert found.ohms[0] == pytest.approx(1 / (1 + 1 + 0.25), rel=1e-3)


def test_many_pairs_at_once_equal_one_by_one() -> None:
    tried = 0
    for seed in range(6):
        layout = random_layout(random.Random(seed), 12)
        network = assemble(layout)
        settings = {d: s[0] for d, s in network.drives.items()}
        c = build_circuit(layout, network, settings)
        rng = random.Random(seed)
        pairs = [tuple(rng.sample(c.nodes, 2)) for _ in range(FEW_PAIRS + 40)]
        fast, slow = Nodal(c, pairs).thevenin(pairs), Nodal(c).thevenin(pairs)
        assert np.allclose(fast.volts, slow.volts, rtol=1e-6, atol=1e-6)
        real = slow.ohms < 1e5
        assert np.allclose(fast.ohms[real], slow.ohms[real], rtol=1e-5, atol=1e-6)
        tried += int(real.sum())
    assert tried > 100


PLAIN = """[place]
near = { kind = "buffer", length_mm = 1000 }
far = { kind = "buffer", length_mm = 3000 }
[lines]
l = ["near", { feed = "main", left = "A", mm = 500 }, { mm = 2000 }, "far"]
"""


def test_a_plain_line_adds_up_on_paper() -> None:
    layout = read(PLAIN)
    network = assemble(layout)
    d = layout.file.district["main"]
    found = survey(layout, network).spots["far.R1", "far.R2"]
    hot = 1 + 0.00393 * 20
    bus = 0.0133 * hot * d.bus_mm / 1000
    dropper = 0.039 * hot * 0.5
    rail = rails.rail(100).ohm_per_m.value * (0.5 + 2.0 + 1.5) + practice.JOINER_OHM.value
    ohms = 2 * (bus + dropper + rail)
    assert found.wire_ohm == pytest.approx(ohms, rel=1e-5)
    assert found.load_v == pytest.approx(12 - (ohms + d.internal_ohm) * d.load_a, rel=1e-5)
    assert found.least_a == pytest.approx(12 / (ohms + d.internal_ohm), rel=1e-5)
    assert found.most_a > found.least_a
    assert wires.wire("1.5").ohm_per_m.value == pytest.approx(0.0133)


def test_rails_share_a_road_evenly() -> None:
    layout = row(1, piece='make = "live-frog"\nlength_mm = 200')
    network = assemble(layout)
    length = rail_lengths(layout, network)
    assert length["T1.SL"] == 200
    assert length["T1.F"] == 50
    assert length["l1.R1"] == 500
    assert facing_pairs(("SL",), ("SR", "BR", "F", "VL")) == [("SL", r) for r in ("SR", "BR", "F", "VL")]
    assert facing_pairs(("a", "b"), ("x", "y")) == [("a", "x"), ("b", "y")]
    assert facing_pairs(("a", "b"), ("x", "y", "z")) == [("a", "x"), ("a", "y"), ("b", "y"), ("b", "z")]


def test_the_settings_chosen_set_every_road_that_can_be_set() -> None:
    for seed in range(20):
        network = assemble(random_layout(random.Random(seed), 9))
        configs = cover(network)
        met = {r.name for c in configs for r in c.roads}
        assert met == {r.name for r in network.roads if r.when}
        for c in configs:
            assert set(c.settings) == set(network.drives)
            assert all(holds(r.when, c.settings) for r in c.roads)
