"""One bad example for every error there is: the code, the place and the text of each."""

from __future__ import annotations

import os
import re
from pathlib import Path

import pytest

from frogfeed.findings.codes import FILE_CODES
from frogfeed.findings.finding import Finding
from frogfeed.findings.show import show_text
from frogfeed.layout.reading import BadLayout, read_layout

BAD = Path(__file__).parent / "bad"
FILES = sorted(BAD.glob("*.toml"))
EXPECT = re.compile(r"^# expect (\d+):(\d+) (\S+)$", re.MULTILINE)
ELSEWHERE = {"file-unreadable", "file-too-big", "file-not-utf8", "file-more"}
"""Shown in test_odd_files: no text file in the tree can have these."""


@pytest.fixture(autouse=True)
def _beside_the_files(monkeypatch: pytest.MonkeyPatch) -> None:
    """Findings name files as they were given: here without a folder, wherever the tests run."""
    monkeypatch.chdir(BAD)


def findings_of(path: Path) -> tuple[Finding, ...]:
    with pytest.raises(BadLayout) as caught:
        read_layout(Path(path.name))
    return caught.value.findings


@pytest.mark.parametrize("path", FILES, ids=lambda p: p.stem)
def test_every_mistake_is_found_once_and_at_its_place(path: Path) -> None:
    expected = [(int(line), int(column), code) for line, column, code in EXPECT.findall(path.read_text())]
    found = [(f.where.line, f.where.column, f.code) for f in findings_of(path) if f.where]
    if path.stem == "empty":
        expected = [(1, 1, "file-empty")]
    assert expected
    assert found == expected


@pytest.mark.parametrize("path", FILES, ids=lambda p: p.stem)
def test_the_text_of_every_mistake(path: Path) -> None:
    text = show_text(findings_of(path)) + "\n"
    snapshot = path.with_suffix(".txt")
    if os.environ.get("FROGFEED_UPDATE_SNAPSHOTS"):
        snapshot.write_text(text, encoding="utf-8")
    assert text == snapshot.read_text(encoding="utf-8")
    assert all(len(line) <= 80 for line in text.splitlines())


def test_every_code_has_a_bad_example() -> None:
    shown = {code for path in FILES for _, _, code in EXPECT.findall(path.read_text())} | {"file-empty"}
    assert shown | ELSEWHERE == set(FILE_CODES)
