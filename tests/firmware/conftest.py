from __future__ import annotations

import os
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


@pytest.fixture
def longer() -> int:
    """How many times as far the long walks go: 1, or 10 where the environment has FROGFEED_LONG=1."""
    return 10 if os.environ.get("FROGFEED_LONG", "0") not in ("", "0") else 1
