"""The commands that show throws and electrics."""

from __future__ import annotations

import json
from pathlib import Path

from click.testing import CliRunner

import frogfeed.demo
from frogfeed.cli import main

(FOLDER,) = frogfeed.demo.__path__
DEMO = str(Path(FOLDER) / "saltmarsh-quay.toml")


def run(*words: str) -> str:
    done = CliRunner().invoke(main, list(words))
    assert done.exit_code == 0, done.output
    return done.output


def test_electrics_tells_each_district_and_board() -> None:
    text = run("electrics", DEMO)
    assert "District main: 12 V" in text
    assert "Board B1: 5 servos" in text
    data = json.loads(run("electrics", DEMO, "--format", "json"))
    main_district = next(d for d in data["districts"] if d["district"] == "main")
    assert 10 < main_district["lowest_v"] < 12
    # The supply gives no more than its limit, wherever the short is.
    assert main_district["weakest_a"] <= main_district["strongest_a"] == 4.0
    assert main_district["let_through_a2s"] > 0


def test_throws_are_plotted_or_drawn(tmp_path: Path) -> None:
    assert run("throws", DEMO, "--drive", "T5").count("T5 to ") == 2
    assert "10 throws" in run("throws", DEMO, "--svg", str(tmp_path / "plots"))
    assert len(list((tmp_path / "plots").glob("*.svg"))) == 10
    wrong = CliRunner().invoke(main, ["throws", DEMO, "--drive", "T99"])
    assert wrong.exit_code == 2
    assert "T5" in wrong.output
