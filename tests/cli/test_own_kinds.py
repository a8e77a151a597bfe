"""Kinds of piece of the modeller's own go all the way: checked, planned, and refused with a reason where wrong."""

from __future__ import annotations

from pathlib import Path

import pytest
from click.testing import CliRunner

from frogfeed.cli import main
from tests.own_kind import CATCH_POINT

LAYOUT = """
[layout]
name = "Own Kind"
gauge = "OO"
control = "dc"
catalogue = ["mine.toml"]

[district.main]
limit_a = 3.0

[piece.K1]
kind = "catch-point"
state = "bonded"
DRIVES

[place]
yard = { kind = "buffer" }
ditch = { kind = "buffer" }
line = { kind = "open" }

[lines]
main = ["yard", { feed = "main", left = "A" }, "K1.yard", "K1.line", "line"]
trap = ["K1.ditch", "ditch"]
"""


def _run(folder: Path, kind: str, drives: str, *words: str) -> tuple[int, str]:
    (folder / "mine.toml").write_text(kind, encoding="utf-8")
    (folder / "own.toml").write_text(LAYOUT.replace("DRIVES", drives), encoding="utf-8")
    result = CliRunner().invoke(main, [words[0], str(folder / "own.toml"), *words[1:]])
    if result.exception is not None and not isinstance(result.exception, SystemExit):
        raise result.exception
    return result.exit_code, result.output


@pytest.mark.parametrize(
    ("drives", "name"),
    [("", "K1"), ('drives = { drive = "trap" }\n[drive.trap]', "trap")],
)
def test_a_kind_of_ones_own_is_checked_and_planned(tmp_path: Path, drives: str, name: str) -> None:
    code, output = _run(tmp_path, CATCH_POINT, drives, "check")
    assert code == 0, output
    code, output = _run(tmp_path, CATCH_POINT, drives, "plan")
    assert code == 0, output
    assert f"{name} " in output and "servo S1" in output
    assert "bond K1.SL to K1.BL" in output


def test_a_kind_that_contradicts_itself_is_a_finding_in_the_layout_file(tmp_path: Path) -> None:
    code, output = _run(tmp_path, CATCH_POINT + 'links = ["BB SL"]\n', "", "check")
    assert code == 2
    assert "file-bad-catalogue" in output
    assert "mine.toml is no catalogue file: make live-frog: no road has a rail 'BB'" in " ".join(output.split())
