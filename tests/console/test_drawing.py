"""The drawing: every rail drawn, connected as the network says, nothing crossing that should not."""

from __future__ import annotations

import itertools
import math
from pathlib import Path

import pytest

from frogfeed.console.drawing.curves import crossing, cut, distance, lengths, offset, point_at
from frogfeed.console.drawing.diagram import Diagram, draw, to_json
from frogfeed.console.drawing.labels import PIECE, PLACE, Wish, place
from frogfeed.console.drawing.units import GAUGE
from frogfeed.console.railway import Railway, railway_of
from frogfeed.console.view import layout_view
from frogfeed.demo.railway import demo_file
from frogfeed.layout.reading import read_layout, read_layout_text
from frogfeed.track.assembly.assemble import assemble
from frogfeed.track.network.model import BridgeKind, RailNetwork
from tests.console.conftest import yard
from tests.own_kind import CATCH_POINT

HEAD = """
[layout]
name = "Drawn"
gauge = "OO"
control = "dc"
[district.main]
volts = 12.0
"""

PLACES = '[place]\na = { kind = "buffer" }\nb = { kind = "buffer" }\nc = { kind = "buffer" }\n'


def drawn(text: str) -> tuple[RailNetwork, Diagram]:
    layout = read_layout_text(text, "drawn.toml")
    network = assemble(layout)
    return network, draw(layout, network)


def ends_of(d: Diagram, rail: str) -> list[tuple[float, float]]:
    return [p for r in d.rails if r.rail == rail for p in (r.line[0], r.line[-1])]


def near(d: Diagram, a: str, b: str) -> float:
    """How near the drawn lines of two rails come to each other."""
    return min(
        distance(p, o.line)
        for r in d.rails if r.rail == a
        for o in d.rails if o.rail == b
        for p in (r.line[0], r.line[-1])
    )  # fmt: skip


def gap_between(d: Diagram, a: str, b: str) -> float:
    """How far the end of one rail lies from the other, whichever way round (a blade begins beside its stock rail)."""
    return min(near(d, a, b), near(d, b, a))


@pytest.mark.parametrize("name", ["saltmarsh-quay.toml", "herring-quay-yard.toml", "lone-turnout.toml"])
def test_every_rail_is_drawn_and_joints_meet(name: str) -> None:
    layout = read_layout(demo_file(name))
    network = assemble(layout)
    d = draw(layout, network)
    assert {r.rail for r in d.rails if not r.plastic} == set(network.rails)
    for j in network.joints:
        for hand, (a, b) in (("left", j.left), ("right", j.right)):
            gapped = hand in {str(h) for h in j.gaps}
            apart = near(d, a, b)
            assert apart < 0.01 if not gapped else 3.0 < apart < 8.0, (a, b)
    w, h = d.size
    assert all(0 <= x <= w and 0 <= y <= h for r in d.rails for x, y in r.line)


def test_rails_that_follow_each_other_under_a_wheel_are_drawn_so(railway: Railway) -> None:
    """Along every road, each rail begins where the last one ended (a frog's own rails may lie a stroke apart)."""
    d = draw(railway.layout, railway.network)
    for road in railway.network.roads:
        for rails in (road.left, road.right):
            for a, b in itertools.pairwise(rails):
                plastic = any(p == road.piece for p, _ in railway.network.plastic)
                assert gap_between(d, a, b) < (18.0 if plastic else 3.0), (a, b)


def test_a_frog_lies_where_its_two_rails_cross(railway: Railway) -> None:
    d = draw(railway.layout, railway.network)
    left, right = offset(d.roads["T1:toe-left"], -GAUGE / 2), offset(d.roads["T1:toe-right"], GAUGE / 2)
    s = crossing(left, right)
    assert s is not None
    frog = next(r for r in d.rails if r.rail == "T1.F")
    assert distance(point_at(left, s), frog.line) < 0.5


def test_vee_rails_that_a_tread_can_join_lie_close_and_stock_rails_apart(railway: Railway) -> None:
    d = draw(railway.layout, railway.network)
    for b in railway.network.bridges:
        if b.kind is BridgeKind.VEE:
            assert near(d, b.a, b.b) < 12.0
    stock = [r.line for r in d.rails if r.rail in ("T1.SL", "T1.SR")]
    assert math.isclose(min(distance(p, stock[1]) for p in stock[0][:3]), GAUGE, abs_tol=0.5)


