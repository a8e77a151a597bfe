"""Slips, diamonds, loops and wyes among other track: which drives decide, and what is said of it.

All facts here are common practice of two-rail track (no source). Rails are found by the ends at which they show, so
that nothing hangs on how a kind is described.
"""

from __future__ import annotations

import pytest

from frogfeed.findings.finding import Severity
from frogfeed.layout.proposal_text import proposed_text
from frogfeed.layout.reading import read_layout_text
from frogfeed.track.assembly.assemble import assemble
from frogfeed.track.explain.findings import track_findings
from frogfeed.track.network.model import BondKind, RailNetwork, SwitchedFeed
from frogfeed.track.network.netlist import netlist
from frogfeed.track.propose.proposal import Action, propose
from tests.track import brute
from tests.track.make import PASSING_BALLOON, PLASTIC, between, findings, layout, stops, turnouts, worth_knowing

ACUTE = {"a": "a.left.right", "b": "b.left.right"}
"""A vee rail of each acute frog of a diamond or slip: end and hand, looking in."""
STUBS = {
    "a.left": '{ feed = "main", left = "A" }, "|right",',
    "a.right": '{ feed = "main", left = "A" }, "|left",',
    "b.left": '{ feed = "main", left = "B" }, "|right",',
    "b.right": '{ feed = "main", left = "B" }, "|left",',
}
"""How each end of a diamond or slip is joined to fed track of equal polarity: only its vee rail is insulated."""


def alone(table: str) -> str:
    """A diamond or slip with a fed stub of track at each end."""
    ends = "".join(f'l{i} = ["p{i}", {stub} "X.{end}"]\n' for i, (end, stub) in enumerate(STUBS.items()))
    return table + stops("p0", "p1", "p2", "p3") + "[lines]\n" + ends


def shown(network: RailNetwork, piece: str, rail: str) -> str:
    """The network's rail at an end rail such as "a.left.right"."""
    end, _, hand = rail.rpartition(".")
    return network.pieces[piece].ends[end][hand == "right"]


def feed_of(network: RailNetwork, piece: str, rail: str) -> SwitchedFeed:
    """The switched feed of the section to which an end rail belongs."""
    near = {shown(network, piece, rail)}
    while more := {r for b in network.bonds for r in (b.a, b.b) if {b.a, b.b} & near} - near:
        near |= more
    return next(s for s in network.switched if s.rail in near)


def carried(network: RailNetwork, piece: str, rail: str) -> dict[str, str]:
    """What an end rail carries at each setting of all drives, by "left right" in the drives' order."""
    net = netlist(network)
    name = shown(network, piece, rail)
    return {
        " ".join(at.values()): "+".join(sorted(w[-1] for w in brute.wires_at(net, at)[name]))
        for at in brute.all_settings(net)
    }


# --- slips ------------------------------------------------------------------------------------------------------------

DOUBLE = '[slip.X]\nstate = "isolated-frog"\n'


@pytest.mark.parametrize("make", ["live-frog", "insulated-frog"])
def test_each_acute_frog_of_a_double_slip_follows_the_far_drive_alone(make: str) -> None:
    network = assemble(layout(alone(DOUBLE + f'make = "{make}"\n')))
    assert feed_of(network, "X", ACUTE["a"]).drives == ("X-b",)
    assert feed_of(network, "X", ACUTE["b"]).drives == ("X-a",)
    # Led to a.left, wheels pass frog a on the right rail; led to b.left, frog b on the left one as travelled from a.
    assert carried(network, "X", ACUTE["a"]) == {
        "left left": "B",
        "left right": "A",
        "right left": "B",
        "right right": "A",
    }
    assert carried(network, "X", ACUTE["b"]) == {
        "left left": "A",
        "left right": "A",
        "right left": "B",
        "right right": "B",
    }


def test_the_obtuse_crossings_of_a_slip_need_no_switch() -> None:
    network = assemble(layout(alone(DOUBLE)))
    assert {s.output for s in network.switched} == {feed_of(network, "X", rail).output for rail in ACUTE.values()}


@pytest.mark.parametrize("make", ["live-frog", "insulated-frog"])
def test_a_double_slip_with_isolated_frogs_leaves_nothing_to_say(make: str) -> None:
    assert worth_knowing(alone(DOUBLE + f'make = "{make}"\n')) == set()


