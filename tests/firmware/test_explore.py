"""The walk through every state, further than in the ordinary run. `-s` shows how many states it saw."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest

HERE = Path(__file__).parent
PLAIN = HERE / "plain"
FIRMWARE = HERE.parents[1] / "firmware"

WALK = """
import sys
sys.path.insert(0, sys.argv[1])
sys.path.insert(0, sys.argv[2])
import case_explore
case_explore.DEPTH = int(sys.argv[4])
getattr(case_explore, sys.argv[3])()
"""

TO_THE_END = 1000
"""Deeper than the deepest: the walk ends where there are no more states."""


@pytest.mark.slow
@pytest.mark.timeout(3600)
@pytest.mark.parametrize(
    ("walk", "depth", "long_depth"),
    [
        ("test_a_servo_and_a_pair", 24, TO_THE_END),
        ("test_two_servos_share_a_feed", 18, 36),
        ("test_a_changeover_behind_an_enable", 20, 30),
        ("test_bonded_blades_and_outputs_without_an_off", 12, 20),
        ("test_latching_and_changeover_in_one_group", 22, 40),
        ("test_three_asleep_behind_one_enable_are_as_if_awake", 8, 10),
        ("test_a_hand_thrown_turnout_and_a_selector", 8, 13),
    ],
)
def test_far(walk: str, depth: int, long_depth: int, longer: int) -> None:
    """Every state that so many events lead to; with FROGFEED_LONG=1 many more, or all that there are."""
    done = subprocess.run(
        [sys.executable, "-c", WALK, str(FIRMWARE), str(PLAIN), walk, str(depth if longer == 1 else long_depth)],
        capture_output=True,
        text=True,
        timeout=280 if longer == 1 else 3500,
        check=False,
    )
    print(done.stdout)
    assert done.returncode == 0, done.stdout + done.stderr
