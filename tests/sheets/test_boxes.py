"""No text on any drawing lies on another, leaves the paper, or is too small to read with a torch."""

from __future__ import annotations

import random

import pytest

from frogfeed.layout.reading import read_layout_text
from frogfeed.plan.model import Optimum, Plan
from frogfeed.sheets.book import build_book
from frogfeed.sheets.card_drawing import card_views
from frogfeed.sheets.drawing import Box, Drawing, Text, clipped, overlaps, text_width, too_small
from frogfeed.sheets.layout_drawing import layout_drawings
from frogfeed.sheets.words import Words
from frogfeed.track.assembly.assemble import assemble
from frogfeed.track.pieces.catalogue import kinds_of
from tests.track.make import random_layout

from .make import NO_METER, SHIPPED, art, ladder, made


def check(drawing: Drawing) -> None:
    assert not overlaps(drawing), drawing.name
    assert not clipped(drawing), drawing.name
    assert not too_small(drawing), drawing.name


@pytest.mark.parametrize("paper", ["a4", "letter"])
@pytest.mark.parametrize("name", SHIPPED)
def test_every_drawing_of_the_shipped_layouts(name: str, paper: str) -> None:
    drawings = list(art(name, paper).all())
    assert sum(len(d.texts) for d in drawings) > 60
    for d in drawings:
        check(d)


@pytest.mark.parametrize("count", [1, 6, 25, 60])
def test_layout_drawings_of_any_length(count: int) -> None:
    m = made(ladder(count))
    sheets = layout_drawings(m.layout, m.network, m.book, m.kinds, 269.0, 156.0, Words())
    for d in sheets:
        check(d)
        assert d.width <= 269.0 + 1e-6
        assert d.height <= 156.0 + 1e-6
    named = [t.text for d in sheets for t in d.texts if t.part.startswith("piece:") and t.bold]
    assert sorted(named) == sorted(f"T{n}" for n in range(1, count + 1))


@pytest.mark.parametrize("seed", range(8))
def test_random_layouts_are_drawn_whole(seed: int) -> None:
    """Any kinds, makes and states, joined at random: every label finds a place, every joint is drawn or named."""
    rng = random.Random(seed)
    layout = random_layout(rng, 6)
    network = assemble(layout)
    plan = Plan("Random", layout.hash, "dc", (), Optimum(0.0, 0.0, 0.0, 0.0, 0, 0.0), ())
    book = build_book(layout, network, plan, meter=NO_METER)
    drawings = list(layout_drawings(layout, network, book, kinds_of(layout), 269.0, 156.0, Words()))
    joints = {t.text.split()[0] for d in drawings for t in d.texts if t.part.startswith("joint:")}
    assert joints == {j.mark for j in book.joints}
    for c in book.cards:
        if c.piece:
            views = card_views(c, kinds_of(layout)[c.kind], 16.5, {w.mark: w for w in book.wires}, 182.0, Words())
            drawings += [views.above, views.below]
    for d in drawings:
        check(d)


RING = """
[layout]
name = "Ring"
gauge = "N"
control = "dcc"
[district.main]
[turnout.T1]
make = "live-frog"
state = "isolated-frog"
[lines]
round = [
  "back", { feed = "main", left = "A" }, "T1.toe", "T1.left", "|", { feed = "main", left = "A" }, "front", "back",
]
spur = ["T1.right", "|", { feed = "main", left = "A" }, "shed"]
[place]
front = {}
back = {}
shed = { kind = "buffer" }
"""


def test_a_ring_is_opened_at_one_joint_whose_two_ends_name_each_other() -> None:
    m = made(read_layout_text(RING, "ring.toml"))
    (sheet,) = layout_drawings(m.layout, m.network, m.book, m.kinds, 269.0, 156.0, Words())
    check(sheet)
    named = [t.text for t in sheet.texts if "joins" in t.text]
    assert len(named) == 2
    mark = named[0].split()[0]
    (joint,) = [j for j in m.book.joints if j.mark == mark]
    assert {t.rpartition(" ")[2] for t in named} == {".".join(joint.a), ".".join(joint.b)}


def test_the_check_sees_what_it_looks_for() -> None:
    a, b = Text(10, 10, "T1.VL"), Text(10 + text_width("T1.V", 8), 10.5, "W3 A")
    bad = Drawing("bad", 40, 20, (a, b, Text(35, 19.8, "edge", 7.0)))
    assert overlaps(bad) == [("T1.VL", "W3 A")]
    assert clipped(bad) == ["edge"]
    assert too_small(bad) == ["edge"]
    good = Drawing("good", 40, 20, (a, Text(10 + text_width("T1.VL", 8) + 0.1, 10, "W3 A")))
    assert not overlaps(good)


def test_a_text_box_holds_its_glyphs() -> None:
    """Against the face's own numbers: 1233 of 2048 units a glyph; 'g' reaches 484 units below, '|' 1565 above."""
    box = Text(0, 0, "g|" * 10, 10.0).box
    em = 10.0 * 25.4 / 72
    assert box.x1 == pytest.approx(20 * 1233 / 2048 * em, rel=1e-3)
    assert box.y1 >= 484 / 2048 * em
    assert -box.y0 >= 1520 / 2048 * em
    assert box.inside(Box(-1, -10, 100, 10))
