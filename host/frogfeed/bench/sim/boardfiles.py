"""A look at the board's own files."""

import binascii
import os


def has_settings(folder: str = ".") -> bool:
    """Whether a file of the board's holds a sealed settings document: its first key is the CRC of the rest."""
    for name in os.listdir(folder):
        path = folder + "/" + name
        try:
            if os.stat(path)[0] & 0x4000:
                if name != "frogboard" and has_settings(path):
                    return True
                continue
            with open(path, "rb") as f:
                head = f.read(20)
                if head[:10] != b'{"crc32":"':
                    continue
                if b"%08x" % (binascii.crc32(f.read()) & 0xFFFFFFFF) == head[10:18]:
                    return True
        except OSError:
            continue
    return False
