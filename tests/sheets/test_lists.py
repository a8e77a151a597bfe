"""Every joint, bond, gap, dropper and channel stands exactly once in each list that it belongs to."""

from __future__ import annotations

from collections import Counter

import pytest

from frogfeed.plan.makeup import BondRails, FitDropper, FitJoiner, FitSwitched, RemoveLink
from frogfeed.sheets.lists import bond_marks
from frogfeed.sheets.model import WireKind
from frogfeed.sheets.pages import Pages
from frogfeed.sheets.paper import PAPERS
from frogfeed.sheets.words import Words
from frogfeed.track.network.model import BondKind

from .make import SHIPPED, Made, art, shipped


def once(found, wanted) -> None:
    """The same things, each exactly once."""
    counted = Counter(found)
    assert {k: n for k, n in counted.items() if n != 1} == {}
    assert set(counted) == set(wanted)


@pytest.fixture(params=SHIPPED)
def m(request) -> Made:
    return shipped(request.param)


def test_joints_and_gaps(m: Made) -> None:
    once([(j.a, j.b) for j in m.book.joints], [(j.a, j.b) for j in m.network.joints])
    once([j.mark for j in m.book.joints], [f"J{n}" for n in range(1, len(m.network.joints) + 1)])
    listed = [frozenset((r.a, r.b)) for j in m.book.joints for r in j.rails if not r.conducts]
    once(listed, [frozenset(pair) for j in m.network.joints for h, pair in
                  (("left", j.left), ("right", j.right)) if h in j.gaps])  # fmt: skip
    own = Counter((j.mark, s.elsewhere == "") for c in m.book.cards for s in c.steps for j in m.book.joints
                  if s.mark == j.mark and any(isinstance(d, FitJoiner) for d in s.does))  # fmt: skip
    marks = {j.mark for j in m.book.joints}
    assert {mark for mark, first in own if first} == marks, "each joint is made on one card"
    for j in m.book.joints:
        made_on = {c.name for c in m.book.cards for s in c.steps if s.mark == j.mark and not s.elsewhere}
        assert made_on == {j.card}


def test_each_rail_of_a_joint_is_on_the_cards_of_both_its_sides(m: Made) -> None:
    steps = [(d.rail, d.beyond) for c in m.book.cards for s in c.steps for d in s.does if isinstance(d, FitJoiner)]
    wanted = [pair for j in m.network.joints for pair in (j.left, j.right)]
    once(steps, [*wanted, *((b, a) for a, b in wanted)])


def test_droppers(m: Made) -> None:
    wanted = [(f.rail, f.wire) for f in m.network.feeds]
    # A long rail may have two droppers to one bus wire: as many in each list as the network has, each with its mark.
    assert Counter((w.start, w.end) for w in m.book.wires if w.kind is WireKind.DROPPER) == Counter(wanted)
    steps = [(d, s) for c in m.book.cards for s in c.steps for d in s.does if isinstance(d, FitDropper)]
    assert Counter((d.rail, d.wire) for d, _ in steps) == Counter(wanted)
    once([s.mark for _, s in steps], [w.mark for w in m.book.wires if w.kind is WireKind.DROPPER])
    for c in m.book.cards:
        for s in c.steps:
            for d in s.does:
                if isinstance(d, FitDropper):
                    w = m.book.wire(s.mark)
                    assert (w.start, w.end, w.card) == (d.rail, d.wire, c.name)


def test_bonds_and_links(m: Made) -> None:
    kinds = (BondKind.BLADE, BondKind.FROG)
    once(
        [frozenset((d.a, d.b)) for c in m.book.cards for s in c.steps for d in s.does if isinstance(d, BondRails)],
        [frozenset((b.a, b.b)) for b in m.network.bonds if b.kind in kinds],
    )
    once(
        [frozenset((d.a, d.b)) for c in m.book.cards for s in c.steps for d in s.does if isinstance(d, RemoveLink)],
        [frozenset(pair) for pair in m.network.cut_links],
    )
    once(bond_marks(m.book.cards), [x for c in m.book.cuts for x in c.marks if "/" in x])


