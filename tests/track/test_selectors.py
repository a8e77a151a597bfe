"""Where no turnout decides: a selector for a diamond or a slip, and the positions of a traverser."""

from __future__ import annotations

from frogfeed.findings.finding import Severity
from frogfeed.plan.planner import make_plan
from frogfeed.plan.settings import build_settings
from frogfeed.track.assembly.assemble import assemble
from frogfeed.track.explain.findings import track_findings
from frogfeed.track.network.conditions import holds
from tests.track.make import layout, stops

FEED = '{ feed = "main", left = "A" }'
PLACES = stops("p1", "p2", "p3", "p4")
LINES = (
    f'[lines]\na = ["p1", {FEED}, "|right", "X.a.left"]\nb = ["p2", {FEED}, "|left", "X.a.right"]\n'
    f'c = ["X.b.left", "|left", {FEED}, "p3"]\nd = ["X.b.right", "|right", {FEED}, "p4"]\n'
)


def test_a_diamond_between_plain_tracks_is_undecided_and_says_how_to_decide_it() -> None:
    x = layout(f'[diamond.X]\nstate = "isolated-frog"\n{PLACES}{LINES}')
    found = [f for f in track_findings(x, assemble(x)) if f.code == "undecided"]
    assert found and all("selector" in f.cure for f in found)


def test_with_a_selector_its_frogs_follow_the_switch() -> None:
    x = layout(f'[diamond.X]\nstate = "isolated-frog"\nselector = "S"\n[drive.S]\nkind = "hand"\n{PLACES}{LINES}')
    network = assemble(x)
    assert [f for f in track_findings(x, network) if f.severity is not Severity.NOTE] == []
    tables = {s.output: {r.wire: r.when for r in s.rows} for s in network.switched}
    left, right = ((("S", "left"),),), ((("S", "right"),),)
    # From a.left the inner rail is the right one (B), from a.right the left one (A).
    assert tables == {"X.FA": {"main.B": left, "main.A": right}, "X.FB": {"main.A": left, "main.B": right}}


def test_a_single_slips_selector_counts_only_while_both_its_straight_roads_are_set() -> None:
    slip = '[slip.X]\nslip_road = "a.left-b.right"\nstate = "isolated-frog"\n'
    bare = layout(f"{slip}{PLACES}{LINES}")
    undecided = [f.witness for f in track_findings(bare, assemble(bare)) if f.code == "undecided"]
    assert undecided and all(w == {"X-a": "left", "X-b": "right"} for w in undecided)
    x = layout(f'{slip}selector = "S"\n[drive.S]\nkind = "hand"\n{PLACES}{LINES}')
    network = assemble(x)
    assert [f for f in track_findings(x, network) if f.severity is not Severity.NOTE] == []
    roads = {f"{r.start} {r.end}": r.when for r in network.roads if r.piece == "X"}
    for a in ("left", "right"):
        for b in ("left", "right"):
            for s in ("left", "right"):
                at = {"X-a": a, "X-b": b, "S": s}
                both = a == "left" and b == "right"
                assert holds(roads["a.left b.left"], at) == (a == "left" and (not both or s == "left"))
                assert holds(roads["a.right b.right"], at) == (b == "right" and (not both or s == "right"))
                assert holds(roads["a.left b.right"], at) == (a == "right" and b == "left")


def test_the_selector_gets_inputs_on_a_board() -> None:
    x = layout(f'[diamond.X]\nstate = "isolated-frog"\nselector = "S"\n[drive.S]\nkind = "hand"\n{PLACES}{LINES}')
    network = assemble(x)
    plan = make_plan(x, network)
    assert {"S.left", "S.right", "X.FA", "X.FB"} <= set(plan.channels())
    assert build_settings(x, plan)


def test_a_traverser_joins_its_lead_to_one_road_at_a_time() -> None:
    places = stops("lead", "r1", "r2", "r3")
    lines = f'[lines]\nl = ["lead", {FEED}, "X.lead"]\n'
    lines += "".join(f'r{n} = ["X.{road}", {FEED}, "r{n}"]\n' for n, road in enumerate(("one", "two", "three"), 1))
    x = layout(f'[piece.X]\nkind = "traverser-3"\n[drive.X]\nkind = "hand"\n{places}{lines}')
    network = assemble(x)
    assert [f for f in track_findings(x, network) if f.severity is not Severity.NOTE] == []
    whens = {r.end: r.when for r in network.roads if r.piece == "X"}
    assert whens == {e: ((("X", e),),) for e in ("one", "two", "three")}
    # A dropper on the wrong rail of one road clashes only while the table stands there.
    y = layout(f'[piece.X]\nkind = "traverser-3"\n[drive.X]\nkind = "hand"\n{places}' + lines.replace(
        f'"X.two", {FEED}', '"X.two", { feed = "main", left = "B" }'
    ))  # fmt: skip
    clashes = [f for f in track_findings(y, assemble(y)) if f.code == "clash"]
    assert [dict(f.witness or {}) for f in clashes] == [{"X": "two"}]
