"""What `check` says of invented layouts with known faults, line by line.

To accept a changed wording: FROGFEED_ACCEPT=1, then read what changed as a modeller would.
"""

from __future__ import annotations

import os
from pathlib import Path

import pytest

from frogfeed.findings.show import show_text
from frogfeed.layout.reading import read_layout_text
from frogfeed.track.assembly.assemble import assemble
from frogfeed.track.explain.findings import track_findings

FOLDER = Path(__file__).parent / "faulty"
FILES = sorted(FOLDER.glob("*.toml"))

EXPECTED = {
    "cockle-three-way": {"short"},
    "dunlin-districts": {"short", "undecided"},
    "gull-point-loop": {"return-loop"},
    "kelp-yard": {"short"},
    "limpet-slip": {"short", "clash"},
}
"""At least these codes must be among the errors and warnings of each."""


@pytest.mark.parametrize("file", FILES, ids=lambda f: f.stem)
def test_findings_read_as_they_did(file: Path) -> None:
    layout = read_layout_text(file.read_text(encoding="utf-8"), file.name)
    found = tuple(track_findings(layout, assemble(layout)))
    assert {f.code for f in found if f.severity != "note"} >= EXPECTED[file.stem]
    text = show_text(found) + "\n"
    kept = file.with_suffix(".txt")
    if os.environ.get("FROGFEED_ACCEPT") == "1":
        kept.write_text(text, encoding="utf-8")
    assert text == kept.read_text(encoding="utf-8")


def test_there_are_five() -> None:
    assert {f.stem for f in FILES} == set(EXPECTED)
