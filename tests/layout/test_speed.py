"""Reading keeps pace with the TOML reader it is built on: in proportion, and no worse for ten times the turnouts."""

from __future__ import annotations

import time
import tomllib
from collections.abc import Callable

import pytest

from frogfeed.layout.reading import read_layout_text

MOST_TIMES_TOML = 8.0
"""About 4.5 on an idle machine; the rest is for a busy one."""


def railway(turnouts: int) -> str:
    """A long main line of turnouts, each with a siding, fed and gapped."""
    rows = ['[layout]\nname = "Long"\ngauge = "OO"\ncontrol = "dcc"\n\n[district.main]\n']
    rows += [f'[turnout.T{i}]\nstate = "isolated-frog"\n' for i in range(turnouts)]
    rows += [f'[place.{name}]\nkind = "buffer"\n' for name in ("west", "east", *(f"p{i}" for i in range(turnouts)))]
    main = ['"west"']
    for i in range(turnouts):
        main += [f'"T{i}.toe", "T{i}.left"', '"|", { feed = "main", left = "A" }, { mm = 300 }']
    rows.append("[lines]\nmain = [\n  " + ",\n  ".join([*main, '"east"']) + ",\n]")
    rows += [f'siding-{i} = ["T{i}.right", "|", "p{i}"]' for i in range(turnouts)]
    return "\n".join(rows) + "\n"


def best_s(work: Callable[[], object], times: int = 3) -> float:
    best = float("inf")
    for _ in range(times):
        started = time.process_time()
        work()
        best = min(best, time.process_time() - started)
    return best


@pytest.mark.slow
def test_ten_thousand_turnouts_read_in_proportion(record_property: Callable[[str, object], None]) -> None:
    small, large = railway(1_000), railway(10_000)
    small_s = best_s(lambda: read_layout_text(small, "small.toml"))
    large_s = best_s(lambda: read_layout_text(large, "large.toml"))
    small_ratio = small_s / best_s(lambda: tomllib.loads(small))
    large_ratio = large_s / best_s(lambda: tomllib.loads(large))
    for name, value in (("small_s", small_s), ("large_s", large_s), ("times_toml", large_ratio)):
        record_property(name, round(value, 3))
    assert large_ratio < MOST_TIMES_TOML
    assert large_ratio / small_ratio < 1.3
