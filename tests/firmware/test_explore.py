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
case_explore.MOST = int(sys.argv[4])
getattr(case_explore, sys.argv[3])()
"""


@pytest.mark.slow
@pytest.mark.parametrize(
    "walk",
    [
        "test_a_servo_and_a_pair",
        "test_two_servos_share_a_feed",
        "test_a_changeover_behind_an_enable",
        "test_bonded_blades_and_outputs_without_an_off",
        "test_latching_and_changeover_in_one_group",
        "test_a_hand_thrown_turnout_and_a_selector",
    ],
)
def test_far(walk: str, longer: int) -> None:
    done = subprocess.run(
        [sys.executable, "-c", WALK, str(FIRMWARE), str(PLAIN), walk, str(4000 * longer)],
        capture_output=True,
        text=True,
        timeout=280,
        check=False,
    )
    print(done.stdout)
    assert done.returncode == 0, done.stdout + done.stderr
