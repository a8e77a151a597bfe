"""Cures followed to the letter: each ends the finding that gave it."""

from __future__ import annotations

from frogfeed.findings.finding import Finding
from tests.track import make

HEAD = '[layout]\nname = "C"\ngauge = "OO"\ncontrol = "dcc"\n[district.main]\nvolts = 16\n[district.yard]\nvolts = 16\n'
CROSSOVER = """
[turnout.T1]
state = "isolated-frog"
[turnout.T2]
state = "isolated-frog"
[slip.X]
state = "isolated-frog"
[place]
up = { kind = "buffer" }
down = { kind = "buffer" }
east = { kind = "buffer" }
dock = { kind = "buffer" }
"""
FEED = '{ feed = "main", left = "A" }'


def findings(text: str) -> list[Finding]:
    return make.findings(text, HEAD)


def of(found: list[Finding], code: str) -> list[Finding]:
    return [f for f in found if f.code == code]


def crossover() -> str:
    return CROSSOVER + (
        f'[lines]\nup = ["up", {FEED}, "T1.left", "T1.toe", "X.a.right", "X.b.right", "east"]\n'
        f'down = ["down", {FEED}, "T2.toe", "T2.left", "X.a.left", "X.b.left", "dock"]\n'
        f'cross = ["T1.right", "T2.right"]\n'
    )


def test_a_joiner_forgotten_at_the_near_end_of_a_slip_is_asked_for_at_its_vee_rail() -> None:
    cures = [f.cure for f in of(findings(crossover()), "short")]
    assert any("Put an insulated joiner between" in c and "X.VA" in c for c in cures), cures


def test_what_may_come_of_a_short_is_sent_behind_it() -> None:
    text = (
        '[place]\na = { kind = "buffer" }\nb = { kind = "buffer" }\n'
        f'[lines]\nmain = ["a", {FEED}, "|left", {{ feed = "main", left = "B" }}, "b"]\n'
    )
    found = findings(text)
    assert of(found, "short")
    (clash,) = of(found, "clash")
    assert clash.cure.startswith("Cure the short first, and check again. If this is still there: the two sides")


def test_nothing_is_sent_behind_a_short_that_is_not_there() -> None:
    text = (
        '[place]\na = { kind = "buffer" }\nb = { kind = "buffer" }\n'
        f'[lines]\nmain = ["a", {FEED}, "|", {{ feed = "main", left = "B" }}, "b"]\n'
    )
    (clash,) = of(findings(text), "clash")
    assert clash.cure.startswith("The two sides must agree")


def test_two_droppers_of_one_rail_on_both_wires_are_told_by_its_one_name() -> None:
    text = (
        '[place]\na = { kind = "buffer" }\nb = { kind = "buffer" }\n'
        f'[lines]\nmain = ["a", {FEED}, {{ feed = "main", left = "B" }}, "b"]\n'
    )
    cures = {f.cure for f in of(findings(text), "short")}
    assert cures == {f"Two droppers at a.{r} are on different bus wires: take one of them away." for r in ("R1", "R2")}


def one_turnout(make: str, state: str = "as-made") -> str:
    return (
        f'[turnout.T]\nmake = "{make}"\nstate = "{state}"\nplastic_mm = 25\n'
        '[place]\ntoe = { kind = "buffer" }\na = { kind = "buffer" }\nb = { kind = "buffer" }\n'
        f'[lines]\nmain = ["toe", {FEED}, "T.toe", "T.left", "a"]\nside = ["T.right", "b"]\n'
    )


def test_blades_are_bonded_at_once_only_where_the_frog_is_of_plastic() -> None:
    """With a metal frog whose links are in, bonds alone would short: the links go first."""
    plastic = of(findings(one_turnout("insulated-frog")), "hangs-on-blade")
    metal = of(findings(one_turnout("live-frog")), "hangs-on-blade")
    assert {f.cure.partition(";")[0] for f in plastic} == {"Bond the blades of T to their stock rails"}
    assert all(f.cure.startswith("Remove the links of T, bond") for f in metal)
    assert of(findings(one_turnout("live-frog", "bonded")), "short")
    for made, done in (("insulated-frog", "bonded"), ("live-frog", "isolated-frog")):
        after = findings(one_turnout(made, done))
        assert not of(after, "hangs-on-blade")
        assert not of(after, "short")


def test_where_districts_meet_no_dropper_is_called_wrong() -> None:
    text = (
        '[place]\na = { kind = "buffer" }\nb = { kind = "buffer" }\n'
        f'[lines]\nmain = ["a", {FEED}, "|left", {{ feed = "yard", left = "A" }}, "b"]\n'
    )
    (short,) = of(findings(text), "short")
    assert short.cure.endswith("put an insulated joiner between a.R2 and b.R2.")
    assert not of(findings(text.replace('"|left"', '"|"')), "short")


def test_a_dropper_without_a_gap_at_a_switched_frog_is_told_of_both_ways_out() -> None:
    text = one_turnout("live-frog", "isolated-frog").replace('"T.left", ', f'"T.left", {FEED}, ')
    (short,) = of(findings(text), "short")
    assert short.cure.startswith("Put an insulated joiner between T.VL and its dropper, or take that dropper away")
    assert not of(findings(text.replace('"T.left", ', '"T.left", "|", ')), "short")


def throat(before_t2: str) -> str:
    pieces = "".join(f'[turnout.T{i}]\nmake = "live-frog"\n' for i in range(3))
    places = "".join(f'[place.{name}]\nkind = "buffer"\n' for name in ("near", "far", "p0", "p1", "p2"))
    legs = "".join(f'leg{i} = ["T{i}.right", "p{i}"]\n' for i in range(3))
    run = f'"T0.toe", "T0.left", "T1.toe", "T1.left", {before_t2}"T2.toe", "T2.left"'
    return f'{pieces}{places}[lines]\nmain = ["near", {FEED}, {run}, "far"]\n{legs}'


def test_two_rails_on_one_feed_by_way_of_blades_want_feeds_of_their_own() -> None:
    at_t2 = [f for f in of(findings(throat("")), "one-wire") if f.subject == "T2"]
    assert at_t2
    assert all(f.cure.startswith("Both come from one feed, by way of frogs and blades") for f in at_t2)
    assert not [f for f in of(findings(throat(f'"|", {FEED}, ')), "one-wire") if f.subject == "T2"]
