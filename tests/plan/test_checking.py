"""`check` shows throws, boards and wires beside the track, in one style, and honours `accept`."""

from __future__ import annotations

from frogfeed.checking import all_findings
from frogfeed.findings.codes import CODES
from frogfeed.findings.finding import Finding, Severity
from frogfeed.layout.model import Layout
from frogfeed.layout.reading import read_layout_text
from frogfeed.track.assembly.assemble import assemble
from tests.plan.make import board, row

ACCEPT = 'make = "live-frog"\nstate = "isolated-frog"\nfrog_number = 6\naccept = [{ code = "%s", reason = "as built" }]'


def found(layout: Layout) -> dict[str, Finding]:
    return {f.code: f for f in all_findings(layout, assemble(layout))}


def weak(piece: str | None = None) -> Layout:
    layout = row(1, board("B1", "expander")) if piece is None else row(1, board("B1", "expander"), piece=piece)
    text = layout.text.replace("[district.main]", "[district.main]\ntrip_a = 2.0\nlimit_a = 9.0")
    return read_layout_text(text, "weak.toml")


def test_findings_of_all_kinds_come_in_one_style() -> None:
    layout = row(1, board("B1", "expander"), extra="[drive.T1]\nblade_throw_mm = 1.0\n")
    kinds = found(layout)
    assert "run-through" in kinds
    assert "throw-short" in kinds
    for f in kinds.values():
        assert f.code in CODES
        for text in (f.what, f.why, f.cure):
            assert not text or text.endswith((".", "?", "!"))
        assert f.where is not None


def test_an_accepted_finding_of_an_output_becomes_a_note_with_its_reason() -> None:
    plain = found(weak())["elec-output-break"]
    assert plain.severity is Severity.WARNING
    agreed = found(weak(ACCEPT % "elec-output-break"))["elec-output-break"]
    assert agreed.severity is Severity.NOTE
    assert agreed.accepted == "as built"
    assert agreed.subject == "T1.F"


def test_a_shorted_track_is_not_judged_for_wires() -> None:
    shorted = row(1, piece='make = "live-frog"\nstate = "bonded"\nfrog_number = 6')
    kinds = found(shorted)
    assert "short" in kinds
    assert not [c for c in kinds if c.startswith(("elec", "plan", "throw"))]
