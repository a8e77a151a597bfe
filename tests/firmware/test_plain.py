"""The firmware's own tests, under this interpreter and, whole, under the real MicroPython."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest

HERE = Path(__file__).parent
PLAIN = HERE / "plain"
FIRMWARE = HERE.parents[1] / "firmware"
CASES = sorted(p.stem for p in PLAIN.glob("case_*.py"))


def run(interpreter: list[str], case: str, folder: Path) -> str:
    done = subprocess.run(
        [*interpreter, str(PLAIN / "runner.py"), str(PLAIN), str(FIRMWARE), case],
        cwd=folder,
        capture_output=True,
        text=True,
        timeout=280,
        check=False,
    )
    assert done.returncode == 0, done.stdout + done.stderr
    return done.stdout


@pytest.mark.parametrize("case", CASES)
def test_under_cpython(case: str, tmp_path: Path) -> None:
    assert "failed 0" in run([sys.executable], case, tmp_path)


@pytest.mark.parametrize("case", CASES)
def test_under_micropython(case: str, tmp_path: Path, micropython: str) -> None:
    heap = ["-X", "heapsize=96M"] if case in ("case_explore", "case_flash") else []
    assert "failed 0" in run([micropython, *heap], case, tmp_path)
