"""The fault finder against every single fault: the true one is never dropped, and the readings lead to it."""

from __future__ import annotations

import pytest

from frogfeed.console.railway import Railway
from frogfeed.console.suspects import CURES, Hunt, Reading, Suspect
from frogfeed.track.conditions import holds
from frogfeed.track.faults import FaultKind, wiring


def meter(hunt: Hunt, truth: Suspect, reading: Reading) -> bool:
    """What a meter reads on a railway with this fault: a plain flood fill, none of the hunt's own shortcuts."""
    settings = dict(reading.settings)
    gone = {*truth.removed, *reading.lifted}
    edges = [e for i, e in enumerate(hunt.edges) if i not in gone and holds(e.when, settings)]
    if not set(reading.lifted) & set(truth.removed):
        edges += [e for e in truth.added if holds(e.when, settings)]
    near: dict[str, set[str]] = {}
    for e in edges:
        near.setdefault(e.a, set()).add(e.b)
        near.setdefault(e.b, set()).add(e.a)
    seen, queue = {reading.a}, [reading.a]
    while queue:
        for there in near.get(queue.pop(), ()):
            if there not in seen:
                seen.add(there)
                queue.append(there)
    return reading.b in seen


@pytest.mark.parametrize("trouble", ["dead", "short"])
def test_every_fault_is_found_or_left_among_few_that_nothing_tells_apart(railway: Railway, trouble: str) -> None:
    hunts = 0
    for rail in railway.network.rails:
        start = Hunt(railway.network, rail, trouble, {})  # type: ignore[arg-type]
        for truth in start.suspects:
            hunts += 1
            hunt = Hunt(railway.network, rail, trouble, {})  # type: ignore[arg-type]
            taken = 0
            while (reading := hunt.next()) is not None:
                left = len(hunt.suspects)
                hunt.take(reading, meter(hunt, truth, reading))
                taken += 1
                assert truth in hunt.suspects, (rail, truth, reading)
                assert len(hunt.suspects) < left or taken > left
            assert len(hunt.suspects) <= 2, [str(s) for s in hunt.suspects]
            assert taken <= 6
    assert hunts > 40


def test_the_first_reading_for_a_dead_rail_begins_at_the_supply(railway: Railway) -> None:
    hunt = Hunt(railway.network, "fiddle-2.R2", "dead", {"D7": "right"})
    assert [s.b for s in hunt.way] == ["main-east.R2", "T7.SR", "fiddle-2.R2"]
    reading = hunt.next()
    assert reading is not None
    assert (reading.a, reading.b) == ("main.B", "main-east.R2")
    assert hunt.expected(reading)


def test_an_answer_that_fits_nothing_leaves_no_suspect(railway: Railway) -> None:
    """With the dropper said to be sound, the joiners fine, and the rail dead all the same: not one fault."""
    hunt = Hunt(railway.network, "fiddle-2.R2", "dead", {})
    for step in hunt.way:
        hunt.take(Reading(step.a, step.b, tuple(sorted(hunt.settings.items()))), True)
    assert hunt.suspects == ()
    assert hunt.next() is None


def test_what_cannot_be_read_is_not_asked_again(railway: Railway) -> None:
    hunt = Hunt(railway.network, "fiddle-2.R2", "dead", {})
    first = hunt.next()
    assert first is not None
    hunt.take(first, None)
    second = hunt.next()
    assert second is not None
    assert second != first


def test_a_fault_that_the_layout_itself_has_is_told_apart(railway: Railway) -> None:
    held = Hunt(railway.network, "yard-stop.R1", "dead", {"T6": "left"})
    assert not held.sound
    fed = Hunt(railway.network, "yard-stop.R1", "dead", {"T6": "right"})
    assert fed.sound
    assert "blade does not touch" in {s.kind for s in fed.suspects}


def test_every_kind_of_fault_has_a_cure(railway: Railway) -> None:
    assert {str(k) for k in FaultKind} <= set(CURES)
    assert {str(f.kind) for f in wiring(railway.network).faults} <= set(CURES)


def test_an_unknown_rail_is_refused(railway: Railway) -> None:
    with pytest.raises(KeyError):
        Hunt(railway.network, "T1.QQ", "dead", {})
