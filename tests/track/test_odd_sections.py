"""Switched sections in odd company: diamonds, fans, whole throats, what is not built, and what is said of them."""

from __future__ import annotations

import pytest

from frogfeed.findings.finding import Finding, Severity
from frogfeed.layout.proposal_text import proposed_text
from frogfeed.layout.reading import read_layout_text
from frogfeed.track.assembly.assemble import assemble
from frogfeed.track.explain.findings import track_findings
from frogfeed.track.network.conditions import holds
from frogfeed.track.network.model import BondKind
from frogfeed.track.network.netlist import netlist
from frogfeed.track.propose.proposal import Action, propose
from tests.track import brute
from tests.track.make import HEAD, PASSING_BALLOON, findings, layout, stops, turnouts, worth_knowing

A = '{ feed = "main", left = "A" }'
B = '{ feed = "main", left = "B" }'
ISOLATED = 'state = "isolated-frog"\n'
SECTION = 'feed = "switched"\nlength_mm = 900\n'


def about(body: str, code: str) -> list[Finding]:
    return [f for f in findings(body) if f.code == code]


def test_a_slip_road_that_its_own_drives_alone_set_counts_whatever_lies_beyond() -> None:
    """T leads away from it; a train that comes from the other side still crosses its frogs."""
    body = (
        '[slip.X]\nslip_road = "a.left-b.right"\n'
        + ISOLATED
        + turnouts("T")
        + stops("p", "q", "r", "s", "t")
        + "[place.t0]\n"
        + f'[lines]\na = ["p", {A}, "T.toe"]\nb = ["T.right", "|", {A}, "q"]\n'
        f'c = ["T.left", "|", {A}, "t0", "|right", "X.a.left"]\nd = ["r", {A}, "|left", "X.a.right"]\n'
        f'e = ["X.b.left", "|left", {A}, "s"]\nf = ["X.b.right", "|right", {A}, "t"]\n'
    )
    network = assemble(layout(body))
    road = next(r for r in network.roads if (r.piece, r.start, r.end) == ("X", "a.left", "b.left"))
    assert holds(road.when, {"T": "right", "X-a": "left", "X-b": "left"})
    net = netlist(network)
    for t in ("left", "right"):
        wires = brute.wires_at(net, {"T": t, "X-a": "left", "X-b": "left"})
        # Under the left wheels of that road all is A, under the right ones all is B.
        assert {wires[r] for r in road.left} == {frozenset({"main.A"})}
        assert {wires[r] for r in road.right} == {frozenset({"main.B"})}


def diamond(selector: str) -> str:
    """One of the tracks of a diamond belongs to a siding's section; the other is plain, fed track."""
    return (
        f"[diamond.X]\n{ISOLATED}{selector}"
        + turnouts("T")
        + stops("m", "n", "p", "q", "end")
        + f'[place.s]\n{SECTION}takes_in = ["X", "end"]\n[lines]\na = ["m", {A}, "T.toe"]\n'
        f'b = ["T.left", "|", {A}, "n"]\nc = ["T.right", "|", "s", "|right", "X.a.left"]\n'
        f'd = ["X.b.left", "|left", "end"]\ne = ["p", {A}, "|left", "X.a.right"]\n'
        f'f = ["X.b.right", "|right", {A}, "q"]\n'
    )


def test_a_section_is_not_bonded_to_the_frogs_that_a_diamonds_other_track_passes() -> None:
    network = assemble(layout(diamond('selector = "S"\n[drive.S]\nkind = "hand"\n')))
    bonded = {x for b in network.bonds if b.kind is BondKind.SECTION for x in (b.a, b.b)}
    frogs = {f.rail for f in network.switched if f.piece == "X"}
    cast = {x for b in network.bonds if b.kind is BondKind.CASTING and frogs & {b.a, b.b} for x in (b.a, b.b)}
    assert frogs and not bonded & (frogs | cast)


def test_a_diamond_half_in_a_section_is_undecided_where_both_its_tracks_are_set() -> None:
    undecided = about(diamond(""), "undecided")
    assert undecided and {f.subject for f in undecided} == {"X"}
    assert all(f.witness == {"T": "right"} for f in undecided)


def test_with_a_selector_a_diamond_half_in_a_section_is_clean_and_its_frogs_follow() -> None:
    body = diamond('selector = "S"\n[drive.S]\nkind = "hand"\n')
    assert worth_knowing(body) == set()
    network = assemble(layout(body))
    net = netlist(network)
    roads = {r.start: r for r in network.roads if r.piece == "X"}
    for t, s in (("right", "left"), ("right", "right"), ("left", "right")):
        road = roads[f"a.{s}"]
        wires = brute.wires_at(net, {"T": t, "S": s})
        assert {wires[r] for r in road.left} == {frozenset({"main.A"})}
        assert {wires[r] for r in road.right} == {frozenset({"main.B"})}


