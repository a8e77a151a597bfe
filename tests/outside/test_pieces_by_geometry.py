"""Every kind of piece against a table of what conducts to what, drawn from its geometry.

The table's source is common practice: how rails lie, where they cross and which blade lies on which rail
(`pieces_by_geometry.toml` has the drawings). No internal rail is named, only the rails that show at the ends.
"""

from __future__ import annotations

import itertools

import networkx as nx
import pytest

from frogfeed.layout.ends import built_in_shapes
from frogfeed.layout.reading import read_layout_text
from frogfeed.track.assembly.assemble import assemble
from frogfeed.track.network.model import RailNetwork
from frogfeed.track.network.netlist import netlist
from tests.outside.geometry_table import (
    HEAD,
    Case,
    Kind,
    build,
    carried,
    conduction,
    disagreements,
    end_rail,
    holds,
    measured,
    read_cases,
    read_kinds,
)
from tests.track.make import between, stops

KINDS = read_kinds()
CASES = read_cases()
FACTS = (("live-frog", "insulated-frog"), ("in", "removed"), ("contact", "bonded"), ("unfed", "switched"))


LAID_ELSEWHERE = {"crossover-left", "crossover-right", "scissors", "traverser-3"}
"""Made of turnouts and a diamond: held against those, joined by lines, in tests/track/test_crossovers.py; a traverser:
in tests/track/test_selectors.py."""


def test_the_table_lays_down_every_kind_in_every_make_and_state() -> None:
    assert set(KINDS) == set(built_in_shapes()) - LAID_ELSEWHERE
    done = {(c.kind.name, c.make, c.links, c.blades, c.frog) for c in CASES}
    everything = {(kind, *facts) for kind in KINDS for facts in itertools.product(*FACTS)}
    assert everything - done == set()


@pytest.mark.parametrize("case", CASES, ids=lambda c: c.name)
def test_end_rails_conduct_as_the_geometry_says(case: Case) -> None:
    network = build(case)
    assert set(network.drives) == set(case.kind.drives)
    wrong = []
    for key, expected in case.expected.items():
        found = disagreements(expected, measured(network, case.kind, case.kind.settings(key)), case.kind.end_rails)
        wrong += [f"{key or 'always'}: {line}" for line in found]
    assert not wrong, "\n".join([case.name, *wrong])


@pytest.mark.parametrize("frog", ["unfed", "switched"])
@pytest.mark.parametrize("kind", KINDS.values(), ids=lambda k: k.name)
def test_each_setting_gives_the_road_it_should(kind: Kind, frog: str) -> None:
    """Where a piece alone cannot tell two roads apart a train may take either; but none is set while their frogs are
    switched, for these are off there.
    """
    network = build(next(c for c in CASES if c.kind.name == kind.name and c.frog == frog))
    every = {" ".join(each) for each in itertools.product(*(network.drives[d] for d in kind.drives))}
    if kind.drives:
        assert every - set(kind.roads) <= ({"left right"} if kind.name == "three-way-lapped" else set())
    ends_of = {r.name: frozenset({r.start, r.end}) for r in network.roads if r.piece == "X"}
    for key, roads in kind.roads.items():
        settings = kind.settings(key)
        found = {
            ends_of[r["name"]] for r in netlist(network)["roads"] if r["name"] in ends_of and holds(r["when"], settings)
        }
        wanted = roads if len(roads) == 1 or frog == "unfed" else frozenset()
        assert found == wanted, f"{kind.name}, {key}: expected {wanted}, got {found}"


def rolls(case: Case) -> bool:
    """Whether a wheel can roll through with power: links in, or a switched frog. Diamonds: further down."""
    return bool(case.kind.drives) and (case.links == "in" or case.frog == "switched")


