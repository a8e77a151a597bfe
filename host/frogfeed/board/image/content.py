"""Which files a new board gets: firmware in its folder, the pointer, settings and the layout's text.

The store's files are written by the firmware's own store, so that their names and form are defined once.
"""

from __future__ import annotations

import re
import tempfile
from collections.abc import Mapping
from pathlib import Path

from frogboard import settings
from frogboard.store import Store
from frogfeed.board.errors import ImageError
from frogfeed.board.image.runtime import RuntimeInfo
from frogfeed.board.install.facts import OLDEST
from frogfeed.board.install.payload import Payload, firmware_sources, make_payload
from frogfeed.board.install.pointer import POINTER, Pointer

__all__ = ["board_files", "check_runtime_file", "payload_for"]

MPY_VERSION = 6
"""Bytecode version of every MicroPython from 1.19 to this day (from its list of bytecode versions)."""


def check_runtime_file(info: RuntimeInfo, *, name: str) -> None:
    """Raise ImageError where a runtime file says of itself that the firmware cannot run on it."""
    if info.program is not None and not info.is_micropython:
        raise ImageError(
            f"this is {info.program}, not MicroPython",
            where=name,
            why="the firmware is made for MicroPython",
            cure="download MicroPython's UF2 file for your board",
        )
    version = version_of(info)
    if version is not None and version < OLDEST:
        raise ImageError(
            f"MicroPython {info.version} is too old; the firmware needs {OLDEST[0]}.{OLDEST[1]} or later",
            where=name,
            cure="download a newer UF2 file for your board",
        )


def version_of(info: RuntimeInfo) -> tuple[int, int] | None:
    """(major, minor) of a runtime, or None where it does not say."""
    found = re.match(r"v?(\d+)\.(\d+)", info.version or "")
    return (int(found.group(1)), int(found.group(2))) if found else None


def payload_for(info: RuntimeInfo, sources: tuple[bytes, Mapping[str, bytes]] | None = None) -> Payload:
    """The firmware in the form that this runtime takes: bytecode where its version is known, else source."""
    main, files = sources or firmware_sources()
    return make_payload(main, files, MPY_VERSION if version_of(info) is not None else None)


def board_files(payload: Payload, document: bytes | None, layout_text: bytes | None) -> dict[str, bytes]:
    """{path on the board: content}. Without a document the board waits for its first push.

    Raises ImageError where the firmware would refuse the document.
    """
    files = {f"{payload.folder}/{path}": content for path, content in payload.files.items()}
    files["main.py"] = payload.main
    files[POINTER] = Pointer(payload.folder).text().encode("ascii")
    found = re.search(rb'^DATA = "([^"]+)"', payload.main, re.MULTILINE)
    data = found.group(1).decode("ascii") if found else "data"
    if document is not None:
        _, reason = settings.load(document)
        if reason is not None:
            raise ImageError(
                f"these settings are not valid: {reason}",
                why="the board would refuse them",
                cure="run `frogfeed check` and `frogfeed build` again",
            )
    with tempfile.TemporaryDirectory(prefix="frogfeed-image-") as folder:
        store = Store(folder)
        store.prepare()
        if layout_text is not None:
            store.commit_layout(layout_text)
        if document is not None:
            store.commit_settings(document)
        for path in sorted(Path(folder).iterdir()):
            files[f"{data}/{path.name}"] = path.read_bytes()
    return files
