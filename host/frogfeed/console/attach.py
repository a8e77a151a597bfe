"""How a terminal finds a console that runs on the same layout file: a note in the user's own run folder.

The note holds the operator's key, so only its owner can read it, and it goes when the console ends.
"""

from __future__ import annotations

import contextlib
import hashlib
import json
import os
import stat
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from frogfeed.console.refusals import RefusedError
from frogfeed.console.seat import AttachedSeat


def run_folder() -> Path:
    """A folder that only this user can use. Raises RefusedError where somebody else made it."""
    stated = os.environ.get("XDG_RUNTIME_DIR")
    own = os.getuid() if hasattr(os, "getuid") else 0
    folder = Path(stated) / "frogfeed" if stated else Path(tempfile.gettempdir()) / f"frogfeed-{own}"
    try:
        folder.mkdir(mode=0o700, exist_ok=True)
        found = folder.lstat()
    except OSError as problem:
        raise RefusedError(f"{folder} cannot be used: {problem.strerror}") from problem
    if os.name == "posix" and (not stat.S_ISDIR(found.st_mode) or found.st_uid != own or found.st_mode & 0o077):
        raise RefusedError(
            f"{folder} is not this user's alone", "somebody else could read the console's key there", "remove it"
        )
    return folder


def note_of(layout: Path) -> Path:
    """The note of the console that runs on this layout file."""
    name = hashlib.sha256(str(layout.resolve()).encode("utf-8")).hexdigest()[:24]
    return run_folder() / f"console-{name}.json"


@contextmanager
def advertised(layout: Path, host: str, port: int, key: str) -> Iterator[None]:
    """Leave a note while the console runs. Without a run folder there is none, and the console runs all the same."""
    try:
        note = note_of(layout)
        with contextlib.suppress(FileNotFoundError):
            note.unlink()
        handle = os.open(note, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
        with os.fdopen(handle, "w", encoding="utf-8") as file:
            json.dump({"host": host, "port": port, "key": key, "pid": os.getpid()}, file)
    except (RefusedError, OSError):
        yield
        return
    try:
        yield
    finally:
        with contextlib.suppress(OSError, ValueError):
            if json.loads(note.read_text(encoding="utf-8")).get("pid") == os.getpid():
                note.unlink()


def attach(layout: Path) -> AttachedSeat | None:
    """A seat at the console that runs on this layout file; None where none does."""
    try:
        found = json.loads(note_of(layout).read_text(encoding="utf-8"))
        return AttachedSeat(str(found["host"]), int(found["port"]), str(found["key"]))
    except (RefusedError, OSError, ValueError, KeyError, TypeError):
        return None
