"""Files that travel beside the package: firmware and board profiles, in the source tree or in a wheel."""

from __future__ import annotations

import importlib.util
from pathlib import Path

_PACKAGE = Path(__file__).resolve().parent
_SHIPPED = _PACKAGE / "_shipped"
_TREE = _PACKAGE.parent.parent


class ShippedError(Exception):
    """A file that belongs to the installation is missing."""


def _find(in_tree: Path, in_wheel: Path) -> Path:
    for path in (in_tree, in_wheel):
        if path.exists():
            return path
    raise ShippedError(
        f"{in_wheel.name} is part of frogfeed but is neither {in_tree} nor {in_wheel}: install frogfeed again"
    )


def boards_dir() -> Path:
    """The folder of board profiles, one TOML file a profile. Raises ShippedError where there is none."""
    return _find(_TREE / "hardware" / "boards", _SHIPPED / "boards")


def firmware_main() -> Path:
    """The firmware's main.py, which a board runs at start. Raises ShippedError where there is none."""
    return _find(_TREE / "firmware" / "main.py", _SHIPPED / "firmware" / "main.py")


def firmware_package() -> Path:
    """The folder of the firmware's package frogboard. Raises ShippedError where there is none."""
    spec = importlib.util.find_spec("frogboard")
    origin = spec.origin if spec is not None else None
    if origin is None:
        raise ShippedError("the firmware package frogboard has no files: install frogfeed again")
    return Path(origin).resolve().parent
