"""What a proof consists of: its steps, how each is judged, and the record. Pure: nothing is thrown or asked here."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from enum import StrEnum
from itertools import product
from typing import Any

from frogfeed.console.railway import Railway
from frogfeed.track.meter.readings import MeterPlan
from frogfeed.track.network.conditions import holds
from frogfeed.track.network.model import SwitchedFeed

IDLE_MA = 50
"""Most current that a sensor may read with nothing on the track (our choice; indicator lamps draw less)."""


class Kind(StrEnum):
    """Who proves a step, and how."""

    BOARD = "board"
    THROW = "throw"
    HAND = "hand"
    IDLE = "idle"
    METER = "meter"


class Result(StrEnum):
    """How a step ended."""

    OPEN = "open"
    PASS = "pass"
    FAIL = "fail"
    SKIP = "skip"


@dataclass(frozen=True, slots=True)
class Step:
    """One step: `what` is done, what is `expected`, what was `found`. `facts` are for the program that runs it."""

    name: str
    kind: Kind
    what: str
    expected: str
    facts: Mapping[str, Any]
    result: Result = Result.OPEN
    found: str = ""
    note: str = ""

    def ended(self, result: Result, found: str, note: str = "") -> Step:
        """The step with its result."""
        return replace(self, result=result, found=found, note=note)


def steps_of(railway: Railway, meter: MeterPlan | None) -> tuple[Step, ...]:
    """The steps of a layout's proof, boards first, then drives, currents, and the meter's readings."""
    found: list[Step] = []
    plan = railway.plan
    for board in plan.boards if plan else ():
        facts = {"board": board.name}
        found.append(Step(f"board {board.name}", Kind.BOARD, f"{board.name} answers", "this layout's settings", facts))
    for drive, (_, d) in railway.drives.items():
        kind = Kind.HAND if d.need.hand else Kind.THROW
        if d.need.hand and not d.inputs:
            continue
        for setting in (*d.need.settings, d.need.settings[0]):
            name = f"{drive} to {setting}"
            back = any(s.name == name for s in found)
            what = f"throw {drive} to {setting}" + (" by hand" if d.need.hand else "")
            expected = ", ".join(["at rest there", *feeds_text(railway, drive, setting)])
            facts = {"drive": drive, "to": setting}
            found.append(Step(f"{name} again" if back else name, kind, what, expected, facts))
    sensors = {f"{b.name} {f.sensor.name}": None for b, f in railway.feeds.values() if f.sensor is not None}
    for sensor in sensors:
        expected = f"at most {IDLE_MA} mA"
        found.append(
            Step(
                f"idle {sensor}",
                Kind.IDLE,
                f"current at {sensor} with nothing on the track",
                expected,
                {"sensor": sensor},
            )
        )
    for n, check in enumerate(meter.checks if meter is not None else (), 1):
        at = ", ".join(f"{d} at {s}" for d, s in check.settings)
        checks: dict[str, Any] = {
            "a": check.probe_a, "b": check.probe_b, "settings": dict(check.settings), "closed": check.expect_closed,
            "finds": check.reason,
        }  # fmt: skip
        what = f"meter between {check.probe_a} and {check.probe_b}" + (f", {at}" if at else "")
        found.append(Step(f"meter {n}", Kind.METER, what, "closed" if check.expect_closed else "open", checks))
    return tuple(found)


def feeds_wanted(railway: Railway, drive: str, settings: Mapping[str, str]) -> dict[str, str]:
    """Feeds that depend on a drive, with what a board gives them at these settings: "A", "B" or "off".

    A drive that `settings` lack stands nobody knows where: as on the board, what the table says for each of its
    settings counts where they agree, else the feed is off.
    """
    wanted: dict[str, str] = {}
    for s in railway.network.switched:
        if drive in s.drives and s.output in railway.feeds and s.output not in wanted:
            unknown = [d for d in s.drives if d not in settings]
            cases = product(*(railway.network.drives[d] for d in unknown))
            sides = {_side(railway, s, {**settings, **dict(zip(unknown, case, strict=True))}) for case in cases}
            wanted[s.output] = sides.pop() if len(sides) == 1 else "off"
    return wanted


def _side(railway: Railway, feed: SwitchedFeed, settings: Mapping[str, str]) -> str:
    """What the table of a feed says where all its drives are known."""
    row = next((r for r in feed.rows if holds(r.when, settings)), None)
    return "off" if row is None else str(railway.network.wires[row.wire].side)


def feeds_text(railway: Railway, drive: str, setting: str) -> list[str]:
    """What feeds should do, as far as this drive alone decides."""
    found = []
    for s in railway.network.switched:
        if s.drives == (drive,) and s.output in railway.feeds:
            side = feeds_wanted(railway, drive, {drive: setting}).get(s.output)
            found.append(f"{s.output} on {side}")
    return list(dict.fromkeys(found))


def verdict(steps: tuple[Step, ...]) -> str:
    """The proof in one word: passed, failed, or unfinished where steps are open or were skipped."""
    results = {s.result for s in steps}
    if Result.FAIL in results:
        return "failed"
    return "unfinished" if results & {Result.OPEN, Result.SKIP} else "passed"


def record(
    railway: Railway, steps: tuple[Step, ...], boards: Mapping[str, Any], by: str, began: str, ended: str
) -> dict[str, Any]:
    """The record that is kept: what was proven, with which layout and firmware, and every step."""
    kept = ("id", "firmware", "settings", "profile")
    return {
        "record": "frogfeed proof",
        "version": 1,
        "layout": railway.layout.file.layout.name,
        "layout_hash": railway.layout.hash,
        "began": began,
        "ended": ended,
        "by": by,
        "verdict": verdict(steps),
        "boards": {n: {k: b.get(k) for k in kept} for n, b in boards.items()},
        "steps": [
            {"name": s.name, "by": str(s.kind), "what": s.what, "expected": s.expected, "result": str(s.result),
             "found": s.found, "note": s.note}
            for s in steps
        ],
    }  # fmt: skip
