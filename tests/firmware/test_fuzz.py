"""A million damaged lines, under the real MicroPython, which is the faster one here."""

from __future__ import annotations

import subprocess
from pathlib import Path

import pytest

HERE = Path(__file__).parent
PLAIN = HERE / "plain"
FIRMWARE = HERE.parents[1] / "firmware"

COUNT = 1_000_000
PARTS = 2
"""Processes side by side, each with its own seed and its share of the lines."""

FUZZ = """
import sys
sys.path.insert(0, sys.argv[1])
sys.path.insert(0, sys.argv[2])
import case_fuzz
print(*case_fuzz.mutate(int(sys.argv[3]), int(sys.argv[4])))
"""


@pytest.mark.slow
def test_a_million_damaged_lines(micropython: str, tmp_path: Path, longer: int) -> None:
    """None is taken for another, and no CRC fits that should not."""
    (tmp_path / "fuzz.py").write_text(FUZZ)
    share = COUNT * longer // PARTS
    running = [
        subprocess.Popen(
            [micropython, "fuzz.py", str(FIRMWARE), str(PLAIN), str(share), str(seed)],
            cwd=tmp_path,
            stdout=subprocess.PIPE,
            stderr=subprocess.STDOUT,
            text=True,
        )
        for seed in range(1, PARTS + 1)
    ]
    try:
        said = [process.communicate(timeout=290)[0] for process in running]
    finally:
        for process in running:
            process.kill()
            process.wait()
    assert all(process.returncode == 0 for process in running), said
    count, taken, commands = (sum(numbers) for numbers in zip(*(map(int, s.split()) for s in said), strict=True))
    print(f"{count} damaged lines: the CRC fits {taken}, {commands} of them requests")
    assert count == COUNT * longer
    assert taken == commands == 0
