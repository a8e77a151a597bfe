"""The reversing sections of the how-to page, thrown under trains on the bench."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from frogfeed.demo.run import run_demo

PAGE = Path(__file__).parents[2] / "docs/how-to/reversing-section.md"


@pytest.mark.parametrize(("name", "turnout", "section"), [("delta.toml", "Tail", "spit")])
def test_a_section_changes_over_in_step_with_its_turnout(tmp_path: Path, name: str, turnout: str, section: str) -> None:
    text = re.search(rf"```toml file={re.escape(name)}\n(.*?)```", PAGE.read_text(encoding="utf-8"), re.DOTALL)
    assert text is not None
    file = tmp_path / name
    file.write_text(text.group(1), encoding="utf-8")
    reports = run_demo(file)
    assert {r.drive for r in reports} >= {turnout}
    for r in reports:
        assert not r.sparks and not r.dead_wheels
        # A loco inside loses all its pickups while the section changes over; the bench says so, and nothing else.
        assert {e.kind for e in r.other} <= ({"loco-lost"} if r.drive == turnout else set())
    feeds = {f.output: (f.before, f.after) for r in reports if r.drive == turnout for f in r.feeds}
    assert feeds.keys() == {f"{section}.R1", f"{section}.R2"}
    assert all(before != after for before, after in feeds.values())
    assert feeds[f"{section}.R1"] == feeds[f"{section}.R2"][::-1]
