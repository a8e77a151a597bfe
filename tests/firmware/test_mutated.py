"""Settings changed in ten thousand ways, under this interpreter and the real MicroPython. `-s` shows the counts."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest

HERE = Path(__file__).parent
PLAIN = HERE / "plain"
FIRMWARE = HERE.parents[1] / "firmware"
COUNT = 10_000
COUNT_UNDER_MICROPYTHON = 2_500
"""It is the slower one at this; the same ways, a quarter as often."""

MUTATE = """
import sys
sys.path.insert(0, sys.argv[1])
sys.path.insert(0, sys.argv[2])
import case_mutated
refused, taken = case_mutated.mutate(int(sys.argv[3]), int(sys.argv[4]))
print(refused, taken)
"""


def mutate(interpreter: str, folder: Path, count: int, seed: int) -> None:
    (folder / "mutate.py").write_text(MUTATE)
    done = subprocess.run(
        [interpreter, "mutate.py", str(FIRMWARE), str(PLAIN), str(count), str(seed)],
        cwd=folder,
        capture_output=True,
        text=True,
        timeout=290,
        check=False,
    )
    assert done.returncode == 0, done.stdout + done.stderr
    refused, taken = (int(word) for word in done.stdout.split())
    print(f"{count} changed settings: {refused} refused with their key named, {taken} taken and harmless")
    assert refused + taken == count and refused > count // 2 and taken > count // 20


@pytest.mark.slow
def test_ten_thousand_under_cpython(tmp_path: Path, longer: int) -> None:
    mutate(sys.executable, tmp_path, COUNT * longer, 11)


@pytest.mark.slow
def test_some_under_micropython(micropython: str, tmp_path: Path, longer: int) -> None:
    mutate(micropython, tmp_path, COUNT_UNDER_MICROPYTHON * longer, 12)
