from __future__ import annotations

import shutil
import sys
from pathlib import Path

import pytest

HERE = Path(__file__).parent
PLAIN = HERE / "plain"
FIRMWARE = HERE.parents[1] / "firmware"


@pytest.fixture
def micropython() -> str:
    """The real MicroPython, where this platform has one."""
    found = shutil.which("micropython", path=str(Path(sys.executable).parent)) or shutil.which("micropython")
    if found is None:
        pytest.skip("no MicroPython for this platform")
    return found