@pytest.mark.parametrize(
    ("road", "both"),
    [("a.left-b.right", {"X-a": "left", "X-b": "right"}), ("a.right-b.left", {"X-a": "right", "X-b": "left"})],
)
def test_a_single_slip_set_for_both_crossing_roads_is_undecided_and_says_so(road: str, both: dict[str, str]) -> None:
    body = alone(f'[slip.X]\nslip_road = "{road}"\nstate = "isolated-frog"\n')
    found = [f for f in findings(body) if f.code == "undecided"]
    assert found
    assert all(f.witness == both for f in found)
    network = assemble(layout(body))
    key = " ".join(both[d] for d in network.drives)
    for rail in ACUTE.values():
        assert feed_of(network, "X", rail).drives == ("X-a", "X-b")
        at = carried(network, "X", rail)
        assert at.pop(key) == ""
        assert set(at.values()) == {"A", "B"}
    assert worth_knowing(body) == {"undecided"}


def test_a_slip_that_cannot_tell_its_roads_apart_follows_the_turnouts_that_lead_to_it() -> None:
    """Blades that set crossing or slip leave it open which of two roads is meant; P and Q tell it."""
    body = between(DOUBLE + 'blades_move = "crossing-or-slip"\n')
    network = assemble(layout(body))
    order = list(network.drives)
    at = carried(network, "X", ACUTE["a"])
    for setting in ("crossing", "slip"):
        for p, q, wire in (("left", "right", "B"), ("right", "left", "A"), ("left", "left", "")):
            now = {"P": p, "Q": q, "X-a": setting, "X-b": setting}
            assert at[" ".join(now[d] for d in order)] == wire
    assert {"P", "Q"} <= set(feed_of(network, "X", ACUTE["a"]).drives)
    assert "short" not in worth_knowing(body)


# --- diamonds ---------------------------------------------------------------------------------------------------------

DIAMOND = '[diamond.X]\nstate = "isolated-frog"\n'


def test_a_diamond_alone_is_decided_by_nothing_and_says_so() -> None:
    body = alone(DIAMOND)
    assert worth_knowing(body) == {"undecided", "never-fed"}
    network = assemble(layout(body))
    assert [carried(network, "X", rail) for rail in ACUTE.values()] == [{"": ""}, {"": ""}]


def test_a_diamond_between_two_turnouts_follows_them() -> None:
    network = assemble(layout(between(DIAMOND)))
    for rail, by_p, by_q in ((ACUTE["a"], "B", "A"), (ACUTE["b"], "A", "B")):
        at = carried(network, "X", rail)
        assert set(feed_of(network, "X", rail).drives) == {"P", "Q"}
        assert (at["left right"], at["right left"]) == (by_p, by_q)
        assert at["left left"] == "", "both tracks lead here: nothing decides, so it stays off"
    assert worth_knowing(between(DIAMOND)) == {"undecided"}


ONE_TURNOUT = """
{pieces}
[lines]
far = ["f1", {{ feed = "main", left = "A" }}, "FAR.toe"]
far-spur = ["FAR.right", "f2"]
to = ["FAR.left", {{ mm = 300 }}, "T.toe"]
upper = ["T.left", "|right", "X.a.left"]
{lower}
upper-out = ["X.b.left", "|left", {{ feed = "main", left = "A" }}, "u1"]
lower-out = ["X.b.right", "|right", {{ feed = "main", left = "A" }}, "w1"]
"""
"""Turnout T leads to one track of X at left, to the other at right; FAR lies ahead of T."""


def test_one_turnout_that_leads_to_both_tracks_of_a_diamond_decides_and_one_further_off_does_not() -> None:
    pieces = turnouts("FAR", "T", made=PLASTIC) + DIAMOND + stops("f1", "f2", "u1", "w1")
    body = ONE_TURNOUT.format(pieces=pieces, lower='lower = ["T.right", "|left", "X.a.right"]')
    network = assemble(layout(body))
    for rail, upper, lower in ((ACUTE["a"], "B", "A"), (ACUTE["b"], "A", "B")):
        assert feed_of(network, "X", rail).drives == ("T",)
        at = carried(network, "X", rail)
        assert list(network.drives) == ["FAR", "T"]
        assert at == {"left left": upper, "left right": lower, "right left": upper, "right right": lower}
    assert worth_knowing(body) == set()


def test_the_first_turnout_met_from_a_diamond_counts_even_where_both_its_legs_lead_there() -> None:
    """JOIN, met at its toe, leads a train here whichever way it lies: with T at left both tracks are in use."""
    pieces = turnouts("FAR", "T", "JOIN", made=PLASTIC) + DIAMOND + stops("f1", "f2", "u1", "w1", "j1")
    lower = 'l1 = ["T.right", "JOIN.left"]\nl2 = ["JOIN.toe", "|left", "X.a.right"]\nspur = ["JOIN.right", "j1"]'
    body = ONE_TURNOUT.format(pieces=pieces, lower=lower)
    network = assemble(layout(body))
    assert list(network.drives) == ["FAR", "T", "JOIN"]
    for rail, wire in ((ACUTE["a"], "A"), (ACUTE["b"], "B")):
        for key, found in carried(network, "X", rail).items():
            assert found == (wire if key.split()[1] == "right" else ""), key
    assert worth_knowing(body) == {"undecided"}


