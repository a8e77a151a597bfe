"""Findings as text that reads well at 80 columns, as JSON, and as SARIF 2.1.0."""

from __future__ import annotations

import json
import re

import pytest
from hypothesis import given
from hypothesis import strategies as st

from frogfeed.findings.finding import Finding, Location, Severity
from frogfeed.findings.show import show_json, show_sarif, show_text, summary, when

SHORT = Finding(
    code="short",
    severity=Severity.ERROR,
    subject="T1.VL",
    what="main.A and main.B are joined through the frog of T1",
    why="The supply trips as soon as T1 is set left, and every train in the district stops.",
    cure="Fit insulated joiners at both heels of T1.",
    where=Location("ferry.toml", 12, 3),
    witness={"T2": "right", "T1": "left"},
    path=("main.A", "T1.SL", "T1.BL", "T1.F", "T1.VL", "platform.R2", "T2.VR", "T2.F", "T2.BR", "T2.SR", "main.B"),
    related=(("the other feed", Location("ferry.toml", 30, 7)),),
)
HELD = Finding(
    code="dead-held",
    severity=Severity.NOTE,
    subject="siding.R1",
    what="siding.R1 goes dead while T2 is right",
    where=Location("ferry.toml", 4, 1),
    witness={},
    accepted="a train waits there",
)
ALONE = Finding("not-proven", Severity.WARNING, "file", "one question was not decided in time")


def test_text() -> None:
    assert (
        show_text([SHORT, HELD, ALONE])
        == """\
ferry.toml:12:3: error short: T1.VL
  main.A and main.B are joined through the frog of T1
  why       The supply trips as soon as T1 is set left, and every train in the
            district stops.
  when      T1 is left and T2 is right
  path      main.A > T1.SL > T1.BL > T1.F > T1.VL > platform.R2 > T2.VR > T2.F >
            T2.BR > T2.SR > main.B
  see       ferry.toml:30:7 (the other feed)
  to do     Fit insulated joiners at both heels of T1.

ferry.toml:4:1: note dead-held: siding.R1
  siding.R1 goes dead while T2 is right
  when      always, whatever is set
  accepted  a train waits there

warning not-proven
  one question was not decided in time

1 error, 1 warning, 1 note."""
    )


@pytest.mark.parametrize(
    ("severities", "text"),
    [
        ([], "Nothing to report."),
        ([Severity.NOTE], "No errors, 1 note."),
        ([Severity.WARNING, Severity.NOTE, Severity.NOTE], "No errors, 1 warning and 2 notes."),
        ([Severity.ERROR] * 2, "2 errors."),
        ([Severity.ERROR, Severity.NOTE], "1 error, 1 note."),
    ],
)
def test_summary(severities: list[Severity], text: str) -> None:
    assert summary(Finding("short", s, "x", "y") for s in severities) == text


def test_witness_in_words() -> None:
    assert when(None) == ""
    assert when({"T1": "left"}) == "T1 is left"
    assert when({"b": "left", "a": "right", "c": "left"}) == "a is right, b is left and c is left"


def test_colour_changes_nothing_but_colour() -> None:
    painted = show_text([SHORT, HELD, ALONE], colour=True)
    assert painted != show_text([SHORT, HELD, ALONE])
    assert re.sub(r"\x1b\[[0-9;]*m", "", painted) == show_text([SHORT, HELD, ALONE])
    assert "\x1b" not in show_text([SHORT])


def test_a_generator_will_do() -> None:
    assert show_text(f for f in [SHORT]).endswith("1 error.")
    assert json.loads(show_json(f for f in [SHORT]))["summary"]["error"] == 1
    assert len(json.loads(show_sarif(f for f in [SHORT]))["runs"][0]["results"]) == 1


WORDS = st.text(st.characters(codec="utf-8", exclude_categories=["Cs", "Cc", "Zl", "Zp"]), max_size=120)
FINDINGS = st.builds(
    Finding,
    code=st.sampled_from(["short", "clash", "made-up"]),
    severity=st.sampled_from(Severity),
    subject=WORDS,
    what=WORDS.filter(str.strip),
    why=WORDS,
    cure=WORDS,
    where=st.none() | st.builds(Location, st.sampled_from(["a b.toml", "/tmp/ä.toml"]), st.integers(1), st.integers(1)),
    witness=st.none() | st.dictionaries(WORDS, WORDS, max_size=3),
    path=st.lists(WORDS, max_size=4).map(tuple),
    accepted=st.none() | WORDS,
)


@given(st.lists(FINDINGS, max_size=4), st.integers(0, 200), st.booleans())
def test_anything_can_be_shown(findings: list[Finding], width: int, colour: bool) -> None:
    text = show_text(findings, width, colour)
    plain = re.sub(r"\x1b\[[0-9;]*m", "", text)
    longest = max((len(word) for row in plain.split("\n") for word in row.split()), default=0)
    assert all(len(row) <= max(width, 40, longest + 14) for row in plain.split("\n"))
    assert len(json.loads(show_json(findings))["findings"]) == len(findings)
    run = json.loads(show_sarif(findings))["runs"][0]
    rules = [r["id"] for r in run["tool"]["driver"]["rules"]]
    assert rules == sorted(set(rules))
    assert [rules[r["ruleIndex"]] for r in run["results"]] == [f.code for f in findings]
    assert all(r["message"]["text"] for r in run["results"])


def test_json_has_every_part() -> None:
    first, second, third = json.loads(show_json([SHORT, HELD, ALONE]))["findings"]
    assert first == {
        "code": "short",
        "severity": "error",
        "subject": "T1.VL",
        "what": SHORT.what,
        "why": SHORT.why,
        "cure": SHORT.cure,
        "where": {"file": "ferry.toml", "line": 12, "column": 3},
        "witness": {"T1": "left", "T2": "right"},
        "path": list(SHORT.path),
        "related": [{"text": "the other feed", "where": {"file": "ferry.toml", "line": 30, "column": 7}}],
    }
    assert second["witness"] == {} and second["accepted"] == "a train waits there"
    assert set(third) == {"code", "severity", "subject", "what"}


def test_sarif_has_rules_places_and_suppressions() -> None:
    log = json.loads(show_sarif([SHORT, HELD, ALONE]))
    assert log["version"] == "2.1.0"
    run = log["runs"][0]
    assert run["columnKind"] == "unicodeCodePoints"
    first, second, third = run["results"]
    assert (first["level"], second["level"], third["level"]) == ("error", "note", "warning")
    place = first["locations"][0]["physicalLocation"]
    assert place == {"artifactLocation": {"uri": "ferry.toml"}, "region": {"startLine": 12, "startColumn": 3}}
    assert second["suppressions"] == [{"kind": "inSource", "justification": "a train waits there"}]
    assert "suppressions" not in first and "locations" not in third
    rule = run["tool"]["driver"]["rules"][first["ruleIndex"]]
    assert rule["id"] == "short" and rule["defaultConfiguration"] == {"level": "error"}
    assert first["message"]["text"].endswith(
        "When: T1 is left and T2 is right. Path: " + " > ".join(SHORT.path) + ". "
        "Fit insulated joiners at both heels of T1."
    )
