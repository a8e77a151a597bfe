"""What is printed to a full disk ends with a word about it, not with a stack of calls."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest

FULL = Path("/dev/full")


@pytest.mark.parametrize("words", [["--help"], ["demo"], ["schema"]])
def test_a_full_disk_is_told(words: list[str]) -> None:
    if not FULL.exists():
        return  # only where the system has a device that is always full
    with FULL.open("w") as full:
        done = subprocess.run(
            [sys.executable, "-c", "from frogfeed.cli import main; main()", *words],
            stdout=full,
            stderr=subprocess.PIPE,
            text=True,
            timeout=120,
            check=False,
        )
    assert done.returncode == 2
    assert done.stderr == "No room for the output: the disk is full. Make room, or send it elsewhere.\n"
