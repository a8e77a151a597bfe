"""Random histories of random boards, more of them than in the ordinary run of `case_boards`.

A failure names its history: `case_boards.failure(*case_boards.draw(number)[:2])` shows it again, and what
`case_boards.shortened` leaves of it is what a person wants to read.
"""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest

HERE = Path(__file__).parent
PLAIN = HERE / "plain"
FIRMWARE = HERE.parents[1] / "firmware"

RUN = """
import sys
sys.path.insert(0, sys.argv[1])
sys.path.insert(0, sys.argv[2])
import case_boards
first, count = int(sys.argv[3]), int(sys.argv[4])
print("histories", first, "to", first + count - 1, flush=True)
try:
    print("%d steps, %d trips, %d naps, %d documents refused" % case_boards.many(first, count))
except case_boards.Broken as broken:
    print(broken)
    doc, happens, _ = case_boards.draw(broken.number)
    for event in case_boards.shortened(doc, happens):
        print(event)
    sys.exit(1)
"""


BREAK = """
import sys
sys.path.insert(0, sys.argv[1])
sys.path.insert(0, sys.argv[2])
import case_boards
case_boards.ALL = {all}
case_boards.test_the_witness_finds_what_is_wrong()
"""


@pytest.mark.slow
@pytest.mark.timeout(3600)
def test_whatever_is_broken_on_purpose_is_found(longer: int) -> None:
    """What shows in one history of a thousand only takes minutes to find: that is for FROGFEED_LONG=1."""
    words = [sys.executable, "-c", BREAK.format(all=longer > 1), str(FIRMWARE), str(PLAIN)]
    done = subprocess.run(words, capture_output=True, text=True, timeout=3500, check=False)
    print(done.stdout)
    assert done.returncode == 0, done.stdout + done.stderr


@pytest.mark.slow
@pytest.mark.timeout(3600)
@pytest.mark.parametrize("first", [100_000, 200_000])
def test_far(first: int, longer: int) -> None:
    """Every rule after every step; with FROGFEED_LONG=1 many more histories."""
    count = 250 if longer == 1 else 15_000
    done = subprocess.run(
        [sys.executable, "-c", RUN, str(FIRMWARE), str(PLAIN), str(first), str(count)],
        capture_output=True,
        text=True,
        timeout=280 if longer == 1 else 3500,
        check=False,
    )
    print(done.stdout)
    assert done.returncode == 0, done.stdout + done.stderr
