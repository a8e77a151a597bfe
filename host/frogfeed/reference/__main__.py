"""Write the reference pages into a folder: `python -m frogfeed.reference docs/reference`."""

from __future__ import annotations

import sys
from pathlib import Path

from frogfeed.reference.pages import PAGES


def write(folder: Path) -> list[Path]:
    """Write every page into `folder`, which is made if need be; returns their paths. Raises OSError."""
    folder.mkdir(parents=True, exist_ok=True)
    written = []
    for name, page in PAGES.items():
        path = folder / name
        path.write_text(page(), encoding="utf-8")
        written.append(path)
    return written


if __name__ == "__main__":
    for done in write(Path(sys.argv[1] if len(sys.argv) > 1 else "docs/reference")):
        print(done)