FAN = (
    turnouts("T", "F", "G")
    + stops("m", "n", "one", "two", "three")
    + f'[place.s]\n{SECTION}takes_in = ["F", "G", "one", "two", "three"]\n[lines]\na = ["m", {A}, "T.toe"]\n'
    f'b = ["T.left", "|", {A}, "n"]\nc = ["T.right", "|", "s", "F.toe"]\nd = ["F.left", "|", "one"]\n'
    'e = ["F.right", "|", "G.toe"]\nf = ["G.left", "|", "two"]\ng = ["G.right", "|", "three"]\n'
)


def test_a_fan_of_sidings_in_a_section_is_held_by_the_turnout_before_it_and_nothing_else_is_said() -> None:
    assert worth_knowing(FAN) == set()
    held = about(FAN, "dead-held")
    assert held and all(f.witness is not None and f.witness["T"] == "left" for f in held)
    net = netlist(assemble(layout(FAN)))
    for at in brute.all_settings(net):
        wires = brute.wires_at(net, at)
        live = {frozenset({"main.A"}), frozenset({"main.B"})} if at["T"] == "right" else {frozenset()}
        assert {wires[f"{p}.{r}"] for p in ("one", "two", "three") for r in ("R1", "R2")} == live


def test_what_is_held_dead_with_its_section_is_not_told_to_take_a_dropper() -> None:
    held = [f for f in about(FAN, "dead-held") if f.subject == "s"]
    assert held and all("add a dropper" not in f.cure for f in held)


@pytest.mark.parametrize(("more", "word"), [("", "Leave X out"), (A + ", ", "dropper")])
def test_dead_or_shorted_rails_of_a_section_are_told_a_cure_that_cures(more: str, word: str) -> None:
    """The slip's other track is dead while the section follows nothing; a dropper there shorts, and is to go."""
    body = (
        "[slip.X]\n"
        + ISOLATED
        + stops("s", "p", "q", "r").replace('kind = "buffer"\n', f'kind = "buffer"\n{SECTION}takes_in = ["X"]\n', 1)
        + f'[lines]\na = ["s", "|right", "X.a.left"]\nb = ["p", {A}, "|", {more}"X.a.right"]\n'
        f'c = ["X.b.left", "|", {A}, "q"]\nd = ["X.b.right", "|", {B}, "r"]\n'
    )
    code = "short" if more else "dead-on-road"
    found = about(body, code)
    assert found and all("dropper" not in f.cure or "would short" in f.cure or "away" in f.cure for f in found)
    assert any(word in f.cure for f in found)


def test_a_short_through_a_three_way_in_a_section_is_not_blamed_on_a_joint_within_it() -> None:
    """An insulated joiner there is bridged by the section's own wire, so it would cure nothing."""
    body = (
        "[three-way.W]\n[place.s]\nkind = \"buffer\"\n" + SECTION + 'takes_in = ["W"]\n' + stops("p", "q", "r") +
        f'[lines]\na = ["s", "W.toe"]\nb = ["W.left", "|", {A}, "p"]\nc = ["W.middle", "|", {B}, "q"]\n'
        f'd = ["W.right", "|", {A}, "r"]\n'
    )  # fmt: skip
    (short,) = about(body, "short")
    assert short.subject == "W" and "insulated joiner between s" not in short.cure.replace("W.SR and ", "")
    assert "links" in short.cure


@pytest.mark.parametrize("taken", ["U", "q"])
def test_what_is_not_built_may_be_taken_in_already(taken: str) -> None:
    body = (
        turnouts("T")
        + turnouts("U", made="built = false\n")
        + stops("m", "n", "q", "r").replace("[place.q]\n", "[place.q]\nbuilt = false\n")
        + f'[place.s]\n{SECTION}takes_in = ["{taken}"]\n[lines]\na = ["m", {A}, "T.toe"]\n'
        f'b = ["T.left", "|", {A}, "n"]\nc = ["T.right", "|", "s", "U.toe"]\nd = ["U.left", "q"]\n'
        f'e = ["U.right", {A}, "r"]\n'
    )
    assert worth_knowing(body) == set()


def throat(side: str, count: int, feed: str) -> tuple[str, str]:
    """A ladder of turnouts, each of its roads fed beyond a gap; its tables and its lines."""
    names = [f"{side}{i}" for i in range(count)]
    ends = [*(f'"|", "{n}.toe"' for n in names[1:]), f'"|", {feed}, "{side}-end"']
    lines = "".join(
        f'{n}r = ["{n}.right", {end}]\n{n}l = ["{n}.left", "|", {feed}, "{n}-road"]\n'
        for n, end in zip(names, ends, strict=True)
    )
    return turnouts(*names) + stops(f"{side}-end", *(f"{n}-road" for n in names)), lines


