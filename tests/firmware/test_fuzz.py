"""A million damaged lines, under the real MicroPython, which is the faster one here."""

from __future__ import annotations

import subprocess
from pathlib import Path

import pytest

HERE = Path(__file__).parent
PLAIN = HERE / "plain"
FIRMWARE = HERE.parents[1] / "firmware"

FUZZ = """
import sys
sys.path.insert(0, sys.argv[1])
sys.path.insert(0, sys.argv[2])
import case_fuzz
case_fuzz.COUNT = 1000000
case_fuzz.test_damaged_lines()
"""


@pytest.mark.slow
def test_a_million_damaged_lines(micropython: str, tmp_path: Path) -> None:
    (tmp_path / "fuzz.py").write_text(FUZZ)
    done = subprocess.run(
        [micropython, "fuzz.py", str(FIRMWARE), str(PLAIN)],
        cwd=tmp_path,
        capture_output=True,
        text=True,
        timeout=290,
        check=False,
    )
    print(done.stdout)
    assert done.returncode == 0, done.stdout + done.stderr
