"""The bench's rail network against a plain flood fill, for random networks and random histories."""

from __future__ import annotations

from typing import Any

from hypothesis import given, settings
from hypothesis import strategies as st

from frogfeed.bench.circuit import build_circuit
from frogfeed.bench.sim.physics.clock import Clock
from frogfeed.bench.sim.physics.rails import Rails
from frogfeed.bench.sim.physics.records import Records

WIRES = {
    "m.A": {"district": "m", "side": "A"},
    "m.B": {"district": "m", "side": "B"},
    "n.A": {"district": "n", "side": "A"},
    "n.B": {"district": "n", "side": "B"},
}
RAILS = [f"r{i}" for i in range(9)]
DRIVES = {"P": ["left", "right"], "Q": ["left", "right"]}

pairs = st.tuples(st.sampled_from(RAILS), st.sampled_from(RAILS)).filter(lambda p: p[0] != p[1])
terms = st.dictionaries(st.sampled_from(sorted(DRIVES)), st.sampled_from(["left", "right"]), max_size=2)
whens = st.lists(terms, min_size=1, max_size=2)


@st.composite
def networks(draw: st.DrawFn) -> dict[str, Any]:
    outputs = draw(st.lists(st.sampled_from(RAILS), unique=True, max_size=3))
    return {
        "drives": DRIVES,
        "rails": RAILS,
        "wires": WIRES,
        "bonds": [list(p) for p in draw(st.lists(pairs, max_size=4))],
        "contacts": [{"between": list(draw(pairs)), "when": draw(whens)} for _ in range(draw(st.integers(0, 5)))],
        "feeds": [
            {"rail": r, "wire": w}
            for r, w in draw(st.lists(st.tuples(st.sampled_from(RAILS), st.sampled_from(sorted(WIRES))), max_size=4))
        ],
        "switched": [
            {"rail": r, "output": f"{r}.F", "table": [{"when": [{"P": "left"}], "wire": "m.A"}], "unpowered": None}
            for r in outputs
        ],
        "bridges": [],
        "roads": [],
    }


steps = st.lists(
    st.one_of(
        st.tuples(st.just("end"), st.integers(0, 1), st.integers(0, 1), st.booleans()),
        st.tuples(st.just("leg"), st.integers(0, 2), st.sampled_from("AB"), st.booleans()),
    ),
    max_size=25,
)


def flood(netlist: dict[str, Any], ends: set[tuple[str, str]], legs: set[tuple[str, str]]) -> dict[str, set[str]]:
    """Which wires each rail or wire is joined to, the slow way."""
    around: dict[str, set[str]] = {}

    def join(a: str, b: str) -> None:
        around.setdefault(a, set()).add(b)
        around.setdefault(b, set()).add(a)

    for a, b in netlist["bonds"]:
        join(a, b)
    for feed in netlist["feeds"]:
        join(feed["rail"], feed["wire"])
    for contact in netlist["contacts"]:
        if any(all((d, s) in ends for d, s in term.items()) for term in contact["when"]):
            join(*contact["between"])
    for switched in netlist["switched"]:
        for side in "AB":
            if (switched["output"], side) in legs:
                join(switched["rail"], f"m.{side}")
    found: dict[str, set[str]] = {}
    for start in (*RAILS, *WIRES):
        seen, queue = {start}, [start]
        while queue:
            for other in around.get(queue.pop(), ()):
                if other not in seen:
                    seen.add(other)
                    queue.append(other)
        found[start] = seen & set(WIRES)
    return found


def may_meet(a: str, b: str) -> bool:
    return a == b


