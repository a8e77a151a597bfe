"""Crossovers and scissors as pieces: their frogs follow their drives, and made sound they are clean."""

from __future__ import annotations

from itertools import product

import networkx as nx
import pytest

from frogfeed.track.assembly.assemble import assemble
from frogfeed.track.network.conditions import holds
from frogfeed.track.network.model import RailNetwork
from frogfeed.track.solver.solver import Solver
from tests.track.make import PLASTIC, layout, worth_knowing

ENDS = ("p.west", "p.east", "q.west", "q.east")


def body(kind: str, facts: str) -> str:
    """The piece between four plain tracks, each with a dropper, both mains of one polarity as travelled east."""
    places = "".join(f'[place.{e.replace(".", "-")}]\nkind = "buffer"\nlength_mm = 500\n' for e in ENDS)
    feed = '{ feed = "main", left = "A" }'
    # Seen looking in: the rails beside each other in the middle of the piece are those its frogs reach.
    right = kind != "crossover-left"
    gaps = {
        "p.west": "",
        "q.east": "",
        "p.east": "|right" if right else "|left",
        "q.west": "|left" if right else "|right",
    }
    if kind == "scissors":
        gaps = dict.fromkeys(ENDS, "")
    lines = ""
    for e in ENDS:
        gap = f'"{gaps[e]}", ' if gaps[e] and "isolated" in facts else ""
        place = e.replace(".", "-")
        if e.endswith("west"):
            lines += f'{place} = ["{place}", {feed}, {gap}"X.{e}"]\n'
        else:
            after = f"{gap}{feed}, " if gap else f"{feed}, "
            lines += f'{place} = ["X.{e}", {after}"{place}"]\n'
    return f'[piece.X]\nkind = "{kind}"\n{facts}\n{places}[lines]\n{lines}'


def network(kind: str, facts: str) -> RailNetwork:
    return assemble(layout(body(kind, facts)))


@pytest.mark.parametrize("kind", ["crossover-right", "crossover-left", "scissors"])
def test_isolated_it_is_clean(kind: str) -> None:
    assert worth_knowing(body(kind, 'state = "isolated-frog"')) == set()


@pytest.mark.parametrize("kind", ["crossover-right", "crossover-left", "scissors"])
def test_of_plastic_and_bonded_everything_is_always_live(kind: str) -> None:
    plastic = body(kind, f"{PLASTIC}plastic_mm = 40\nfrog_number = 6")
    assert worth_knowing(plastic) == set()
    assert list(Solver(assemble(layout(plastic))).dead()) == []


@pytest.mark.parametrize("kind", ["crossover-right", "crossover-left"])
def test_live_as_made_with_both_mains_fed_it_shorts_at_every_setting(kind: str) -> None:
    # Both heels are fed and nothing is insulated: set straight the frogs meet the far feeds, set across each other.
    assert any(s.when in ((), (("X", "straight"),)) for s in Solver(network(kind, "")).shorts())
    assert any(s.when in ((), (("X", "cross"),)) for s in Solver(network(kind, "")).shorts())


def test_the_frogs_of_a_crossover_follow_its_drive() -> None:
    tables = {
        s.output: {r.wire: r.when for r in s.rows}
        for s in network("crossover-right", 'state = "isolated-frog"').switched
    }
    straight, cross = ((("X", "straight"),),), ((("X", "cross"),),)
    assert tables == {
        "X.F1": {"main.B": straight, "main.A": cross},
        "X.F2": {"main.A": straight, "main.B": cross},
    }


def test_the_diamond_of_a_scissors_follows_the_way_that_is_set() -> None:
    net = network("scissors", 'state = "isolated-frog"')
    tables = {s.output: s for s in net.switched}
    # The acute frogs change with the way; the obtuse ones carry one polarity for good, straight from the bus.
    assert set(tables) == {"X.F1", "X.F2", "X.F3", "X.F4", "X.FA", "X.FB"}
    assert all(len(s.drives) == 1 for s in net.switched)
    assert {f.wire for f in net.feeds if f.rail.startswith("X.KL")} == {"main.A"}
    assert {f.wire for f in net.feeds if f.rail.startswith("X.KR")} == {"main.B"}


