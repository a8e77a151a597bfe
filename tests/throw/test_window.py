"""Windows and linkages by hand: numbers worked out on paper, and the firmware's own ease."""

from __future__ import annotations

import math

import pytest

from frogboard.drive import eased
from frogfeed.layout.schema import Drive
from frogfeed.parts import gauges
from frogfeed.throw.geometry import geometry_findings, linkage_of
from frogfeed.throw.linkage import Linkage
from frogfeed.throw.motion import Motion, ease, ease_inverse
from frogfeed.throw.window import Contacts, Refused, Window, decide, stretch

# Horn 10 mm, 10 us a degree, 30 degrees to either side: the rod moves 5 mm either way.
PLAIN = Linkage((1200, 1800), 10.0, 10.0, 1.0, 4.0, 1.0, 0.5)
RELAY = Contacts("latching", False, 4.0, 4.0, 1.0, 0.0)


def test_the_rod_follows_the_sine_of_the_horn() -> None:
    assert PLAIN.reach_mm == pytest.approx(5.0)
    assert PLAIN.rod_mm(1500) == pytest.approx(2.0)
    assert PLAIN.rod_mm(1800) == pytest.approx(7.0)
    assert PLAIN.pulse_at(7.0) == pytest.approx(1800.0)
    assert PLAIN.blade_mm(1200) == (0.0, 0.0)
    assert PLAIN.blade_mm(1500) == pytest.approx((1.5, 2.5))


def test_the_stretch_lies_between_the_last_and_the_first_possible_touch() -> None:
    # The leaving blade may touch until the rod is 0.5 + 0.5 = 1 mm along, the arriving one from 3 mm on.
    assert PLAIN.open_mm == pytest.approx(2.0)
    found = stretch(PLAIN, Motion(1000.0, 100.0), to=1)
    expected = math.degrees(math.asin(0.1)) * 10
    assert found.leave_us == pytest.approx(1500 - expected)
    assert found.arrive_us == pytest.approx(1500 + expected)
    back = stretch(PLAIN, Motion(1000.0, 100.0), to=0)
    assert (back.leave_us, back.arrive_us) == pytest.approx((1500 + expected, 1500 - expected))
    assert back.ms == pytest.approx(found.ms)


def test_the_ease_is_the_firmwares() -> None:
    for whole in (300, 1000, 7777):
        for elapsed in range(0, whole + 1, 7):
            assert abs(eased(elapsed, whole) / 1024 - ease(elapsed / whole)) < 3 / 1024


def test_the_inverse_ease_inverts() -> None:
    for i in range(101):
        assert ease(ease_inverse(i / 100)) == pytest.approx(i / 100, abs=1e-12)


def test_a_bare_output_is_refused_with_the_travel_that_would_do() -> None:
    fast = Motion(600.0, 100.0)
    refused = decide(PLAIN, fast, RELAY, bonded=False, to=1)
    assert isinstance(refused, Refused)
    assert refused.travel_ms is not None
    assert refused.travel_ms > 600
    assert f"to {refused.travel_ms:.0f} ms" in refused.cure
    assert isinstance(decide(PLAIN, Motion(refused.travel_ms, 100.0), RELAY, False, 1), Window)
    assert isinstance(decide(PLAIN, Motion(refused.travel_ms - 1, 100.0), RELAY, False, 1), Refused)


def test_a_stretch_of_zero_is_refused_whatever_the_output() -> None:
    tight = Linkage((1200, 1800), 10.0, 10.0, 1.0, 2.0, 1.0, 0.5)
    for kind, has_off in (("pair", True), ("latching", False)):
        outcome = decide(tight, Motion(1000.0, 100.0), Contacts(kind, has_off, 4, 4, 1, 10), False, 1)
        assert isinstance(outcome, Refused)
        assert outcome.travel_ms is None
        assert "2.00 mm" in outcome.reason


def test_a_pair_goes_off_before_motion_and_on_after_arrival() -> None:
    outcome = decide(PLAIN, Motion(500.0, 120.0), Contacts("pair", True, 10, 15, 5, 25), False, 1)
    assert isinstance(outcome, Window)
    assert (outcome.move.off_us, outcome.move.on_us) == PLAIN.pulse_us
    assert outcome.move.off_lead_ms == 25
    assert outcome.move.on_lag_ms == 120


def test_bonded_blades_change_over_in_mid_travel() -> None:
    outcome = decide(PLAIN, Motion(500.0, 120.0), Contacts("changeover", False, 10, 15, 5, 0), True, 0)
    assert isinstance(outcome, Window)
    assert (outcome.move.off_us, outcome.move.on_us) == (1500, 1500)
    assert outcome.stretch is None


@pytest.mark.parametrize(
    ("changes", "code", "number"),
    [
        ({"pulse_us": {"left": 1000, "right": 2400}}, "throw-pulse-range", "2400"),
        ({"blade_throw_mm": 1.2}, "throw-short", "1.20"),
        ({"pulse_us": {"left": 1480, "right": 1520}}, "throw-reach", "mm"),
        ({"horn_mm": 1.0}, "throw-horn-short", "1 mm"),
        ({"pulse_us": {"left": 700, "right": 2300}, "us_per_degree": 8.0}, "throw-angle", "100°"),
        ({"pulse_us": {"left": 1000, "right": 2000}, "travel_ms": 150.0}, "throw-too-fast", "200 ms"),
    ],
)
def test_geometry_that_cannot_work_is_found_with_its_numbers(changes: dict, code: str, number: str) -> None:
    drive = Drive(**changes)
    found = geometry_findings("D1", drive, ("left", "right"), gauges.gauge("HO"), None)
    assert code in [f.code for f in found]
    assert number in next(f.what for f in found if f.code == code)
    assert all(f.cure for f in found)


def test_the_defaults_work_in_every_gauge() -> None:
    for gauge in gauges.GAUGES.values():
        assert geometry_findings("D1", Drive(), ("left", "right"), gauge, None) == ()
        link = linkage_of(Drive(), ("left", "right"), gauge)
        assert link is not None
        pair = Contacts("pair", True, 10, 15, 5, 25)
        assert isinstance(decide(link, Motion(1000, 120), pair, False, 0), Window), gauge.name