@settings(max_examples=300, deadline=None)
@given(networks(), steps)
def test_labels_and_sparks_agree_with_a_flood_fill(netlist: dict[str, Any], history: list[Any]) -> None:
    circuit = build_circuit(netlist, {})
    clock = Clock(0)
    records = Records()
    rails = Rails(circuit.spec, clock, records)
    ends: set[tuple[str, str]] = set()
    legs: set[tuple[str, str]] = set()
    names = list(DRIVES)
    outputs = [s["output"] for s in netlist["switched"]]
    sparking: set[frozenset[str]] = set()
    for number, step in enumerate(history, start=1):
        clock.run_to(10 * number)
        if step[0] == "end":
            _, drive, setting, closed = step
            key = (names[drive], DRIVES[names[drive]][setting])
            (ends.add if closed else ends.discard)(key)
            rails.end(drive, setting, int(closed))
        elif step[1] < len(outputs):
            key = (outputs[step[1]], step[2])
            (legs.add if step[3] else legs.discard)(key)
            rails.output(*key, int(step[3]))
        clock.run_to(10 * number + 5)
        truth = flood(netlist, ends, legs)
        for rail in RAILS:
            wire = rails.wire_of(circuit.class_of[rail])
            assert (wire is None) == (not truth[rail])
            if wire is not None:
                assert any(circuit.class_of[w] == circuit.class_of[wire] for w in truth[rail])
        static = flood({**netlist, "contacts": []}, set(), set())
        expected = {
            frozenset((circuit.class_of[a], circuit.class_of[b]))
            for a in WIRES
            for b in truth[a]
            if not may_meet(a, b) and b not in static[a] and circuit.class_of[a] != circuit.class_of[b]
        }
        for record in records.take():
            if record["e"] == "spark" and record["cause"] != ["always joined"]:
                sparking.add(frozenset(circuit.class_of[w] for w in record["wires"]))
                assert record["cause"], "every spark names its path"
            elif record["e"] == "spark-end":
                sparking.discard(frozenset(circuit.class_of[w] for w in record["wires"]))
        assert sparking == expected


def test_wires_joined_for_good_are_told_at_once() -> None:
    netlist = {
        "drives": {},
        "rails": ["r0", "r1"],
        "wires": WIRES,
        "bonds": [["r0", "r1"]],
        "contacts": [],
        "feeds": [{"rail": "r0", "wire": "m.A"}, {"rail": "r1", "wire": "m.B"}],
        "switched": [],
        "bridges": [],
        "roads": [],
    }
    records = Records()
    Rails(build_circuit(netlist, {}).spec, Clock(0), records)
    (spark,) = records.take()
    assert spark["wires"] == ["m.A", "m.B"]


def test_districts_in_phase_may_meet_side_to_side_only() -> None:
    def sparks(legs: list[tuple[str, str]], in_phase: list[frozenset[str]]) -> int:
        netlist: dict[str, Any] = {
            "drives": {},
            "rails": ["r0"],
            "wires": WIRES,
            "bonds": [],
            "contacts": [],
            "feeds": [{"rail": "r0", "wire": "n.A"}],
            "switched": [{"rail": "r0", "output": "x", "table": [{"when": [{}], "wire": "m.A"}], "unpowered": None}],
            "bridges": [],
            "roads": [],
        }
        clock, records = Clock(0), Records()
        rails = Rails(build_circuit(netlist, {}, in_phase).spec, clock, records)
        for output, side in legs:
            rails.output(output, side, 1)
        clock.run_to(10)
        return len([r for r in records.take() if r["e"] == "spark"])

    together = [frozenset(("m", "n"))]
    assert sparks([("x", "A")], []) == 1
    assert sparks([("x", "A")], together) == 0
    assert sparks([("x", "B")], together) == 1


def test_what_opens_and_closes_in_one_instant_is_judged_afterwards() -> None:
    netlist = {
        "drives": {},
        "rails": ["r0"],
        "wires": WIRES,
        "bonds": [],
        "contacts": [],
        "feeds": [],
        "switched": [{"rail": "r0", "output": "x", "table": [{"when": [{}], "wire": "m.A"}], "unpowered": None}],
        "bridges": [],
        "roads": [],
    }
    clock, records = Clock(0), Records()
    rails = Rails(build_circuit(netlist, {}).spec, clock, records)
    rails.output("x", "A", 1)
    clock.run_to(10)
    rails.output("x", "B", 1)
    rails.output("x", "A", 0)
    clock.run_to(20)
    assert records.take() == []
    rails.output("x", "A", 1)
    clock.run_to(21)
    rails.output("x", "B", 0)
    clock.run_to(22)
    assert [r["e"] for r in records.take()] == ["spark", "spark-end"], "one microsecond is enough"
