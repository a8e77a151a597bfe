"""Pieces are drawn from their own geometry, and the layout drawing keeps order and side."""

from __future__ import annotations

import math
from itertools import pairwise

import pytest

from frogfeed.sheets.card_drawing import card_views
from frogfeed.sheets.courses import courses
from frogfeed.sheets.drawing import Stroke
from frogfeed.sheets.piece_rails import lay_rails
from frogfeed.sheets.tracks import lay_out
from frogfeed.sheets.words import Words
from frogfeed.track.pieces.catalogue import built_in

from .make import SHIPPED, ladder, made, one, shipped


@pytest.mark.parametrize("number", [4.0, 6.0, 10.0])
def test_a_turnouts_frog_has_its_angle_and_lies_on_both_rails(number: float) -> None:
    shape = lay_rails(built_in()["turnout"], courses(built_in()["turnout"], number, 16.5, "left"))
    x, y = shape.frogs["F"]
    a, b = shape.stretches["F"]
    assert a.track.y(x) == pytest.approx(b.track.y(x), abs=1e-6)
    slopes = [s.track.y(x + 1) - s.track.y(x) for s in (a, b)]
    assert abs(slopes[0] - slopes[1]) == pytest.approx(1 / number, rel=0.02)
    assert y == pytest.approx(-16.5 / 2)


@pytest.mark.parametrize("name", sorted(built_in()))
def test_rails_of_every_kind_are_laid_end_to_end(name: str) -> None:
    kind = built_in()[name]
    shape = lay_rails(kind, courses(kind, 6.0, 16.5, "left"))
    named = {r for road in kind.roads for hand in (road.left, road.right) for r in hand}
    assert set(shape.stretches) == named
    assert set(shape.frogs) == {f.name for f in kind.frogs}
    for stretches in shape.stretches.values():
        for s in stretches:
            assert s.x1 - s.x0 > 1.0, s.rail
    for t in kind.tips:
        blade = shape.main(t.blade)
        near = min(blade.tips, key=lambda x: min(abs(x - s.x0) + abs(x - s.x1) for s in shape.stretches[t.blade]))
        assert blade.tips and blade.x0 <= near <= blade.x1
        # A tip lies against its stock rail.
        assert any(
            abs(s.track.y(x) - blade.track.y(x)) < 0.3
            for x in blade.tips
            for r in (t.stock,)
            for s in shape.stretches[r]
            if s.x0 - 1 <= x <= s.x1 + 1
        )


@pytest.mark.parametrize(("normal", "hand"), [("left", 1), ("right", -1)])
def test_the_hand_is_drawn_and_mirrored_from_below(normal: str, hand: int) -> None:
    m = made(one("turnout", f'make = "live-frog"\nstate = "isolated-frog"\nnormal = "{normal}"', "toe left right"))
    views = card_views(m.book.card("T1"), m.kinds["turnout"], 16.5, {w.mark: w for w in m.book.wires}, 182.0, Words())
    at = {}
    for view in (views.above, views.below):
        where = {t.text: t.box for t in view.texts if t.part.startswith("end:")}
        at[view.name] = {e: (b.y0 + b.y1) / 2 - view.height / 2 for e, b in where.items()}
        # The toe lies to the left in both views.
        assert where["toe"].x1 < where["left"].x0
    # From above the left leg lies above the right one; from below it is the other way round.
    assert at["T1-above"]["left"] < at["T1-above"]["right"]
    assert at["T1-below"]["left"] > at["T1-below"]["right"]
    # The straight leg stays level with the toe.
    straight, bent = ("left", "right") if normal == "left" else ("right", "left")
    assert abs(at["T1-above"][straight] - at["T1-above"]["toe"]) < abs(at["T1-above"][bent] - at["T1-above"]["toe"])
    assert hand * (at["T1-above"][bent] - at["T1-above"][straight]) > 0


def test_black_and_white_is_enough() -> None:
    """Wires of A, B and switched feeds differ in dash pattern, not in grey; no colour is used at all."""
    m = shipped("saltmarsh-quay.toml")
    wires = {w.mark: w for w in m.book.wires}
    below = card_views(m.book.card("T4"), m.kinds["turnout"], 16.5, wires, 182.0, Words()).below
    dashes = {s.pen.dash for s in below.items if isinstance(s, Stroke) and s.pen is not None and s.pen.width == 0.35}
    assert len(dashes) == 3
    letters = {
        t.text.split()[1] for t in below.texts if t.part.startswith("wire:") and t.bold and t.text.startswith("W")
    }
    assert letters == {"A", "B", "F"}


@pytest.mark.parametrize("name", SHIPPED)
def test_boxes_of_the_layout_drawing_never_share_a_place(name: str) -> None:
    m = shipped(name)
    plan = lay_out(m.layout, m.network, m.kinds)
    assert len(plan.drawn) + len(plan.apart) == len(m.network.joints)
    boxes = [
        (n.x, n.x + n.width, min(n.rows.values()), max(n.rows.values()), n.name) for n in plan.nodes.values() if n.rows
    ]
    for i, a in enumerate(boxes):
        for b in boxes[i + 1 :]:
            assert a[1] <= b[0] or b[1] <= a[0] or a[3] < b[2] or b[3] < a[2] or a[2:4] != b[2:4], (a, b)
    for j in plan.drawn:
        west, east = (j.a, j.b) if j.a[1] in plan.nodes[j.a[0]].east else (j.b, j.a)
        assert plan.nodes[west[0]].x + plan.nodes[west[0]].width < plan.nodes[east[0]].x
        assert east[1] in plan.nodes[east[0]].west


def test_a_ladder_fans_out_without_crossings() -> None:
    """All sidings on the side of the legs they leave by, the first one outermost."""
    m = made(ladder(12))
    plan = lay_out(m.layout, m.network, m.kinds)
    main = plan.nodes["T1"].rows["toe"]
    rows = [plan.nodes[f"s{n}"].rows["a"] for n in range(1, 13)]
    assert all(plan.nodes[f"T{n}"].rows["toe"] == main for n in range(1, 13))
    assert all(r > main for r in rows), "right legs of an east-facing ladder lie below it"
    for n, (a, b) in enumerate(pairwise(rows), 1):
        # The next siding leaves under the end of the one before only where that one has ended.
        ended = plan.nodes[f"s{n}"].x + plan.nodes[f"s{n}"].width <= plan.nodes[f"s{n + 1}"].x
        assert a > b or ended
    assert math.isfinite(plan.width)