def test_blades_touch_where_they_should_and_stand_off_when_open(railway: Railway) -> None:
    d = draw(railway.layout, railway.network)
    for piece, stock, blade, setting in (("T1", "SR", "BR", "left"), ("T1", "SL", "BL", "right")):
        b = next(r for r in d.rails if r.rail == f"{piece}.{blade}")
        s = next(r for r in d.rails if r.rail == f"{piece}.{stock}")
        (tip,) = b.tips
        assert tip.when == ((piece, setting),)
        shut = min(b.line[0], b.line[-1], key=lambda p: distance(p, s.line))
        i = b.line.index(shut)
        opened = (shut[0] + tip.shift[i][0], shut[1] + tip.shift[i][1])
        assert distance(shut, s.line) < 1.5
        assert 3.0 < distance(opened, s.line) < GAUGE / 2
        heel = b.line[-1] if i == 0 else b.line[0]
        assert tip.shift[b.line.index(heel)] == (0.0, 0.0)


@pytest.mark.parametrize(("piece", "leg", "up"), [("T1", "right", False), ("T1", "left", True)])
def test_a_leg_leans_to_its_own_side_seen_from_the_toe(piece: str, leg: str, up: bool) -> None:
    other = "left" if leg == "right" else "right"
    _, d = drawn(
        HEAD + f"[turnout.{piece}]\n" + PLACES + "[lines]\n"
        f'one = ["a", {{ feed = "main", left = "A" }}, "{piece}.toe", "{piece}.{other}", "b"]\n'
        f'two = ["{piece}.{leg}", "c"]\n'
    )
    main, branch = d.roads[f"{piece}:toe-{other}"], d.roads[f"{piece}:toe-{leg}"]
    assert abs(main[0][1] - main[-1][1]) < 0.01
    assert (branch[-1][1] < main[-1][1] - 10) if up else (branch[-1][1] > main[-1][1] + 10)


SLIP = (
    HEAD
    + """
[slip.S1]
[place]
a = { kind = "buffer" }
b = { kind = "buffer" }
c = { kind = "buffer" }
d = { kind = "buffer" }
[lines]
one = ["a", { feed = "main", left = "A" }, "S1.a.left", "S1.b.left", "c"]
two = ["b", { feed = "main", left = "A" }, "S1.a.right", "S1.b.right", "d"]
"""
)


def test_a_double_slip_has_four_pairs_of_blades_and_its_roads_cross_once() -> None:
    network, d = drawn(SLIP)
    assert {r.rail for r in d.rails if not r.plastic} == set(network.rails)
    tips = [(r.rail, t.when) for r in d.rails for t in r.tips]
    assert len(tips) == 8
    one, two = d.roads["S1:a.left-b.left"], d.roads["S1:a.right-b.right"]
    assert crossing(one, two) is not None
    assert crossing(d.roads["S1:a.left-b.right"], d.roads["S1:a.right-b.left"]) is None
    frogs = {r.rail for r in d.rails if r.frog}
    assert frogs == {"S1.FA", "S1.FB", "S1.KL", "S1.KR"}


def test_a_ring_is_drawn_open_with_each_end_naming_the_other() -> None:
    network, d = drawn(
        HEAD
        + "[place]\na = {}\nb = {}\n[turnout.T1]\n[turnout.T2]\n[place.c]\n[lines]\n"
        'ring = ["T1.toe", "T1.left", "a", { feed = "main", left = "A" }, "T2.left", "T2.toe", "b", "T1.toe"]\n'
        'loop = ["T1.right", "c", "T2.right"]\n'.replace('"T1.toe", "T1.left"', '"T1.left"')
    )
    assert {r.rail for r in d.rails if not r.plastic} == set(network.rails)
    assert len(d.labels) == 2
    assert {text.split()[0] for _, text, _ in d.labels} <= {"T1", "T2", "a", "b", "c"}


def test_no_track_of_the_demo_crosses_another_outside_a_piece(railway: Railway) -> None:
    d = draw(railway.layout, railway.network)
    middles = [(f"joint {n}", line) for n, line in d.joints.items()]
    middles += [(name, line) for name, line in d.roads.items()]
    for i, (a, one) in enumerate(middles):
        for b, other in middles[i + 1 :]:
            if a.partition(":")[0] == b.partition(":")[0]:
                continue
            inner = cut(one, 2.0, lengths(one)[-1] - 2.0)
            assert not inner or crossing(inner, other) is None, (a, b)


def test_the_drawing_as_data_is_small(railway: Railway) -> None:
    import json

    size = len(json.dumps(to_json(draw(railway.layout, railway.network)), separators=(",", ":")))
    assert size < 60_000


