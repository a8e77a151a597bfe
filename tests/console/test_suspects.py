"""The fault finder against every single fault: the true one is never dropped, and the readings lead to it."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import replace

import pytest

from frogfeed.console.judge import Settings
from frogfeed.console.railway import Railway
from frogfeed.console.suspects import CURES, Hunt, Reading, Suspect, Trouble
from frogfeed.track.meter.faults import Edge, FaultKind, wiring
from frogfeed.track.network.conditions import holds
from frogfeed.track.network.model import RailNetwork

TROUBLES: tuple[Trouble, ...] = ("dead", "short", "crossing")


def spread(
    edges: Sequence[Edge],
    truth: Suspect,
    start: str,
    at: Settings,
    lifted: Sequence[int] = (),
    apart: Iterable[int] = (),
) -> frozenset[str]:
    """All that conducts to a point on a railway with this fault: a plain flood, none of the hunt's own shortcuts."""
    settings = dict(at)
    gone = {*truth.removed, *lifted, *apart}
    live = [e for i, e in enumerate(edges) if i not in gone and holds(e.when, settings)]
    if not set(lifted) & set(truth.removed):
        live += [e for e in truth.added if holds(e.when, settings)]
    near: dict[str, set[str]] = {}
    for e in live:
        near.setdefault(e.a, set()).add(e.b)
        near.setdefault(e.b, set()).add(e.a)
    seen, queue = {start}, [start]
    while queue:
        for there in near.get(queue.pop(), ()):
            if there not in seen:
                seen.add(there)
                queue.append(there)
    return frozenset(seen)


def conducts(edges: Sequence[Edge], truth: Suspect, reading: Reading, apart: Iterable[int] = ()) -> bool:
    """What a meter reads on a railway with this fault."""
    return reading.b in spread(edges, truth, reading.a, reading.settings, reading.lifted, apart)


def follow(hunt: Hunt, truth: Suspect, touches: bool = True) -> None:
    """Take every reading the finder asks for, as this fault gives it; doubtful contacts touch, or don't."""
    where = (hunt.rail, hunt.trouble, str(truth.kind), truth.place)
    apart = () if touches else truth.doubtful
    taken = 0
    while (reading := hunt.next()) is not None:
        hunt.take(reading, conducts(hunt.edges, truth, reading, apart))
        taken += 1
        assert truth in hunt.suspects, (where, reading)
        assert taken <= 12, where


def nothing_parts(hunt: Hunt) -> bool:
    """Whether no continuity reading at all, as set or with one drive thrown, tells those that are left apart."""
    throws = [(d, s) for d, settings in hunt.network.drives.items() for s in settings]
    points = [*hunt.network.rails, *hunt.network.wires]
    sure = [s for s in hunt.suspects if not s.doubtful]
    for drive, to in throws:
        at = tuple(sorted({**hunt.settings, drive: to}.items()))
        if len({parts_of(hunt.edges, s, at, points) for s in sure}) > 1:
            return False
    return True


def parts_of(edges: Sequence[Edge], truth: Suspect, at: Settings, points: Sequence[str]) -> frozenset[frozenset[str]]:
    """All points, by what conducts to what."""
    left = set(points)
    found = set()
    while left:
        group = spread(edges, truth, next(iter(left)), at)
        left -= group
        found.add(group)
    return frozenset(found)


def standing(network: RailNetwork) -> Iterator[dict[str, str]]:
    """All drives at their first settings; then each one thrown."""
    home = {d: s[0] for d, s in network.drives.items()}
    yield home
    for d, settings in network.drives.items():
        for s in settings[1:]:
            yield {**home, d: s}


def test_every_single_fault_is_found_by_whatever_it_shows(railway: Railway) -> None:
    """Every fault of the meter's list, hunted from rails that show it, at the settings at which they do."""
    network = railway.network
    hunts: dict[tuple[str, str, str], Hunt] = {}
    for at in standing(network):
        for rail in network.rails:
            for trouble in TROUBLES:
                first = Hunt(network, rail, trouble, at)
                for truth in first.suspects:
                    hunts.setdefault((truth.kind, truth.place, trouble), first)
    for (kind, place, trouble), first in hunts.items():
        truth = next(s for s in first.suspects if (s.kind, s.place) == (kind, place))
        for touches in (True, False) if truth.doubtful else (True,):
            hunt = Hunt(network, first.rail, trouble, first.settings)  # type: ignore[arg-type]
            follow(hunt, truth, touches)
            assert len(hunt.suspects) <= 3, [str(s) for s in hunt.suspects]
            assert nothing_parts(hunt), [(s.kind, s.place) for s in hunt.suspects]
    parted = [first for first in hunts.values() if len([s for s in first.suspects if not s.doubtful]) > 4]
    assert parted and not any(nothing_parts(first) for first in parted[:3])
    listed = {(str(f.kind), f.place) for f in wiring(network).faults}
    shown = {(kind, place) for kind, place, _ in hunts}
    unseen = sorted(f"{kind}: {place}" for kind, place in listed - shown)
    assert unseen == UNSEEN


