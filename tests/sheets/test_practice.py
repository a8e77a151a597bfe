"""The card of each make says what good practice says, step for step: isolate, bond, insulate, feed."""

from __future__ import annotations

import pytest

from frogfeed.plan.makeup import BondRails, FitDropper, FitJoiner, FitSwitched, KeepLink, RemoveLink
from frogfeed.sheets.model import Card
from frogfeed.sheets.steps import step_text
from frogfeed.sheets.words import Words

from .make import made, one

ISOLATED = 'make = "%s"\nstate = "isolated-frog"'


def card(body: str, table: str = "turnout", ends: str = "toe left right") -> tuple[Card, dict]:
    m = made(one(table, body, ends))
    return m.book.card("T1"), {w.mark: w for w in m.book.wires}


def of(c: Card, kind: type) -> list:
    return [d for s in c.steps for d in s.does if isinstance(d, kind)]


def pairs(c: Card, kind: type) -> set[frozenset[str]]:
    return {frozenset((d.a.partition(".")[2], d.b.partition(".")[2])) for d in of(c, kind)}


def sets(*texts: str) -> set[frozenset[str]]:
    return {frozenset(t.split()) for t in texts}


def insulated(c: Card) -> set[tuple[str, str]]:
    return {(d.end, d.rail.partition(".")[2]) for d in of(c, FitJoiner) if not d.conducts}


def test_live_frog_made_isolated() -> None:
    """Both links out, each blade bonded to its stock rail, both heels insulated, frog to a switch."""
    c, wires = card(ISOLATED % "live-frog")
    assert pairs(c, RemoveLink) == sets("BL F", "BR F")
    assert pairs(c, BondRails) == sets("SL BL", "SR BR")
    assert {("left", "VL"), ("right", "VR")} <= insulated(c)
    fed = of(c, FitSwitched)
    assert [f.rail for f in fed] == ["T1.F"]
    left, right = c.settings
    # Set left, the train runs on SR and the frog: SR's polarity; set right on SL and the frog.
    assert left.feeds["T1.F"] == left.rails["T1.SR"][0]
    assert right.feeds["T1.F"] == right.rails["T1.SL"][0]
    for s in (left, right):
        assert s.rails["T1.VL"] == s.rails["T1.VR"] == s.rails["T1.F"]
        assert s.rails["T1.BL"] == s.rails["T1.SL"]
        assert s.rails["T1.BR"] == s.rails["T1.SR"]
        assert not s.touching
    assert "Cut out the factory link" in step_text(c.steps[0], wires, Words())


def test_insulated_frog_made_isolated() -> None:
    """No metal frog: the vee rails become the section, so they are bonded to each other and both heels insulated."""
    c, _ = card(ISOLATED % "insulated-frog")
    assert pairs(c, RemoveLink) == sets("BR VL", "BL VR")
    assert pairs(c, BondRails) == sets("SL BL", "SR BR", "VL VR")
    assert {("left", "VL"), ("right", "VR")} <= insulated(c)
    assert len(of(c, FitSwitched)) == 1
    assert of(c, FitSwitched)[0].rail in ("T1.VL", "T1.VR")


def test_insulated_frog_bonded() -> None:
    """Links stay, blades bonded; nothing is switched and everything is always live."""
    c, _ = card('make = "insulated-frog"\nstate = "bonded"')
    assert pairs(c, KeepLink) == sets("BR VL", "BL VR")
    assert pairs(c, BondRails) == sets("SL BL", "SR BR")
    assert not of(c, FitSwitched)
    assert not of(c, RemoveLink)
    assert all(len(wires) == 1 for s in c.settings for wires in s.rails.values())
    assert c.settings[0].rails == c.settings[1].rails


def test_insulated_frog_as_made() -> None:
    """Nothing is cut or bonded; the table shows the leg that goes dead, and which blade feeds the other."""
    c, _ = card('make = "insulated-frog"\nstate = "as-made"')
    assert pairs(c, KeepLink) == sets("BR VL", "BL VR")
    assert not of(c, BondRails)
    left, right = c.settings
    assert left.touching == (("T1.SR", "T1.BR"),)
    assert right.touching == (("T1.SL", "T1.BL"),)
    assert left.rails["T1.BL"] == ()
    assert right.rails["T1.BR"] == ()


def test_live_frog_switched_with_its_links_in() -> None:
    """Links and blades as made, the frog on a switch: the blades take the switched polarity."""
    c, _ = card('make = "live-frog"\nlinks = "in"\nblades = "contact"\nfrog = "switched"\noutput = "pair"')
    assert pairs(c, KeepLink) == sets("BL F", "BR F")
    assert not of(c, RemoveLink) and not of(c, BondRails)
    assert {("left", "VL"), ("right", "VR")} <= insulated(c)
    for s in c.settings:
        assert s.rails["T1.BL"] == s.rails["T1.F"] == (s.feeds["T1.F"],)


@pytest.mark.parametrize(
    ("body", "table", "ends"),
    [
        (ISOLATED % "live-frog", "turnout", "toe left right"),
        (ISOLATED % "insulated-frog", "turnout", "toe left right"),
        (ISOLATED % "live-frog", "three-way", "toe left middle right"),
    ],
)
def test_working_order(body: str, table: str, ends: str) -> None:
    """First what is done on the bench, then joints, then wires: links, bonds, joiners, droppers, feeds."""
    c, _ = card(body, table, ends)
    rank = {RemoveLink: 0, KeepLink: 0, BondRails: 1, FitJoiner: 2, FitDropper: 3, FitSwitched: 4}
    ranks = [rank[type(s.does[0])] for s in c.steps]
    assert ranks == sorted(ranks)
    assert [s.number for s in c.steps] == list(range(1, len(c.steps) + 1))


def test_three_way_shows_a_road_first_and_the_forbidden_setting_last() -> None:
    c, _ = card(ISOLATED % "live-frog", "three-way", "toe left middle right")
    assert [len(s.roads) for s in c.settings] == [1, 1, 1, 0]
    assert c.settings[-1].forbidden
    assert len(of(c, FitSwitched)) == 3


def test_a_double_slips_frogs_follow_the_drive_at_the_far_side() -> None:
    c, _ = card(ISOLATED % "live-frog", "slip", "a.left a.right b.left b.right")
    tables = {
        output: {d for s in c.settings for t in c.settings
                 if sum(x != y for x, y in zip(s.term, t.term, strict=True)) == 1 and s.feeds[output] != t.feeds[output]
                 for (d, x), (_, y) in zip(s.term, t.term, strict=True) if x != y}
        for output in ("T1.FA", "T1.FB")
    }  # fmt: skip
    assert tables == {"T1.FA": {"T1-b"}, "T1.FB": {"T1-a"}}


def test_every_step_has_words() -> None:
    c, wires = card(ISOLATED % "live-frog")
    texts = [step_text(s, wires, Words()) for s in c.steps]
    assert all("{" not in t and t.endswith(".") for t in texts)
    assert len(set(texts)) == len(texts)