def test_unbuilt_pieces_and_empty_layouts_are_drawn_without_them(tmp_path: Path) -> None:
    _, d = drawn(HEAD + PLACES.rpartition("c =")[0] + '[lines]\none = ["a", { feed = "main", left = "A" }, "b"]\n')
    assert {r.rail for r in d.rails} == {"a.R1", "a.R2", "b.R1", "b.R2"}


def name_boxes(d: Diagram) -> dict[str, tuple[float, float, float, float]]:
    """The room of every name at its largest, from its letters."""
    found = {}
    for n in d.nodes:
        w, h = (PIECE if n.drives else PLACE).size(n.name)
        found[n.name] = (n.label[0] - w / 2, n.label[1] - h / 2, n.label[0] + w / 2, n.label[1] + h / 2)
    return found


def along(line: tuple[tuple[float, float], ...], step: float = 2.0) -> list[tuple[float, float]]:
    """Points close together on a line."""
    whole = lengths(line)[-1]
    return [point_at(line, min(i * step, whole)) for i in range(int(whole / step) + 2)]


@pytest.mark.parametrize(
    "text",
    [
        *(pytest.param(demo_file(n).read_text(encoding="utf-8"), id=n) for n in (
            "saltmarsh-quay.toml", "herring-quay-yard.toml", "lone-turnout.toml")),
        pytest.param(SLIP, id="slip"),
        pytest.param(yard(12), id="yard"),
    ],
)  # fmt: skip
def test_no_name_covers_a_track_another_name_or_the_edge(text: str) -> None:
    _, d = drawn(text)
    boxes = name_boxes(d)
    on_rails = [(r.rail, p) for r in d.rails for p in along(r.line)]
    for name, (x0, y0, x1, y1) in boxes.items():
        assert x0 >= 0 and y0 >= 0 and x1 <= d.size[0] and y1 <= d.size[1], name
        hit = {rail for rail, (x, y) in on_rails if x0 - 5 < x < x1 + 5 and y0 - 5 < y < y1 + 5}
        assert not hit, (name, hit)
    for (a, one), (b, two) in itertools.combinations(boxes.items(), 2):
        apart = one[0] >= two[2] or two[0] >= one[2] or one[1] >= two[3] or two[1] >= one[3]
        assert apart, (a, b)


def test_a_name_stands_at_its_own_piece(railway: Railway) -> None:
    """Moved aside it still lies beside its own box, and nearer to it than any other name does."""
    d = draw(railway.layout, railway.network)
    for n in d.nodes:
        x, y, w, h = n.box
        assert x - 1 <= n.label[0] <= x + w + 1, n.name
        assert y - 30 <= n.label[1] <= y + h + 30, n.name


def test_a_name_without_a_free_spot_covers_as_little_as_can_be() -> None:
    wish = Wish("yard", PLACE, (100.0, 72.0), 60.0, 140.0, 100.0)
    rails = [((0.0, y), (200.0, y)) for y in range(0, 100, 8)]
    (at,) = place([wish], [*rails, ((0.0, 128.0), (200.0, 128.0))], [], (200.0, 200.0))
    assert at[1] == 128.0
    (moved,) = place([wish], [((100.0, 60.0), (100.0, 140.0))], [(0.0, 0.0, 10.0, 10.0)], (200.0, 200.0))
    assert moved[0] != 100.0



def test_a_piece_of_the_modellers_own_kind_moves_in_the_drawing_and_can_be_thrown(tmp_path: Path) -> None:
    (tmp_path / "mine.toml").write_text(CATCH_POINT, encoding="utf-8")
    text = HEAD.replace('control = "dc"', 'control = "dc"\ncatalogue = ["mine.toml"]') + PLACES
    text += '[piece.K1]\nkind = "catch-point"\nstate = "bonded"\ndrives = { drive = "trap" }\n[drive.trap]\n[lines]\n'
    text += 'one = ["a", { feed = "main", left = "A" }, "K1.yard", "K1.line", "b"]\ntwo = ["K1.ditch", "c"]\n'
    file = tmp_path / "own.toml"
    file.write_text(text, encoding="utf-8")
    own = railway_of(read_layout(file))
    (node,) = [n for n in own.drawing["nodes"] if n["name"] == "K1"]
    assert node["drives"] == ["trap"]
    tips = {tuple(map(tuple, tip["when"])) for r in own.drawing["rails"] for tip in r.get("tips", ())}
    assert tips == {(("trap", "on"),)}
    assert layout_view(own)["drives"]["trap"]["pieces"] == ["K1"]
    assert own.drives["trap"][0].name
