"""What is found wrong with supplies, wires and outputs, with the numbers, and that the cure cures."""

from __future__ import annotations

import re

import pytest

from frogfeed.electrics.findings import electrics_findings
from frogfeed.electrics.sizing import best_sizes
from frogfeed.electrics.survey import survey
from frogfeed.findings.codes import CODES
from frogfeed.findings.finding import Finding, Severity
from frogfeed.layout.model import Layout
from frogfeed.layout.reading import read_layout_text
from frogfeed.plan.budget import servo_budget, servos_at_once
from frogfeed.plan.findings import plan_findings
from frogfeed.plan.planner import make_plan
from frogfeed.track.assembly.assemble import assemble
from tests.plan.make import board, row


def line(district: str, extra: str = "", mm: int = 2000) -> Layout:
    text = f"""[layout]
name = "Line"
gauge = "OO"
control = "dc"
{extra}
[district.main]
{district}
[place]
near = {{ kind = "buffer", length_mm = 500 }}
far = {{ kind = "buffer", length_mm = 500 }}
[lines]
l = ["near", {{ feed = "main", left = "A" }}, {{ mm = {mm} }}, "far"]
"""
    return read_layout_text(text, "line.toml")


def found(layout: Layout) -> dict[str, Finding]:
    result = {f.code: f for f in electrics_findings(layout, assemble(layout))}
    assert all(code in CODES for code in result)
    return result


def test_a_sound_line_says_nothing() -> None:
    assert found(line("trip_a = 2.0")) == {}


def test_a_trip_above_what_a_short_can_draw() -> None:
    weak = found(line("trip_a = 5.0\ninternal_ohm = 3.0"))["elec-trip-never"]
    assert weak.severity is Severity.ERROR
    assert "4.0 A" in weak.what
    limited = found(line("trip_a = 3.0\nlimit_a = 2.0"))["elec-trip-never"]
    assert "2 A" in limited.what
    assert limited.where is not None
    assert limited.where.line == 7
    assert "elec-trip-never" not in found(line('trip_a = 3.0\nlimit_a = 2.0\nprotection = "foldback"'))


def test_a_short_far_out_that_does_not_trip_is_found_with_a_wire_that_would() -> None:
    layout = line('trip_a = 4.0\ninternal_ohm = 0.2\nbus_wire = "0.25"\nbus_mm = 15000', mm=500)
    weak = found(layout)["elec-trip-weak"]
    drawn = float(re.search(r"draws ([\d.]+) A", weak.what)[1])
    assert drawn < 5.0
    assert weak.path == ("far.R1", "far.R2")
    size = re.search(r"a bus of ([\d.]+) mm²", weak.cure)[1]
    better = line(f'trip_a = 4.0\ninternal_ohm = 0.2\nbus_wire = "{size}"\nbus_mm = 15000', mm=500)
    assert "elec-trip-weak" not in found(better)


def test_the_proposal_is_the_least_copper_of_all_sizes_that_do() -> None:
    layout = line('trip_a = 3.0\nbus_wire = "0.5"\nbus_mm = 20000\nload_a = 2.0')
    network = assemble(layout)
    spots = [survey(layout, network).spots["far.R1", "far.R2"]]
    best = best_sizes(layout, network, {}, "main", spots, most_ohm=1.0)
    assert best is not None
    from frogfeed.electrics.circuit import Sizes
    from frogfeed.parts import wires

    costs = {}
    for bus in wires.METRIC:
        for dropper in wires.METRIC:
            if bus.area_mm2 < 0.5 or dropper.area_mm2 < 0.5:
                continue
            seen = survey(layout, network, {}, Sizes({"main": bus.name}, dropper.name))
            if seen.spots["far.R1", "far.R2"].wire_ohm <= 1.0:
                costs[bus.name, dropper.name] = 2 * 20000 * bus.area_mm2 + 2 * 300 * dropper.area_mm2
    assert costs
    assert best.copper_mm3 == pytest.approx(min(costs.values()))
    assert best_sizes(layout, network, {}, "main", spots, most_ohm=0.001) is None


def test_lost_volts_are_found_where_they_are_lost() -> None:
    weak = found(line("trip_a = 3.0\nload_a = 2.0", mm=6000))["elec-volts"]
    assert "far.R1" in weak.what
    assert "dropper" in weak.cure


def test_a_load_above_the_trip() -> None:
    assert "elec-load" in found(line("trip_a = 1.0\nload_a = 1.5"))


def test_a_dropper_too_thin_for_what_never_trips() -> None:
    thin = found(line("trip_a = 5.0", 'dropper_wire = "0.14"'))["elec-wire-thin"]
    assert "3 A" in thin.what
    assert "0.25 mm²" in thin.cure
    assert "elec-wire-thin" not in found(line("trip_a = 5.0", 'dropper_wire = "0.25"'))


def test_a_wire_cooked_before_a_slow_trip() -> None:
    slow = "trip_a = 1.0\ntrip_ms = 5000\nlimit_a = 8.0\ninternal_ohm = 0.1"
    cooked = found(line(slow, 'dropper_wire = "0.14"', mm=300))["elec-wire-heat"]
    assert cooked.severity is Severity.WARNING
    assert "320 A²s" in cooked.what
    assert "259 A²s" in cooked.what
    assert "elec-wire-heat" not in found(line(slow, 'dropper_wire = "0.25"', mm=300))


def outputs(head: str, profile: str, count: int = 1) -> dict[str, Finding]:
    layout = row(count, board("B1", profile))
    text = layout.text.replace("[district.main]", f"[district.main]\n{head}")
    layout = read_layout_text(text, "row.toml")
    return {f.code: f for f in plan_findings(layout, assemble(layout))}


def test_outputs_are_judged_by_their_ratings() -> None:
    strong = "trip_a = 4.5\nlimit_a = 12.0\ntrip_ms = 100"
    solid = outputs(strong, "solid-state")
    assert "elec-output-carry" in solid
    assert "elec-output-surge" in solid
    assert solid["elec-output-surge"].severity is Severity.WARNING
    relay = outputs(strong, "expander")
    assert "elec-output-carry" not in relay
    assert "elec-output-surge" not in relay
    assert "12.0 A" in relay["elec-output-break"].what
    gentle = outputs("trip_a = 2.0\nlimit_a = 3.0", "expander")
    assert not [c for c in gentle if c.startswith("elec-output")]
    assert "elec-output-volts" in outputs("volts = 36.0\nlimit_a = 3.0\ntrip_a = 2.0", "expander")


def test_servos_start_within_their_supply() -> None:
    layout = row(12, board("B1", "expander"))
    (b,) = make_plan(layout, assemble(layout)).boards
    assert servos_at_once(b) == 4
    budget = servo_budget(b)
    assert budget.starting_a == pytest.approx(4 * 0.8 + 8 * 0.01)
    assert budget.starting_a <= budget.supply_a
    assert budget.stagger_ms == pytest.approx(3 * (1000 + 120 + 20))
