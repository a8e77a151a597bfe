"""The pseudo terminal behind which a virtual board sits in real time."""

from __future__ import annotations

import contextlib
import os
import tty


class Terminal:
    """A raw pseudo terminal. The other end stays open here, so that programs may come and go."""

    def __init__(self) -> None:
        self.master, self._slave = os.openpty()
        tty.setraw(self._slave)
        os.set_blocking(self.master, False)
        self.path = os.ttyname(self._slave)

    def read(self) -> bytes:
        """What programs have written to the port."""
        try:
            return os.read(self.master, 4096)
        except (BlockingIOError, OSError):
            return b""

    def write(self, data: bytes) -> int:
        """Offer bytes to whatever program has the port open; how many found room."""
        try:
            return os.write(self.master, data)
        except BlockingIOError:
            return 0
        except OSError:
            return len(data)

    def close(self) -> None:
        """Close both ends: the port vanishes."""
        for fd in (self.master, self._slave):
            with contextlib.suppress(OSError):
                os.close(fd)