UNSEEN = [
    "dropper missing: T6.SL to main.B",
    "dropper missing: harbour-stop.R2 to main.B",
    "insulated joiner missing: T1.SL | platform.R1",
    "insulated joiner missing: T1.SR | loop.R2",
    "insulated joiner missing: T3.SL | main-east.R1",
    "insulated joiner missing: T5.SL | wharf.R1",
    "insulated joiner missing: T5.SR | quay-road.R2",
    "insulated joiner missing: loop.R2 | T2.SL",
    "insulated joiner missing: platform.R1 | T2.SR",
    "insulated joiner missing: quay-west.R2 | T4.SL",
    "metal joiner does not conduct: harbour-stop.R2 to T6.SL",
]
"""Faults that change nothing anywhere: there is another way round, or the same wire on both sides."""


def test_a_feed_lost_at_a_frog_that_a_blade_feeds_too_is_suspected(railway: Railway) -> None:
    """T5 keeps its links and blades: the frog is dead only where its feed is lost and no blade happens to touch."""
    for setting in ("left", "right"):
        hunt = Hunt(railway.network, "T5.F", "dead", {"T5": setting})
        assert hunt.sound
        assert [(s.kind, s.place) for s in hunt.suspects] == [("switched feed not connected", "T5.F")]
        assert hunt.suspects[0].doubtful
        assert hunt.next() is None


def test_an_output_that_feeds_a_frog_in_two_places_is_one_fault(railway: Railway) -> None:
    """Its plug is off: the frog is dead, though either wire alone would feed it."""
    network = railway.network
    entry = next(s for s in network.switched if s.output == "T1.F")
    twice = replace(network, switched=(*network.switched, replace(entry, rail="T1.VL")))
    hunt = Hunt(twice, "T1.F", "dead", {})
    assert [(s.kind, s.place) for s in hunt.suspects] == [("switched feed not connected", "T1.F")]
    shorted = Hunt(twice, "T1.VL", "short", {})
    places = {s.place for s in shorted.suspects if s.kind == "switched feed's wires swapped"}
    assert places == {"T1.F at T1.F", "T1.F at T1.VL"}
    for truth in shorted.suspects:
        hunt = Hunt(twice, "T1.VL", "short", {})
        follow(hunt, truth)
        assert len(hunt.suspects) <= 2, [str(s) for s in hunt.suspects]


def test_what_a_doubtful_contact_hides_drops_no_suspect(railway: Railway) -> None:
    hunt = Hunt(railway.network, "T5.F", "dead", {"T5": "left"})
    (truth,) = hunt.suspects
    at = tuple(sorted(hunt.settings.items()))
    for touches in (True, False):
        hunt.take(Reading("quay.B", "T5.F", at), touches)
        assert hunt.suspects == (truth,)


def test_a_frog_with_its_wires_swapped_trips_under_a_train(railway: Railway) -> None:
    for frog in ("T1.F", "T2.F", "T3.F", "T4.F"):
        standing_still = Hunt(railway.network, frog, "short", {})
        assert "switched feed's wires swapped" not in {s.kind for s in standing_still.suspects}
        hunt = Hunt(railway.network, frog, "crossing", {})
        truth = next(s for s in hunt.suspects if (s.kind, s.place) == ("switched feed's wires swapped", frog))
        assert len(hunt.suspects) > 1
        follow(hunt, truth)
        assert hunt.suspects == (truth,)


def test_a_rail_that_no_wheel_joins_to_another_has_nothing_to_trip(railway: Railway) -> None:
    assert not Hunt(railway.network, "yard-stop.R1", "crossing", {}).sound


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
                hunt.take(reading, conducts(hunt.edges, truth, reading))
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