# --- return loops -----------------------------------------------------------------------------------------------------

BALLOON = """
[turnout.T]
state = "isolated-frog"
[place.stop]
kind = "buffer"
[place.balloon]
length_mm = 1200
{section}
[lines]
main = ["stop", {{ feed = "main", left = "A" }}, "T.toe"]
loop = ["T.left", {gap} "balloon", {gap} "T.right"]
"""


def test_a_balloon_loop_that_conducts_is_a_return_loop_and_a_short() -> None:
    assert {"return-loop", "short"} <= worth_knowing(BALLOON.format(section="", gap=""))


@pytest.mark.parametrize("left", ["A", "B"])
def test_a_balloon_loop_with_gaps_and_a_fixed_feed_is_a_return_loop_that_clashes(left: str) -> None:
    """Whichever way its droppers lie, a wheel meets the other polarity at one of its two ends."""
    body = BALLOON.format(section="", gap='"|",').replace(
        '"balloon"', f'{{ feed = "main", left = "{left}" }}, "balloon"'
    )
    assert worth_knowing(body) == {"return-loop", "clash"}


def test_a_balloon_loop_with_a_switched_section_leaves_nothing_to_say() -> None:
    body = BALLOON.format(section='feed = "switched"', gap='"|",')
    assert worth_knowing(body) == set()
    network = assemble(layout(body))
    # Travelled as listed, from the left leg round to the right one: set left the left rail goes on from the left stock
    # rail (A); set right it ends at the right stock rail (B). The other rail is the other wire.
    first, second = network.pieces["balloon"].ends["a"]
    net = netlist(network)
    for setting, wires in (("left", ("main.A", "main.B")), ("right", ("main.B", "main.A"))):
        at = brute.wires_at(net, {"T": setting})
        assert [set(at[first]), set(at[second])] == [{wires[0]}, {wires[1]}]


CORNERS = "".join(f'[turnout.{name}]\nkind = "wye"\nstate = "isolated-frog"\n' for name in "PQR")

WYE = (
    CORNERS
    + """
[place.pq]
[place.qr]
[place.rp]
length_mm = 900
{section}
{stops}
[lines]
p-main = ["p", {{ feed = "main", left = "A" }}, "P.toe"]
q-main = ["q", {{ feed = "main", left = "B" }}, "Q.toe"]
r-main = ["r", {{ feed = "main", left = "{r}" }}, "R.toe"]
pq = ["P.left", "|", {{ feed = "main", left = "A" }}, "pq", "|", "Q.right"]
qr = ["Q.left", "|", {{ feed = "main", left = "B" }}, "qr", "|", "R.right"]
rp = ["R.left", "|", {feed} "rp", "|", "P.right"]
"""
)
"""A triangle: each turnout's left leg leads to the next one's right leg. P and Q agree along pq, Q and R along qr."""


def wye(section: str, feed: str, r: str = "A") -> str:
    return WYE.format(section=section, feed=feed, r=r, stops=stops("p", "q", "r"))


@pytest.mark.parametrize("r", ["A", "B"])
@pytest.mark.parametrize("left", ["A", "B"])
def test_a_triangle_is_a_return_loop_however_it_is_fed(left: str, r: str) -> None:
    found = worth_knowing(wye("", f'{{ feed = "main", left = "{left}" }},', r))
    assert {"return-loop", "clash"} <= found


def test_a_triangle_with_one_side_switched_clashes_nowhere_and_names_the_one_setting_no_drive_decides() -> None:
    """Reached from one end only, that side follows it. Set to at both ends, only the train's direction could tell."""
    body = wye('feed = "switched"', "")
    found = findings(body)
    assert not {"return-loop", "clash", "short", "never-fed"} & {f.code for f in found}
    undecided = [f for f in found if f.code == "undecided"]
    assert [f.witness for f in undecided] == [{"P": "right", "R": "left"}]
    assert "selector" in undecided[0].cure
    assert worth_knowing(body) == {"undecided", "dead-on-road"}
    network = assemble(layout(body))
    first, _ = network.pieces["rp"].ends["a"]
    net = netlist(network)
    for p, r, wires in (
        ("left", "left", {"main.A"}),
        ("right", "right", {"main.B"}),
        ("right", "left", set()),
        ("left", "right", set()),
    ):
        for q in ("left", "right"):
            assert brute.wires_at(net, {"P": p, "Q": q, "R": r})[first] == wires