def test_switched_feeds_and_channels(m: Made) -> None:
    rails = [s.rail for s in m.network.switched]
    once([w.start for w in m.book.wires if w.kind is WireKind.FEED], rails)
    once([d.rail for c in m.book.cards for s in c.steps for d in s.does if isinstance(d, FitSwitched)], rails)
    once(
        [(t.rail, t.when, t.wire) for t in m.book.tables],
        [(s.rail, r.when, r.wire) for s in m.network.switched for r in s.rows],
    )
    channels = m.plan.channels()
    signals = (WireKind.SERVO, WireKind.CONTACT, WireKind.BUTTON, WireKind.LAMP)
    ends = Counter((w.board, w.channel, w.thing) for w in m.book.wires if w.kind in signals)
    ends.update({(w.board, w.channel, w.thing) for w in m.book.wires if w.kind is WireKind.FEED})
    once(ends.elements(), [(b, c, thing) for thing, (b, c) in channels.items()])
    once([d.drive for d in m.book.drives], list(m.network.drives))
    fed = {c.thing for card in m.book.cards for c in card.channels}
    assert {s.output for s in m.network.switched} <= fed


def test_wires(m: Made) -> None:
    marks = [w.mark for w in m.book.wires]
    once(marks, [f"W{n}" for n in range(1, len(marks) + 1)])
    once([x for c in m.book.cuts for x in c.marks if x.startswith("W") and "/" not in x], marks)
    once([r.mark for r in m.book.labels], marks)
    once([t.wire for b in m.book.boards for t in b.terminals], [w.mark for w in m.book.wires if w.board is not None])
    once([(b.name, t.terminal) for b in m.book.boards for t in b.terminals],
         {(b.name, t.terminal) for b in m.book.boards for t in b.terminals})  # fmt: skip
    for b in m.book.boards:
        for t in b.terminals:
            w = m.book.wire(t.wire)
            assert (w.start, w.end) == (t.goes_to, f"{b.name}:{t.terminal}")


def test_every_board_terminal_that_the_plan_uses_is_wired(m: Made) -> None:
    for board in m.plan.boards:
        there = {t.terminal for b in m.book.boards if b.name == board.name for t in b.terminals}
        for f in board.feeds:
            assert f"{f.channel.name}.C" in there
            supply = f.channel.enable or f.channel.name
            poles = ("NC", "NO") if f.channel.coil is not None and f.channel.enable is None else ("A", "B")
            assert {f"{supply}.{p}" for p in poles} <= there


@pytest.mark.parametrize("name", SHIPPED)
def test_the_layout_drawing_shows_each_of_them_once(name: str) -> None:
    m, drawings = shipped(name), art(name).layout
    texts = [(t.part, t.text) for d in drawings for t in d.texts]
    joints = [text for part, text in texts if part.startswith("joint:")]
    once([t.partition(" ")[0] for t in joints], [j.mark for j in m.book.joints])
    shown = [text.partition(" ")[0] for part, text in texts if part.startswith("wire:")]
    on_plain_track = {w.mark for w in m.book.wires if w.kind is WireKind.FEED and not m.book.card(w.card).piece}
    once(shown, {w.mark for w in m.book.wires if w.kind is WireKind.DROPPER} | on_plain_track)
    once([text for part, text in texts if part == f"piece:{text}"], [c.name for c in m.book.cards if c.piece])
    once([text for part, text in texts if part.startswith("place:")], list(m.layout.file.place))
    if len(m.book.districts) > 1:
        once([part for part, _ in texts if part.startswith("district:")], [f"district:{d}" for d in m.book.districts])


