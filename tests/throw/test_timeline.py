"""The plot says what the plan says: never both rails, never a feed against a blade."""

from __future__ import annotations

import xml.etree.ElementTree as ET

import pytest

from frogfeed.throw.linkage import Linkage
from frogfeed.throw.motion import Motion
from frogfeed.throw.timeline import FeedState, Timeline, Touch, timeline, timeline_svg, timeline_text
from frogfeed.throw.window import Contacts, Window, decide

LINK = Linkage((1300, 1700), 10.0, 10.0, 1.0, 3.0, 0.4, 0.3)
PAIR = Contacts("pair", True, 10, 15, 5, 25)
LATCHING = Contacts("latching", False, 4, 4, 1, 0)


def line(contacts: Contacts, to: int, bonded: bool = False) -> Timeline:
    window = decide(LINK, Motion(1500.0, 100.0), contacts, bonded, to)
    assert isinstance(window, Window)
    return timeline(LINK, Motion(1500.0, 100.0), contacts, window, 1000)


@pytest.mark.parametrize("contacts", [PAIR, LATCHING])
@pytest.mark.parametrize("to", [0, 1])
def test_no_instant_has_a_blade_against_the_feed(contacts: Contacts, to: int) -> None:
    shown = line(contacts, to)
    old, new = (FeedState.OLD, FeedState.OPENING), (FeedState.CLOSING, FeedState.NEW)
    for m in shown.moments:
        leaving, arriving = m.touch[1 - to], m.touch[to]
        assert leaving is Touch.CLEAR or arriving is Touch.CLEAR
        if arriving is not Touch.CLEAR:
            assert m.feed not in old
        if leaving is not Touch.CLEAR:
            assert m.feed not in new
    assert shown.moments[0].feed is FeedState.OLD or shown.lead_ms > 0
    assert shown.moments[-1].feed is FeedState.NEW
    assert shown.moments[-1].touch[to] is Touch.SURE


def test_states_come_in_order() -> None:
    order = list(dict.fromkeys(m.feed for m in line(PAIR, 1).moments))
    assert order == [FeedState.OPENING, FeedState.OFF, FeedState.CLOSING, FeedState.NEW]
    middle = list(dict.fromkeys(m.feed for m in line(PAIR, 1, bonded=True).moments))
    assert middle == [FeedState.OLD, FeedState.OPENING, FeedState.OFF, FeedState.CLOSING, FeedState.NEW]


def test_the_text_has_every_row_at_full_width() -> None:
    text = timeline_text(line(PAIR, 1), ("left", "right"), width=60, height=7)
    rows = [r for r in text.splitlines() if r.endswith("|")]
    assert len(rows) == 7 + 3
    assert {len(r) for r in rows} == {12 + 60 + 1}
    assert "right |" in text
    assert "~" in text


def test_the_svg_is_well_formed_and_says_its_states_in_words() -> None:
    svg = timeline_svg(line(LATCHING, 0), ("left <1>", "right"))
    root = ET.fromstring(svg)
    words = {e.text for e in root.iter("{http://www.w3.org/2000/svg}text")}
    assert {"clear", "old side", "new side", "rail left <1>", "feed"} <= words
