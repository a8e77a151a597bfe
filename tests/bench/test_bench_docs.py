"""The page on the bench runs as it is printed."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from frogfeed.bench.controls import Controls

PAGE = Path(__file__).parents[2] / "docs" / "reference" / "bench.md"
WORLD = Path(__file__).parents[2] / "host" / "frogfeed" / "bench" / "sim" / "physics" / "world.py"


def test_the_example_runs(capsys: pytest.CaptureFixture[str]) -> None:
    code = re.search(r"```python\n(.*?)```", PAGE.read_text(), re.DOTALL)
    assert code is not None
    exec(compile(code.group(1), str(PAGE), "exec"), {})
    said = capsys.readouterr().out
    assert said.splitlines()[-1].startswith("quay."), "the frog of T5 is fed"
    assert "spark" not in said


def test_every_kind_of_fault_is_on_the_page_and_no_other() -> None:
    source = WORLD.read_text()
    body = source[source.index("def fault(") : source.index("def _sensor(")]
    known = {k for k in re.findall(r'"([a-z]+(?:-[a-z]+)*)"', body) if k in body.split("raise KeyError")[0]}
    kinds = {
        k for line in re.findall(r"elif kind == [^\n]+|if kind [^\n]+", body) for k in re.findall(r'"([a-z-]+)"', line)
    }
    page = PAGE.read_text()
    table = page[page.index("| kind | facts |") : page.index("And `bench.cut_power()`")]
    written = {
        k for row in re.findall(r"^\| (`[^|]+) \|", table, re.MULTILINE) for k in re.findall(r"`([a-z-]+)`", row)
    }
    assert written == kinds
    assert kinds <= known


def test_what_the_page_calls_is_there() -> None:
    for method in ("cut_power", "cut_at_flash", "hang", "press", "hand", "fault", "wire_of", "query"):
        assert callable(getattr(Controls, method))