@pytest.mark.parametrize("name", SHIPPED)
def test_match_lines_stand_on_both_their_sheets(name: str) -> None:
    drawings = art(name).layout
    lines = Counter(t.text.partition(":")[0] for d in drawings for t in d.texts if t.part == "match")
    assert all(n == 2 for n in lines.values())
    for n, d in enumerate(drawings, 1):
        for t in d.texts:
            if t.part == "match":
                other = int(t.text.rpartition(" ")[2])
                there = [u.text for u in drawings[other - 1].texts if u.part == "match"]
                assert any(u.startswith(t.text.partition(":")[0]) and u.endswith(f" {n}") for u in there)


@pytest.mark.parametrize("name", SHIPPED)
def test_a_card_shows_each_of_its_steps_and_rails_once(name: str) -> None:
    m, drawings = shipped(name), art(name).cards
    for card in m.book.cards:
        if not card.piece:
            continue
        above, below, _ = drawings[card.name]
        rings = Counter(t.text for t in above.texts if t.bold and t.text.isdigit())
        rings.update(t.text for t in below.texts if t.bold and t.text.isdigit())
        once(rings.elements(), [str(s.number) for s in card.steps])
        rails = {r.partition(".")[2] for r in m.network.rails if m.network.piece_of[r] == card.name}
        plastic = {r.partition(".")[2] for _, r in m.network.plastic if r.startswith(card.name + ".")}
        for view in (above, below):
            names = [t.text.strip("()") for t in view.texts if t.part.startswith("rail:")]
            once(names, rails | plastic)
            ends = [t.text for t in view.texts if t.part == f"end:{t.text}"]
            once(ends, list(m.network.pieces[card.name].ends))


@pytest.mark.parametrize("name", SHIPPED)
def test_board_pictures_show_every_terminal_once(name: str) -> None:
    for b in shipped(name).book.boards:
        d = art(name).boards[b.name]
        once([t.text for t in d.texts if t.part == f"terminal:{t.text}"], [t.terminal for t in b.terminals])
        once([t.part for t in d.texts if t.part.startswith("wire:")], [f"wire:{t.wire}" for t in b.terminals])


def test_the_panel_stands_once_in_each_of_its_lists(m: Made) -> None:
    things = [t for t in m.plan.channels() if t.startswith(("button.", "lamp."))]
    assert things or m.layout.file.layout.name != "Saltmarsh Quay"
    once([p.name for p in m.book.panel], things)
    once([w.start for w in m.book.wires if w.kind in (WireKind.BUTTON, WireKind.LAMP)], things)
    uses = {t.goes_to: t.use for b in m.book.boards for t in b.terminals}
    for p in m.book.panel:
        w = m.book.wire(p.wire)
        assert (w.start, w.end, w.board) == (p.name, f"{p.board}:{p.terminal}", p.board)
        assert uses[p.name] == ("lamp" if p.lamp else "button") == w.kind.value
    bought = {n.what: n.count for n in m.book.needs}
    assert bought.get("Push buttons", 0) == sum(not p.lamp for p in m.book.panel)
    assert bought.get("Panel lamps", 0) == sum(p.lamp for p in m.book.panel)
    chips = [c for b in m.plan.boards for c in b.chips if c.optional]
    assert bought.get("Port expander for the panel, MCP23017", 0) == len(chips)


@pytest.mark.parametrize("name", SHIPPED)
def test_the_panels_page_and_its_commissioning_lines_name_each_once(name: str) -> None:
    m = shipped(name)
    pages = Pages(m.book, art(name), PAPERS["a4"], Words(), "")
    names = [p.name for p in m.book.panel]

    def first_column(blocks: list) -> list[str]:
        return [str(row[0]) for b in blocks if b["kind"] == "table" for row in b["rows"]]

    once([x for x in first_column(pages.panel()) if "." in x], names)
    once([x for x in first_column(pages.record()) if x.startswith(("button.", "lamp."))], names)
