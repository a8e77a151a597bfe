"""Writing a file whole or not at all: a temporary file beside it, flushed to the disk, then renamed."""

from __future__ import annotations

import contextlib
import os
import tempfile
from pathlib import Path


def replace_file(path: Path, data: bytes) -> None:
    """Replace the file at `path` (through a symbolic link, its target), keeping its permissions.

    After a crash at any moment the file is the old one or the new one, whole. Raises OSError.
    """
    target = path.resolve()
    temporary = _written(target, data)
    try:
        if target.exists():
            temporary.chmod(target.stat().st_mode & 0o7777)
        else:
            temporary.chmod(0o666 & ~_umask())
        temporary.replace(target)
    except BaseException:
        temporary.unlink(missing_ok=True)
        raise
    _flush_folder(target.parent)


def create_file(path: Path, data: bytes) -> None:
    """Write a new file. Raises FileExistsError where there is one, whoever made it and when; OSError otherwise."""
    temporary = _written(path, data)
    try:
        temporary.chmod(0o666 & ~_umask())
        _claim(temporary, path)
    finally:
        temporary.unlink(missing_ok=True)
    _flush_folder(path.parent)


def _claim(temporary: Path, path: Path) -> None:
    """Give the written file its name, which must be free; where links are not to be had, claim the name first."""
    try:
        os.link(temporary, path)
    except FileExistsError:
        raise
    except OSError:
        path.open("xb").close()
        try:
            temporary.replace(path)
        except BaseException:
            path.unlink(missing_ok=True)
            raise


def _written(target: Path, data: bytes) -> Path:
    handle, name = tempfile.mkstemp(prefix=f".{target.name}.", suffix=".tmp", dir=target.parent)
    temporary = Path(name)
    try:
        with os.fdopen(handle, "wb") as file:
            file.write(data)
            file.flush()
            os.fsync(file.fileno())
    except BaseException:
        temporary.unlink(missing_ok=True)
        raise
    return temporary


def _umask() -> int:
    """The process's file mode mask; it can only be read by setting it."""
    mask = os.umask(0o077)
    os.umask(mask)
    return mask


def _flush_folder(folder: Path) -> None:
    """Flush the folder's own entry, where the platform can."""
    with contextlib.suppress(OSError):
        handle = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)