def test_a_selector_decides_for_the_side_of_a_triangle_that_is_set_to_at_both_ends() -> None:
    """Only then: reached from one end, that side follows it whatever the selector says."""
    body = wye('feed = "switched"\nselector = "S"\n[drive.S]\nkind = "hand"', "")
    assert worth_knowing(body) == set()
    network = assemble(layout(body))
    first, _ = network.pieces["rp"].ends["a"]
    net = netlist(network)
    for p, r, s, wires in (
        ("left", "left", "left", {"main.A"}),
        ("left", "left", "right", {"main.A"}),
        ("right", "right", "left", {"main.B"}),
        ("right", "right", "right", {"main.B"}),
        ("right", "left", "left", {"main.A"}),
        ("right", "left", "right", {"main.B"}),
        ("left", "right", "left", set()),
    ):
        assert brute.wires_at(net, {"P": p, "Q": "left", "R": r, "S": s})[first] == wires


TAIL = (
    CORNERS
    + """
[place.pq]
[place.qr]
[place.rp]
[place.r]
kind = "buffer"
length_mm = 900
feed = "switched"
takes_in = [{takes}]
{stops}
[lines]
p-main = ["p", {{ feed = "main", left = "A" }}, "P.toe"]
q-main = ["q", {{ feed = "main", left = "B" }}, "Q.toe"]
r-main = ["r", {joint} "R.toe"]
pq = ["P.left", "|", {{ feed = "main", left = "A" }}, "pq", "|", "Q.right"]
qr = ["Q.left", "|", {{ feed = "main", left = "B" }}, "qr", "|", "R.right"]
rp = ["R.left", "|", {{ feed = "main", left = "B" }}, "rp", "|", "P.right"]
"""
)
"""The usual cure of a triangle: a tail and the turnout before it change polarity, insulated at the turnout's legs."""


@pytest.mark.parametrize("joint", ["", '{ joiner = "untrusted" },', '"|",'])
def test_a_triangle_whose_tail_is_switched_with_its_turnout_is_clean_and_that_turnout_alone_decides(joint: str) -> None:
    body = TAIL.format(takes='"R"', joint=joint, stops=stops("p", "q"))
    assert worth_knowing(body) == set()
    network = assemble(layout(body))
    tables = {s.output: s for s in network.switched}
    assert tables["r.R1"].drives == tables["r.R2"].drives == ("R",)
    # Common practice: the frog of that turnout needs no switch, for its stock rails change under it.
    assert "R.F" not in tables and any(f.rail == "R.VL" or f.rail == "R.F" for f in network.feeds)
    assert {(b.a, b.b) for b in network.bonds if b.kind is BondKind.SECTION} == (
        set() if not joint else {("r.R1", "R.SL"), ("r.R2", "R.SR")}
    )


def test_a_section_says_when_it_takes_in_what_it_does_not_touch() -> None:
    found = findings(TAIL.format(takes='"R", "pq"', joint="", stops=stops("p", "q")))
    apart = next(f for f in found if f.code == "section-apart")
    assert apart.subject == "r" and "pq" in apart.what and apart.severity is Severity.ERROR


def test_an_open_triangle_is_told_its_cure_and_a_bare_one_is_given_it() -> None:
    """With no place on its sides that could change polarity by itself, the tail does, with its turnout."""
    sides = TAIL.replace("\n[place.pq]\n[place.qr]\n[place.rp]", "").replace(
        'feed = "switched"\ntakes_in = [{takes}]', ""
    )
    sides = sides[: sides.index("pq = ")] + (
        'pq = ["P.left", "Q.right"]\nqr = ["Q.left", "R.right"]\nrp = ["R.left", "P.right"]\n'
    )
    bare = sides.format(joint="", stops=stops("p", "q"))
    loop = next(f for f in findings(bare) if f.code == "return-loop")
    assert 'takes_in = ["R"]' in loop.cure and "[place.r]" in loop.cure
    p = propose(layout(bare))
    assert p.clean
    assert [i.place for i in p.items if i.action is Action.REVERSING] == ["r, with R"]
    again = read_layout_text(proposed_text(layout(bare), p.layout), "again.toml")
    assert not [f for f in track_findings(again, assemble(again)) if f.severity is not Severity.NOTE]
    assert propose(again).items == ()


def test_a_balloon_with_a_passing_track_changes_polarity_as_a_whole() -> None:
    """Neither of its two tracks can change alone: that would leave the loop by way of the other."""
    p = propose(layout(PASSING_BALLOON.format(stops=stops("p", "q"))))
    assert p.clean
    (reversing,) = [i.place for i in p.items if i.action is Action.REVERSING]
    assert reversing.startswith("far, with ") and {"U", "V", "near"} <= set(reversing.replace(",", "").split())
    network = assemble(p.layout)
    assert {s.drives for s in network.switched if s.piece == "far"} == {("T",)}