def parts_at_ends(net: RailNetwork, ends: dict[str, tuple[str, str]], at: dict[str, str]) -> set[frozenset[str]]:
    """How the rails that show at these ends are joined to each other, each named by its end and hand."""
    g = nx.Graph()
    g.add_nodes_from(net.rails)
    g.add_edges_from((b.a, b.b) for b in net.bonds)
    g.add_edges_from((c.a, c.b) for c in net.contacts if holds(c.when, at))
    shown = {
        f"{e} {hand}": rail for e, rails in ends.items() for hand, rail in zip(("left", "right"), rails, strict=True)
    }
    return {frozenset(name for name, rail in shown.items() if rail in part) for part in nx.connected_components(g)} - {
        frozenset()
    }


def turnouts(kind: str, facts: str, middle: str) -> tuple[str, dict[str, str]]:
    """The same made of turnouts (and a diamond) joined by lines: its body, and which end stands for which."""
    side, far = ("left", "right") if kind == "crossover-right" else ("right", "left")
    if kind != "scissors":
        use = f'drive = {{ name = "X", {side} = "straight", {far} = "cross" }}'
        pieces = "".join(f"[turnout.T{n}]\n{facts}\n{use}\n" for n in (1, 2))
        lines = f'c = ["T1.{far}", {middle}"T2.{far}"]\n'
        ends = {"p.west": "T1.toe", "p.east": f"T1.{side}", "q.east": "T2.toe", "q.west": f"T2.{side}"}
    else:
        pieces = ""
        for n, (drive, straight, cross) in enumerate(
            [
                ("X-down", "left", "right"),
                ("X-down", "left", "right"),
                ("X-up", "right", "left"),
                ("X-up", "right", "left"),
            ],
            1,
        ):
            use = f'drive = {{ name = "{drive}", {straight} = "straight", {cross} = "cross" }}'
            pieces += f"[turnout.T{n}]\n{facts}\n{use}\n"
        pieces += f"[diamond.D]\n{facts}\n"
        joined = [
            ("T1.left", "T4.right"), ("T3.right", "T2.left"), ("T1.right", "D.a.left"), ("D.b.left", "T2.right"),
            ("T3.left", "D.a.right"), ("D.b.right", "T4.left"),
        ]  # fmt: skip
        lines = "".join(f'c{n} = ["{a}", {middle}"{b}"]\n' for n, (a, b) in enumerate(joined))
        ends = {"p.west": "T1.toe", "p.east": "T4.toe", "q.west": "T3.toe", "q.east": "T2.toe"}
    places = "".join(f'[place.{e.replace(".", "-")}]\nkind = "buffer"\n' for e in ENDS)
    lines += "".join(f'{e.replace(".", "-")} = ["{e.replace(".", "-")}", "|", "{t}"]\n' for e, t in ends.items())
    drives = "[drive.X]\n" if kind != "scissors" else "[drive.X-down]\n[drive.X-up]\n"
    return f"{pieces}{places}{drives}[lines]\n{lines}", ends


CASES = [
    (kind, make, state)
    for kind in ("crossover-right", "crossover-left", "scissors")
    for make in ("live-frog", "insulated-frog")
    for state in ("as-made", "bonded", "isolated-frog")
    # A scissors' obtuse crossings are one with their outer rails, a lone diamond's are cut off with the links.
    if not (kind == "scissors" and state == "isolated-frog")
]


@pytest.mark.parametrize(("kind", "make", "state"), CASES)
def test_it_conducts_like_the_turnouts_it_is_made_of(kind: str, make: str, state: str) -> None:
    facts = f'make = "{make}"\nstate = "{state}"'
    isolated = state == "isolated-frog" and make == "live-frog"
    one = assemble(
        layout(
            body(kind, facts)
            .replace('{ feed = "main", left = "A" }', '"|"')
            .replace('"|right", ', "")
            .replace('"|left", ', "")
        )
    )
    text, ends = turnouts(kind, facts, '"|", ' if isolated else "")
    many = assemble(layout(text))
    there = {e: many.pieces[t.split(".")[0]].ends[t.split(".", 1)[1]] for e, t in ends.items()}
    assert set(one.drives) == set(many.drives)
    for combo in product(*one.drives.values()):
        at = dict(zip(one.drives, combo, strict=True))
        assert parts_at_ends(one, dict(one.pieces["X"].ends), at) == parts_at_ends(many, there, at), at
