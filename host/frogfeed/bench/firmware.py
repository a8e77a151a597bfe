"""Which firmware files go onto a virtual board: this project's, from the source tree or the installed package."""

from __future__ import annotations

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
