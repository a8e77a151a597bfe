"""The starting file: read and checked clean, explained, never written over anything."""

from __future__ import annotations

from pathlib import Path

import pytest

from frogfeed.checking import all_findings
from frogfeed.findings.finding import Severity
from frogfeed.layout.reading import read_layout
from frogfeed.layout.schema import Make, State
from frogfeed.layout.starter import STARTER, write_starter
from frogfeed.track.assembly.assemble import assemble


def test_it_reads_and_checks_clean(tmp_path: Path) -> None:
    path = tmp_path / "ferry.toml"
    write_starter(path)
    layout = read_layout(path)
    assert [f.code for f in all_findings(layout, assemble(layout)) if f.severity is not Severity.NOTE] == []


def test_it_shows_both_makes_and_an_isolated_frog(tmp_path: Path) -> None:
    path = tmp_path / "ferry.toml"
    write_starter(path)
    pieces = read_layout(path).file.turnout
    assert {p.make for p in pieces.values()} == set(Make)
    assert State.ISOLATED_FROG in {p.state for p in pieces.values()}


def test_what_it_offers_in_comments_reads_well_too(tmp_path: Path) -> None:
    start = STARTER.index("# [drive.T1]")
    offered = STARTER[start:].replace("# [", "[").replace("# pulse", "pulse").replace("# profile", "profile")
    path = tmp_path / "ferry.toml"
    path.write_text(STARTER[:start] + offered, encoding="utf-8")
    layout = read_layout(path)
    assert layout.file.drive["T1"].pulse_us
    assert layout.file.board["B1"].profile == "direct-relay"


def test_it_overwrites_nothing(tmp_path: Path) -> None:
    path = tmp_path / "mine.toml"
    path.write_text("mine")
    with pytest.raises(FileExistsError):
        write_starter(path)
    assert path.read_text() == "mine"


def test_it_is_readable_in_a_narrow_window() -> None:
    assert max(len(row) for row in STARTER.split("\n")) <= 100
