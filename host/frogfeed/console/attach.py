"""How a terminal finds the consoles that run: each leaves a note in the user's own run folder.

A note holds the operator's key, so only its owner can read it, and it goes when the console ends.
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
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from frogfeed.console.refusals import RefusedError
from frogfeed.console.seat import AttachedSeat, wait_for

MOST_BYTES = 4096
"""Longest note that is read."""
SETTLE_S = 60.0
"""How long a console that has only just begun is given to greet its boards."""


@dataclass(frozen=True, slots=True)
class Running:
    """A console that left a note: on which layout file, where it listens, its process, and the operator's key."""

    layout: Path
    host: str
    port: int
    pid: int
    key: str = field(repr=False)

    def __str__(self) -> str:
        """For a person; without the key."""
        shown = f"[{self.host}]" if ":" in self.host else self.host
        return f"the console on {self.layout.name} at http://{shown}:{self.port} (process {self.pid})"

    def sit(self) -> AttachedSeat:
        """A seat at it. Raises RefusedError where it does not answer any more."""
        return AttachedSeat(self.host, self.port, self.key)


@dataclass(frozen=True, slots=True)
class Held:
    """A board that answers at a running console, on a port that the console has open."""

    console: Running
    board: str
    id: str
    port: str


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


def note_of(layout: Path, port: int) -> Path:
    """The note of the console that runs on this layout file and listens on this port."""
    return run_folder() / f"console-{_mark(layout)}-{port}.json"


def _mark(layout: Path) -> str:
    return hashlib.sha256(str(layout.resolve()).encode("utf-8")).hexdigest()[:24]


@contextmanager
def advertised(layout: Path, host: str, port: int, key: str) -> Iterator[None]:
    """Leave a note while the console runs. Without a run folder there is none, and the console runs all the same."""
    try:
        note = note_of(layout, port)
        with contextlib.suppress(FileNotFoundError):
            note.unlink()
        handle = os.open(note, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
        with os.fdopen(handle, "w", encoding="utf-8") as file:
            told = {"layout": str(layout.resolve()), "host": host, "port": port, "key": key, "pid": os.getpid()}
            json.dump(told, file)
    except (RefusedError, OSError):
        yield
        return
    try:
        yield
    finally:
        with contextlib.suppress(OSError, ValueError):
            if json.loads(note.read_text(encoding="utf-8")).get("pid") == os.getpid():
                note.unlink()


def running(layout: Path | None = None) -> tuple[Running, ...]:
    """The consoles that left a note, the newest first; only those on this layout file where one is named."""
    try:
        notes = list(run_folder().glob(f"console-{'*' if layout is None else _mark(layout)}-*.json"))
        notes.sort(key=lambda n: n.lstat().st_mtime_ns, reverse=True)
    except (RefusedError, OSError):
        return ()
    return tuple(found for note in notes if (found := _read(note)) is not None)


def attach(layout: Path) -> AttachedSeat | None:
    """A seat at the console that runs on this layout file; None where none does."""
    for console in running(layout):
        with contextlib.suppress(RefusedError):
            return console.sit()
    return None


@dataclass(frozen=True, slots=True)
class Seen:
    """What the running consoles have: boards that answer there, and consoles whose process lives but that do not."""

    boards: tuple[Held, ...]
    silent: tuple[Running, ...]


def look(layout: Path | None = None) -> Seen:
    """Every board that answers at a running console (on this layout file)."""
    found: list[Held] = []
    silent: list[Running] = []
    for console in running(layout):
        try:
            with contextlib.closing(console.sit()) as seat:
                boards = _boards_of(seat)
        except RefusedError:
            silent.append(console)
            continue
        up = {name: b for name, b in boards.items() if b.get("up") and b.get("port")}
        found += [Held(console, name, str(b.get("id")), str(b["port"])) for name, b in up.items()]
    return Seen(tuple(found), tuple(silent))


def _boards_of(seat: AttachedSeat) -> dict[str, Any]:
    """A console's boards, once it knows of each that it answers, with its settings, or is away."""
    wait_for(seat, lambda: not any(b.get("settling") for b in seat.section("boards").values()), SETTLE_S)
    return seat.section("boards")


def holder_of(device: str) -> Held | None:
    """The console that has this port open, with the board that answers there; None where none does."""
    real = os.path.realpath(device)
    return next((h for h in look().boards if os.path.realpath(h.port) == real), None)


def _read(note: Path) -> Running | None:
    """A note's content; None where it is not this user's own file, or its console ended without taking it away."""
    try:
        handle = os.open(note, os.O_RDONLY | getattr(os, "O_NOFOLLOW", 0))
        with os.fdopen(handle, "rb") as file:
            found = os.fstat(file.fileno())
            if os.name == "posix" and (found.st_uid != os.getuid() or found.st_mode & 0o077):
                return None
            told = json.loads(file.read(MOST_BYTES))
        console = Running(
            Path(str(told["layout"])), str(told["host"]), int(told["port"]), int(told["pid"]), str(told["key"])
        )
    except (OSError, ValueError, KeyError, TypeError, RecursionError):
        return None
    if _ended(console.pid):
        with contextlib.suppress(OSError):
            note.unlink()
        return None
    return console


def _ended(pid: int) -> bool:
    if os.name != "posix":
        return False
    try:
        os.kill(pid, 0)
    except ProcessLookupError:
        return True
    except OSError:
        return False
    return False
