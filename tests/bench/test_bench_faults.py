"""The fault cases hold; and a case can fail: each kind of judgement is shown a run that it must not pass."""

from __future__ import annotations

import pytest

from frogfeed.bench import faults, soak
from frogfeed.bench.cases import adversity, flash, link, motion, power
from frogfeed.bench.cases.base import Case, Outcome, ready, throw_and_wait, two_turnouts, wrongs
from frogfeed.bench.rig import rig_of, yard_layout

LONG = {
    flash.cut_in_push,
    flash.cut_in_position_save,
    flash.cut_in_install,
    link.mutated_lines,
    link.cable_at_every_byte,
    power.hangs,
    power.brown_out,
    adversity.all_off_in_mid_throw,
    adversity.metal_in_mid_throw,
    adversity.servo_chip_forgets_at_every_moment,
}


def name(case: Case) -> str:
    return f"{case.group}: {case.fault}"


@pytest.mark.parametrize("case", [c for c in faults.CASES if c.run not in LONG], ids=name)
def test_fault(case: Case) -> None:
    outcome = case.run()
    assert outcome.ok, outcome.seen


@pytest.mark.slow
@pytest.mark.parametrize("case", [c for c in faults.CASES if c.run in LONG], ids=name)
def test_long_fault(case: Case) -> None:
    outcome = case.run()
    assert outcome.ok, outcome.seen


def test_a_short_without_trip_or_sensor_would_be_seen() -> None:
    rig = two_turnouts()
    with rig.bench() as bench:
        client = ready(bench)
        board = bench.scenario["boards"][0]
        for trip in board["trips"]:
            trip["trip_ma"] = 1 << 30
        scenario = bench.scenario
    from frogfeed.bench.bench import Bench

    files = {"B1": {"data/settings.0": rig.documents["B1"]}}
    with Bench(scenario, files=files) as bench:
        client = ready(bench)
        for sensor in board["sensors"]:
            bench.fault("sensor-dead", sensor=sensor["name"])
        bench.fault("servo-stuck", drive="T2")
        throw_and_wait(bench, client, "T2", "right", 5000)
        outcome = motion._cut_short(bench, client, 4, "nothing cut it off")
        assert not outcome.ok
        assert bench.log.of("supply-trip"), "the district's supply is the last to notice"


def test_a_spark_fails_a_case_that_allows_none() -> None:
    with two_turnouts().bench() as bench:
        client = ready(bench)
        bench.fault("servo-stuck", drive="T2")
        throw_and_wait(bench, client, "T2", "right", 4000)
        assert any("spark" in w for w in wrongs(bench))


def test_a_case_that_raises_has_failed() -> None:
    def bad() -> Outcome:
        raise AssertionError("no such thing")

    results = faults.run_all([Case("x", "y", "z", bad)], lambda _: None)
    assert not results[0][1].ok
    page = faults.table(results)
    assert "| x | y | 1 | z | no such thing | **no** |" in page


def test_a_short_soak() -> None:
    rig = rig_of(yard_layout(soak.DRIVES), "long-siding.toml")
    with rig.bench(seed=3, drop=("coil", "leg", "pulse")) as bench:
        day = soak.Day(rig, bench, 3)
        day.run(0.2, lambda _: None)
        assert soak.verdict(day) == []
        assert day.tally.throws == 4 * soak.THROWS
        assert day.tally.passes == 4 * (soak.EARLY_TRAINS + soak.LATE_TRAINS)
        assert sum(day.tally.faults.values()) == 4
        assert day.tally.skipped_us > 10 * day.tally.ticks * bench.scenario["tick_us"]


def test_a_soak_sees_a_reset_that_nobody_caused() -> None:
    rig = rig_of(yard_layout(soak.DRIVES), "long-siding.toml")
    with rig.bench(seed=3) as bench:
        day = soak.Day(rig, bench, 3)
        day.client.connect()
        bench.cut_power()
        bench.advance(1000)
        assert soak.verdict(day) == ["1 resets where 0 were caused"]
