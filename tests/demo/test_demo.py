"""The demo is sound, and the bench can fail: each mutation makes sparks."""

from __future__ import annotations

import json
from collections.abc import Callable
from typing import Any

import pytest
from click.testing import CliRunner

from frogfeed.bench.physical import OutputPhysics
from frogfeed.cli import main
from frogfeed.demo import railway
from frogfeed.demo.railway import demo_file
from frogfeed.demo.run import run_demo
from frogfeed.demo.throws import ThrowReport

Document = dict[str, Any]


def feed(document: Document, name: str) -> dict[str, Any]:
    found: dict[str, Any] = next(f for f in document["feeds"] if f["name"] == name)
    return found


def sparks(reports: list[ThrowReport]) -> int:
    return sum(len(r.sparks) for r in reports)


def test_the_demo_is_sound_and_ends_with_zero() -> None:
    result = CliRunner().invoke(main, ["demo", "--json"])
    assert result.exit_code == 0, result.output
    throws = json.loads(result.stdout)
    assert len(throws) == 12
    assert {t["drive"] for t in throws} == {"T1", "T2", "crossover", "T5", "T6", "D7"}
    for t in throws:
        assert t["sparks"] == [] and t["dead_wheels"] == [] and t["other"] == []
        assert t["routes"]
        for f in t["feeds"]:
            assert f["before"] != f["after"] and f["off_ms"] < f["on_ms"]


def off_after_arrival(document: Document) -> None:
    for move in feed(document, "T5.F")["moves"]:
        pulses = document["drives"][move["drive"]]["pulse_us"]
        move["off_us"] = pulses[move["to"]]


def on_before_letting_go(document: Document) -> None:
    for move in feed(document, "T5.F")["moves"]:
        pulses = document["drives"][move["drive"]]["pulse_us"]
        move["on_us"] = pulses[1 - move["to"]]
        move["on_lag_ms"] = 0


def no_dead_time(document: Document) -> None:
    for f in document["feeds"]:
        f["dead_ms"] = f["release_ms"] = 0
        for move in f["moves"]:
            move["on_lag_ms"] = 0


def inverted(name: str) -> Callable[[Document], None]:
    def change(document: Document) -> None:
        for row in feed(document, name)["table"]:
            row["feed"] = "B" if row["feed"] == "A" else "A"

    return change


SLOW = {f"T{n}.F": OutputPhysics(operate_ms=8.0, release_ms=33.0, bounce_ms=2.0) for n in range(1, 6)}
"""Relays held in by their drivers' clamp diodes: what they truly do, whatever the changed settings claim of them."""


def honest(document: Document) -> None:
    """Settings that know how slow the relays are."""
    for f in document["feeds"]:
        f["release_ms"] = 35
        f["dead_ms"] = 40
        for move in f["moves"]:
            move["off_lead_ms"] = 40 if move["off_lead_ms"] else 0


@pytest.mark.parametrize(
    ("change", "where"),
    [
        (off_after_arrival, "T5"),
        (on_before_letting_go, "T5"),
        (no_dead_time, "T1"),
        (inverted("T5.F"), "T5"),
        (inverted("T1.F"), "T1"),
    ],
    ids=["off after arrival", "on before letting go", "no dead time", "unbonded table inverted", "isolated inverted"],
)
def test_a_mutation_makes_sparks(change: Callable[[Document], None], where: str) -> None:
    def both(document: Document) -> None:
        honest(document)
        change(document)

    reports = run_demo(demo_file(), both, SLOW)
    assert sparks(reports) > 0
    causes = " ".join(str(e.facts["cause"]) for r in reports for e in r.sparks)
    assert f"{where}.F" in causes
    assert not all(r.clean for r in reports)


def test_the_slow_relays_alone_are_no_mutation() -> None:
    assert sparks(run_demo(demo_file(), honest, SLOW)) == 0


def test_sparks_end_the_demo_with_one(monkeypatch: pytest.MonkeyPatch) -> None:
    real = railway.prepare
    monkeypatch.setattr("frogfeed.commands.demo.prepare", lambda file: real(file, inverted("T1.F")))
    result = CliRunner().invoke(main, ["demo", "--quiet"])
    assert result.exit_code == 1
    assert "NOT SOUND" in result.output


def test_the_same_seed_gives_the_same_run() -> None:
    first, second = (CliRunner().invoke(main, ["demo", "--json", "--seed", "7"]).stdout for _ in range(2))
    assert first == second
