"""What comes packed is unpacked: a zlib stream (RFC 1950), by the interpreter's own `deflate`. No hardware."""

import io

if False:
    from typing import Any


def _find() -> "Any":
    """The module, or None: in CPython, and in a MicroPython built without it. The laptop then packs nothing."""
    try:
        return __import__("deflate")
    except ImportError:
        return None


_DEFLATE = _find()

WINDOW_BITS = 12
"""The laptop packs with a window of no more than 4 KB: so much memory is needed to unpack."""


def able() -> bool:
    """Whether this interpreter can."""
    return _DEFLATE is not None


def unpack(data: "bytes | bytearray", size: int) -> bytearray:
    """The `size` bytes that were packed. Raises ValueError where these are not exactly that; takes no more memory."""
    out = bytearray(size)
    view = memoryview(out)
    try:
        stream = _DEFLATE.DeflateIO(io.BytesIO(data), _DEFLATE.ZLIB, WINDOW_BITS)
        at = 0
        while at < size:
            got = stream.readinto(view[at:])
            if not got:
                break
            at += got
        if at < size or stream.read(1):
            raise ValueError("not %d bytes" % size)
    except (OSError, EOFError):
        raise ValueError("not a packed stream")
    return out
