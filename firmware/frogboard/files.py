"""Whole-or-old files below one folder, with nothing but open, close, rename and remove.

`replace` writes a new file, closes it, and renames it over the old one: on littlefs the data is in flash when close
returns and the rename is one commit, so whenever the power goes there is the old file or the new one, whole.
"""

import binascii
import os

_rename = getattr(os, "replace", os.rename)
"""CPython on some systems does not rename over a file; its `replace` does."""


def join(root: str, name: str) -> str:
    """The path of `name` below `root` ("" is the current folder)."""
    return root + "/" + name if root else name


def read(path: str) -> "bytes | None":
    """All bytes of a file, or None where it can't be read."""
    try:
        with open(path, "rb") as file:
            data: bytes = file.read()
            return data
    except OSError:
        return None


def part(path: str, at: int, count: int) -> "bytes | None":
    """At most `count` bytes of a file from byte `at` on, or None where it can't be read."""
    try:
        with open(path, "rb") as file:
            file.seek(at)
            data: bytes = file.read(count)
            return data
    except OSError:
        return None


def measure(path: str) -> "tuple[int, int] | None":
    """(size, CRC-32) of a file, read in pieces because memory is short; None where it can't be read."""
    block = bytearray(256)
    size = crc = 0
    try:
        with open(path, "rb") as file:
            while True:
                got = file.readinto(block)
                if not got:
                    return size, crc & 0xFFFFFFFF
                crc = binascii.crc32(memoryview(block)[:got], crc)
                size += got
    except OSError:
        return None


def replace(path: str, data: "bytes | bytearray | memoryview") -> None:
    """Put `data` in the place of the file's contents, all or nothing. Raises OSError; the old file is then there."""
    new = path + ".new"
    with open(new, "wb") as file:
        file.write(data)
        file.flush()
    _rename(new, path)


def remove(path: str) -> bool:
    """Remove a file. False where there was none."""
    try:
        os.remove(path)
    except OSError:
        return False
    return True


def is_dir(path: str) -> bool:
    """Whether `path` is a folder."""
    try:
        return bool(os.stat(path)[0] & 0x4000)
    except OSError:
        return False


def make_dir(path: str) -> None:
    """Make a folder; nothing where it is there already. Raises OSError where it can't."""
    if not is_dir(path):
        os.mkdir(path)
