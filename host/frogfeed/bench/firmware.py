"""Which firmware files go onto a virtual board: this project's, from the source tree or the installed package."""

from __future__ import annotations

import contextlib
import importlib.util
import shutil
from pathlib import Path

from frogfeed.bench.errors import BenchError


def firmware_folder() -> tuple[Path, Path]:
    """(main.py, the package folder frogboard). Raises BenchError where the installation lacks them."""
    spec = importlib.util.find_spec("frogboard")
    if spec is None or not spec.submodule_search_locations:
        raise BenchError("the firmware package frogboard is not installed: reinstall frogfeed")
    package = Path(next(iter(spec.submodule_search_locations)))
    for main in (package.parent / "main.py", Path(__file__).parents[1] / "_shipped" / "firmware" / "main.py"):
        if main.is_file():
            return main, package
    raise BenchError("the firmware's main.py is missing: reinstall frogfeed")


def put_firmware(root: Path, source: Path | None = None) -> None:
    """Copy the firmware onto a board's (folder of) files. `source` is a folder with a main.py of its own, for tests."""
    if source is not None:
        shutil.copytree(source, root, dirs_exist_ok=True, ignore=shutil.ignore_patterns("__pycache__"))
        return
    main, package = firmware_folder()
    shutil.copy(main, root / "main.py")
    shutil.copytree(
        package, root / "frogboard", dirs_exist_ok=True, ignore=shutil.ignore_patterns("__pycache__", "*.pyi")
    )


BLOCK, PAGE, READ, LOOKAHEAD, CACHE = 4096, 256, 32, 32, 1024
"""The littlefs geometry of the MicroPython port for these chips."""


def make_image(root: Path, image: Path, blocks: int) -> None:
    """Put a folder's files on a littlefs image of so many blocks. Raises BenchError where they don't fit."""
    from littlefs import LittleFS, LittleFSError

    disk = LittleFS(
        block_size=BLOCK, block_count=blocks, prog_size=PAGE, read_size=READ, lookahead_size=LOOKAHEAD, cache_size=CACHE
    )
    try:
        for path in sorted(root.rglob("*")):
            name = path.relative_to(root).as_posix()
            if path.is_dir():
                with contextlib.suppress(FileExistsError):
                    disk.mkdir(name)
            else:
                with disk.open(name, "wb") as file:
                    file.write(path.read_bytes())
    except LittleFSError as problem:
        raise BenchError(f"the files do not fit on a flash of {blocks} blocks: {problem}") from problem
    image.write_bytes(bytes(disk.context.buffer))
