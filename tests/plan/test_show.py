"""The plan in words: it fits a terminal, whatever the names and tables are."""

from __future__ import annotations

import re
from pathlib import Path

from click.testing import CliRunner

from frogfeed.cli import main

LONG = """
[layout]
name = "A place with long names"
gauge = "OO"
control = "dcc"
[district.harbour-and-quay]
volts = 16.0
[slip.between-shed-and-quay]
state = "isolated-frog"
[place]
west = { kind = "open" }
shed = { kind = "buffer" }
east = { kind = "open" }
dock = { kind = "buffer" }
[lines]
main = [
  "west", { feed = "harbour-and-quay", left = "A" }, "|right",
  "between-shed-and-quay.a.left", "between-shed-and-quay.b.left",
  "|left", { feed = "harbour-and-quay", left = "A" }, "east",
]
yard = [
  "shed", { feed = "harbour-and-quay", left = "A" }, "|left",
  "between-shed-and-quay.a.right", "between-shed-and-quay.b.right",
  "|right", { feed = "harbour-and-quay", left = "A" }, "dock",
]
"""


def test_every_line_fits_80_columns_and_no_word_is_lost(tmp_path: Path) -> None:
    file = tmp_path / "long.toml"
    file.write_text(LONG, encoding="utf-8")
    result = CliRunner().invoke(main, ["plan", str(file)])
    assert result.exit_code == 0, result.output
    assert max(len(line) for line in result.output.splitlines()) <= 80
    step = re.search(r"feed wire from between-shed-and-quay\.FA to B1 .*?(?=\n +\d+ )", result.output, re.DOTALL)
    assert step is not None
    assert " ".join(step[0].split()).partition(": ")[2] == (
        "harbour-and-quay.A when between-shed-and-quay-b is right; "
        "harbour-and-quay.B when between-shed-and-quay-b is left"
    )
    behind = step[0].splitlines()[1:]
    assert behind
    assert all(line.startswith(" " * 7) and line[7] != " " for line in behind)