@pytest.mark.parametrize("case", [c for c in CASES if rolls(c)], ids=lambda c: c.name)
def test_every_wheel_keeps_its_polarity_along_a_set_road(case: Case) -> None:
    """Left wheels keep to the wire of the left rail where the road starts, right wheels to the other, on every rail.

    Only what the table calls a dead short is left out; the acute frogs of a live slip as made wait for their switch.
    """
    network = build(case)
    for key, roads in case.kind.roads.items():
        groups = case.expected.get(key, ())
        if len(roads) != 1 or not groups or any(g.carries == "AB" for g in groups):
            continue
        graph = conduction(network, case.kind.settings(key))
        dead = {n for g in groups if g.carries == "-" for r in g.rails for n in _joined(network, graph, r)}
        assert not dead or (case.kind.table, case.make, case.frog) == ("slip", "live-frog", "unfed")
        road = next(r for r in network.roads if r.piece == "X" and {r.start, r.end} in roads)
        # One of the two rails at the start is the outer one, which is fed by a dropper; the other is its opposite.
        fed = {hand: case.feeds.get(f"{road.start}.{hand}") for hand in ("left", "right")}
        opposite = {"A": "B", "B": "A", None: None}
        left = fed["left"] or opposite[fed["right"]]
        assert left is not None
        for hand, rails, wire in (("left", road.left, left), ("right", road.right, opposite[left])):
            assert rails[0] == end_rail(network, "X", f"{road.start}.{hand}")
            assert rails[-1] == end_rail(network, "X", f"{road.end}.{'right' if hand == 'left' else 'left'}")
            found = {rail: carried(graph, rail) for rail in rails if rail not in dead}
            assert set(found.values()) <= {wire}, f"{key}: {road.name}, {hand} rail: {found}"


def _joined(network: RailNetwork, graph: nx.Graph[str], rail: str) -> set[str]:
    return set(nx.node_connected_component(graph, end_rail(network, "X", rail)))


# --- pieces among others: what goes wrong, and right, where their ends meet other track -------------------------------


STUBS = stops("p1", "p2", "p3")


def railway(body: str) -> RailNetwork:
    return assemble(read_layout_text(HEAD + body, "railway.toml"))


def settings_of(network: RailNetwork) -> list[dict[str, str]]:
    names = list(network.drives)
    return [dict(zip(names, each, strict=True)) for each in itertools.product(*network.drives.values())]


def shorted(network: RailNetwork) -> list[str]:
    """The settings at which the two bus wires are joined, as "left right" in the drives' order."""
    return [
        " ".join(at.values()) for at in settings_of(network) if nx.has_path(conduction(network, at), "main.A", "main.B")
    ]


def heels_fed(make: str, facts: str, left: str, right: str) -> RailNetwork:
    """One turnout, fed at the toe and, beyond the joints given, at both heels with the polarity of the toe."""
    return railway(
        f'[turnout.T]\nmake = "{make}"\n{facts}\n{STUBS}[lines]\n'
        'toe = ["p1", { feed = "main", left = "A" }, "T.toe"]\n'
        f'left = ["T.left", {left} {{ feed = "main", left = "A" }}, "p2"]\n'
        f'right = ["T.right", {right} {{ feed = "main", left = "A" }}, "p3"]\n'
    )


VEE_GAPS = ('"|right",', '"|left",')
"""Insulated joiners in the two vee rails: the right rail of the left leg, the left rail of the right leg."""


@pytest.mark.parametrize(
    ("make", "facts", "gaps", "expected"),
    [
        # The vee rails are one piece of metal and want opposite polarities: short for good.
        ("live-frog", 'state = "as-made"', ("", ""), ["left", "right"]),
        # One heel insulated: the other leg's far feed meets the blade when the turnout is set away from that leg.
        ("live-frog", 'state = "as-made"', ("", '"|left",'), ["right"]),
        ("live-frog", 'state = "as-made"', ('"|right",', ""), ["left"]),
        ("live-frog", 'state = "as-made"', VEE_GAPS, []),
        ("live-frog", 'state = "isolated-frog"', VEE_GAPS, []),
        ("live-frog", 'state = "isolated-frog"', ("", ""), ["left", "right"]),
        ("live-frog", 'links = "in"\nblades = "bonded"', VEE_GAPS, ["left", "right"]),
        ("live-frog", 'links = "in"\nblades = "contact"\nfrog = "switched"', VEE_GAPS, []),
        # A plastic frog keeps the vee rails apart, and its blades bring what the far feeds bring.
        ("insulated-frog", 'state = "as-made"', ("", ""), []),
        ("insulated-frog", 'state = "bonded"', ("", ""), []),
    ],
)
def test_a_turnout_with_its_heels_fed(make: str, facts: str, gaps: tuple[str, str], expected: list[str]) -> None:
    assert shorted(heels_fed(make, facts, *gaps)) == expected


