"""Changing the plan: the text changes where it should and nowhere else, comments stay, and `check` answers."""

from __future__ import annotations

import difflib
import tomllib
from dataclasses import replace

import pytest

from frogfeed.console.edits import feeds_at, set_feed, set_gap, set_piece
from frogfeed.console.railway import Railway, railway_of
from frogfeed.console.refusals import RefusedError
from frogfeed.findings.finding import Severity
from frogfeed.layout.reading import read_layout_text
from frogfeed.track.network.model import Joint


def joint(railway: Railway, a: str, b: str) -> Joint:
    return next(j for j in railway.network.joints if {j.a[0], j.b[0]} == {a, b})


def changed_lines(before: str, after: str) -> list[str]:
    return [
        line for line in difflib.ndiff(before.splitlines(), after.splitlines()) if line[:1] in "+-" and line[2:].strip()
    ]


def errors(text: str) -> set[str]:
    found = railway_of(read_layout_text(text, "edited.toml"))
    return {f.code for f in found.findings if f.severity is Severity.ERROR}


def test_taking_a_gap_out_shorts_and_putting_it_back_cures(railway: Railway) -> None:
    layout = railway.layout
    j = joint(railway, "T1", "platform")
    without = set_gap(layout, j, "none")
    assert len(changed_lines(layout.text, without)) == 2
    assert "short" in errors(without)
    again = read_layout_text(without, "edited.toml")
    back = set_gap(again, joint(railway_of(again), "T1", "platform"), "both")
    assert tomllib.loads(back) == tomllib.loads(layout.text)
    assert not errors(back)


@pytest.mark.parametrize("gap", ["both", "left", "right", "none"])
def test_every_joint_takes_every_gap_and_nothing_else_changes(railway: Railway, gap: str) -> None:
    for j in railway.network.joints:
        text = set_gap(railway.layout, j, gap)
        before, after = tomllib.loads(railway.layout.text), tomllib.loads(text)
        assert [c for c in text.splitlines() if c.lstrip().startswith("#")] == [
            c for c in railway.layout.text.splitlines() if c.lstrip().startswith("#")
        ]
        others = {k: v for k, v in after["lines"].items() if k != j.line}
        assert others == {k: v for k, v in before["lines"].items() if k != j.line}
        found = joint(railway_of(read_layout_text(text, "edited.toml")), j.a[0], j.b[0])
        wanted = {"both": {"left", "right"}, "none": set()}.get(gap, {gap})
        if {j.a[0], j.b[0]} != {"T6", "T1"}:
            assert {str(h) for h in found.gaps} == wanted


def test_droppers_come_and_go_on_the_side_that_is_said(railway: Railway) -> None:
    j = joint(railway, "T1", "platform")
    assert feeds_at(railway.layout, j) == {"before": None, "after": {"district": "main", "left": "A", "rail": "both"}}
    text = set_feed(railway.layout, j, "before", "main", "B", "left")
    layout = read_layout_text(text, "edited.toml")
    found = feeds_at(layout, joint(railway_of(layout), "T1", "platform"))
    assert found["before"] == {"district": "main", "left": "B", "rail": "left"}
    assert found["after"] == {"district": "main", "left": "A", "rail": "both"}
    gone = set_feed(layout, joint(railway_of(layout), "T1", "platform"), "before", None, "A", "both")
    assert tomllib.loads(gone) == tomllib.loads(railway.layout.text)


def test_a_dropper_on_the_wrong_wire_is_found_at_once(railway: Railway) -> None:
    text = set_feed(railway.layout, joint(railway, "T5", "wharf"), "after", "quay", "B", "both")
    assert errors(text)


def test_making_a_live_frog_with_links_bonded_is_refused_by_check(railway: Railway) -> None:
    text = set_piece(railway.layout, "T5", "blades", "bonded")
    assert len(changed_lines(railway.layout.text, text)) == 2
    assert "short" in errors(text)
    back = set_piece(read_layout_text(text, "edited.toml"), "T5", "blades", "contact")
    assert back == railway.layout.text


def test_a_fact_can_be_taken_away_again(railway: Railway) -> None:
    text = set_piece(railway.layout, "T1", "output", "pair")
    assert tomllib.loads(text)["turnout"]["T1"]["output"] == "pair"
    assert set_piece(read_layout_text(text, "edited.toml"), "T1", "output", None) == railway.layout.text


def test_refuses_what_is_not_there(railway: Railway) -> None:
    j = joint(railway, "T1", "platform")
    with pytest.raises(RefusedError, match="no piece called T99"):
        set_piece(railway.layout, "T99", "make", "live-frog")
    with pytest.raises(RefusedError, match="no district called moon"):
        set_feed(railway.layout, j, "after", "moon", "A", "both")
    moved = replace(j, a=("T1", "toe"))
    with pytest.raises(RefusedError, match="not where it was"):
        set_gap(railway.layout, moved, "none")