@pytest.mark.parametrize("selector", ["", 'selector = "S"\n[drive.S]\nkind = "hand"\n'])
def test_a_table_over_too_many_drives_is_said_to_be_so(selector: str) -> None:
    (west, west_lines), (east, east_lines) = throat("A", 7, A), throat("B", 7, A)
    names = ", ".join(f'"{side}{i}"' for side in "AB" for i in range(7))
    body = (
        f"{west}{east}[place.s]\n{SECTION}takes_in = [{names}]\n{selector}[lines]\n"
        f's = ["A0.toe", "s", "B0.toe"]\n{west_lines}{east_lines}'
    )
    (undecided,) = [f for f in about(body, "undecided") if f.subject == "s"]
    assert "14 drives" in undecided.what


def test_a_proposed_section_takes_in_nothing_of_one_that_is_there() -> None:
    pocket = turnouts("Z") + '[place.pocket]\nkind = "buffer"\nfeed = "switched"\n'
    text = HEAD + PASSING_BALLOON.format(stops=stops("p", "q") + pocket)
    text = text.replace('"near", "V.left"]', '"near", "Z.toe"]\nz = ["Z.left", "V.left"]\ny = ["Z.right", "pocket"]')
    x = read_layout_text(text, "test.toml")
    p = propose(x)
    written = read_layout_text(proposed_text(x, p.layout), "test.toml")
    assert [f.what for f in track_findings(written, assemble(written))] == [f.what for f in p.findings]


def test_a_proposed_selector_has_a_name_of_its_own_that_is_short_enough() -> None:
    long = "the-crossing-of-both-quay-tracks"
    text = (
        '[layout]\nname = "x"\ngauge = "OO"\ncontrol = "dcc"\nfeeds = "propose"\n[district.main]\n'
        f"[diamond.{long}]\n[diamond.X]\n[turnout.X-way]\n"
        + stops(*"abcdefghijk")
        + "[lines]\n"
        + "".join(
            f'{n[0]}{i} = ["{p}", "{n}.{end}"]\n'
            for n, ps in ((long, "abcd"), ("X", "efgh"))
            for i, (p, end) in enumerate(zip(ps, ("a.left", "a.right", "b.left", "b.right"), strict=True))
        )
        + 'u1 = ["i", "X-way.toe"]\nu2 = ["X-way.left", "j"]\nu3 = ["X-way.right", "k"]\n'
    )
    x = read_layout_text(text, "test.toml")
    p = propose(x)
    assert p.clean
    written = read_layout_text(proposed_text(x, p.layout), "test.toml")
    assert all(f.severity is Severity.NOTE for f in track_findings(written, assemble(written)))
    selectors = {str(d.selector) for d in written.file.diamond.values()}
    assert len(selectors) == 2 and "X-way" not in selectors and max(map(len, selectors)) <= len(long)


def test_a_connection_that_turns_trains_gets_the_section_and_not_the_longer_ovals_beside_it() -> None:
    """Any stretch leaves one setting undecided; the connection alone ends all loops, with one selector."""
    plan = layout(
        turnouts("P", "Q", made="")
        + "[place.link]\nlength_mm = 900\n[place.north]\nlength_mm = 3000\n[place.south]\nlength_mm = 3000\n"
        '[lines]\nn = ["P.toe", "north", "Q.left"]\ns = ["P.left", "south", "Q.toe"]\n'
        'l = ["P.right", "link", "Q.right"]\n'
    )
    p = propose(plan)
    assert p.clean
    places = [(i.action, i.place) for i in p.items if i.action in (Action.REVERSING, Action.SELECTOR)]
    assert places == [(Action.REVERSING, "link"), (Action.SELECTOR, "link")]


@pytest.mark.parametrize("wrong", [False, True])
def test_a_diamond_between_plain_tracks_clashes_where_one_of_them_is_on_the_wrong_wires(wrong: bool) -> None:
    """Both tracks are set at all settings: that one is as good as the other hides nothing at their joints."""
    body = (
        '[diamond.X]\nmake = "insulated-frog"\n'
        + stops("p", "q", "r", "s")
        + f'[lines]\na = ["p", {A}, "|right", "X.a.left"]\nb = ["q", {A}, "|left", "X.a.right"]\n'
        f'c = ["X.b.left", "|left", {A}, "r"]\nd = ["X.b.right", "|", {B if wrong else A}, "s"]\n'
    )
    assert bool(about(body, "clash")) is wrong


def test_two_outputs_on_one_conductor_are_an_error_even_where_their_tables_agree() -> None:
    body = (
        '[turnout.T]\nstate = "isolated-frog"\n[place.p]\nkind = "buffer"\n[place.q]\nkind = "buffer"\n'
        '[place.near]\nfeed = "switched"\n[place.far]\nkind = "buffer"\nfeed = "switched"\n'
        '[lines]\nmain = ["p", { feed = "main", left = "A" }, "T.toe", "T.left", "|right", "q"]\n'
        'siding = ["T.right", "|", "near", GAP"far"]\n'
    )
    for gap, joined in (("", True), ('"|right", ', True), ('"|", ', False)):
        found = about(body.replace("GAP", gap), "outputs-joined")
        assert bool(found) == joined
        assert all("near.R" in f.what and "far.R" in f.what for f in found)