@pytest.mark.parametrize("setting", ["left", "right"])
def test_the_leg_not_set_is_dead_behind_a_plastic_frog_as_made_and_live_when_bonded(setting: str) -> None:
    for state, dead in (("as-made", {"left": "right.right", "right": "left.left"}[setting]), ("bonded", None)):
        network = railway(
            f'[turnout.T]\nmake = "insulated-frog"\nstate = "{state}"\n{STUBS}[lines]\n'
            'toe = ["p1", { feed = "main", left = "A" }, "T.toe"]\nl = ["T.left", "p2"]\nr = ["T.right", "p3"]\n'
        )
        graph = conduction(network, {"T": setting})
        rails = [f"{end}.{hand}" for end in ("toe", "left", "right") for hand in ("left", "right")]
        assert [r for r in rails if carried(graph, end_rail(network, "T", r)) == ""] == ([dead] if dead else [])


CROSSOVER = """
[turnout.T1]
make = "{make}"
[turnout.T2]
make = "{make}"
{stubs}
[lines]
north = ["p1", {{ feed = "main", left = "A" }}, "T1.toe"]
north-on = ["T1.left", "|", {{ feed = "main", left = "A" }}, "p2"]
south = ["p3", {{ feed = "main", left = "B" }}, "T2.toe"]
south-on = ["T2.left", "|", {{ feed = "main", left = "B" }}, "p4"]
over = ["T1.right", {gap} "T2.right"]
"""


@pytest.mark.parametrize(
    ("make", "gap", "expected"),
    [
        # Either frog at its main's polarity meets the other main's stock rail: only both at crossover agree.
        ("live-frog", "", ["left left", "left right", "right left"]),
        ("live-frog", '"|",', []),
        ("insulated-frog", "", []),
    ],
)
def test_a_crossover_between_two_fed_mains(make: str, gap: str, expected: list[str]) -> None:
    """Two parallel tracks of equal polarity: the northern rail of each on A, the turnouts facing each other."""
    assert shorted(railway(CROSSOVER.format(make=make, gap=gap, stubs=stops("p1", "p2", "p3", "p4")))) == expected


WEST = ("a.left.right", "a.right.left")
EAST = ("b.left.right", "b.right.left")


@pytest.mark.parametrize(
    ("make", "links"), [("live-frog", "in"), ("live-frog", "removed"), ("insulated-frog", "removed")]
)
@pytest.mark.parametrize("q", ["A", "B"])
def test_a_diamond_follows_the_turnouts_that_lead_to_it(make: str, links: str, q: str) -> None:
    """Track P is in use when turnout P is at left and Q at right, track Q the other way round.

    Equal polarities (q = A): the acute crossings carry the right rail's and the left rail's wire in turn, the obtuse
    ones always the same. Opposite ones (q = B): the acute crossings always the same, the obtuse ones in turn; factory
    links from these to the outer rails then short for good.
    """
    network = railway(between(f'[diamond.X]\nmake = "{make}"\nlinks = "{links}"\nfrog = "switched"\n', q))
    if q == "B" and links == "in":
        assert shorted(network) == ["left left", "left right", "right left", "right right"]
        return
    assert shorted(network) == []
    seen: dict[str, dict[str, str]] = {}
    for setting, start in (("left right", "a.left"), ("right left", "a.right")):
        graph = conduction(network, dict(zip(("P", "Q"), setting.split(), strict=True)))
        road = next(r for r in network.roads if r.piece == "X" and start in (r.start, r.end))
        left = "A" if start == "a.left" else q
        east = start == road.start
        for rails, wire in ((road.left, left), (road.right, "BA"[left == "B"])):
            assert {carried(graph, r) for r in rails} == {wire if east else "BA"["AB".index(wire)]}
        for name, pair in (("west", WEST), ("east", EAST)):
            wires = {carried(graph, end_rail(network, "X", rail)) for rail in pair}
            assert len(wires) == 1
            seen.setdefault(name, {})[start] = wires.pop()
    if q == "A":
        assert seen == {"west": {"a.left": "B", "a.right": "A"}, "east": {"a.left": "A", "a.right": "B"}}
    else:
        assert seen == {"west": {"a.left": "B", "a.right": "B"}, "east": {"a.left": "A", "a.right": "A"}}
