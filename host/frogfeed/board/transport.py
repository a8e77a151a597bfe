"""Bytes to and from a board. `Transport` is all that the client knows of a port.

In: a port name (a serial device or a pty's path), or anything that steps a simulated board.
Out: `Transport` objects. Every wait has a limit, counted in the transport's own time, so the same client
works against a board in real time and against a simulated one in virtual time.
"""

from __future__ import annotations

import contextlib
import errno
import math
import os
import time
from collections.abc import Callable
from typing import Protocol

import serial

from frogfeed.board.errors import NoPort, PortBusy, PortStalled, PortVanished

__all__ = ["Opener", "SerialTransport", "Stepped", "SteppedTransport", "Transport", "open_serial"]

BAUD = 115200
"""Any rate does for USB; 1200 is special to some boards (they leap into the bootloader when it closes)."""

WRITE_LIMIT_S = 2.0


class Transport(Protocol):
    """A two-way stream of bytes with limited waits."""

    @property
    def name(self) -> str:
        """What to call this port in messages."""
        ...

    def read(self, timeout_s: float) -> bytes:
        """Whatever has arrived; waits up to `timeout_s` for a first byte; b"" if none came.

        Raises PortVanished if the port is gone.
        """
        ...

    def write(self, data: bytes) -> None:
        """Send all of `data`. Raises PortVanished, or PortStalled if nobody takes it."""
        ...

    def now_s(self) -> float:
        """A clock that never goes back, in seconds: the time that `read` waits in."""
        ...

    def wait(self, seconds: float) -> None:
        """Let `seconds` go by."""
        ...

    def close(self) -> None:
        """Give the port back. May be called twice."""
        ...


Opener = Callable[[], Transport]
"""Opens the port anew: called at the start and after every disappearance. Raises NoPort or PortBusy."""


class SerialTransport:
    """A real serial port, or a pty, through pyserial.

    Opening does not reset boards: both modem lines are raised together, as the operating system does by
    itself, and neither is moved alone afterwards (on boards with an automatic-reset circuit only the two
    lines in opposite states reset; from memory of such circuits). A board with native USB needs DTR
    raised, since it holds back its output until a listener is there.
    """

    def __init__(self, port: serial.Serial) -> None:
        self._port = port
        self._name = str(port.port)

    @property
    def name(self) -> str:
        """The device's path or name."""
        return self._name

    def read(self, timeout_s: float) -> bytes:
        """See `Transport.read`."""
        timeout = max(0.0, timeout_s)
        try:
            waiting = self._port.in_waiting
            if not waiting:
                if self._port.timeout != timeout:
                    self._port.timeout = timeout
                first: bytes = self._port.read(1)
                if not first:
                    return b""
                waiting = self._port.in_waiting
                return first + self._port.read(waiting) if waiting else first
            return bytes(self._port.read(waiting))
        except (OSError, TypeError, ValueError) as problem:
            raise self._vanished(problem) from problem

    def write(self, data: bytes) -> None:
        """See `Transport.write`; waits at most 2 s for the other end to take the bytes."""
        try:
            self._port.write(data)
        except serial.SerialTimeoutException as problem:
            raise PortStalled(
                "the port takes no more bytes",
                where=self._name,
                why="the board has stopped reading, or the port belongs to something else",
                cure="press the board's reset, or unplug it and plug it in again, then repeat the command",
            ) from problem
        except (OSError, TypeError, ValueError) as problem:
            raise self._vanished(problem) from problem

    def now_s(self) -> float:
        """Seconds of the system's monotonic clock."""
        return time.monotonic()

    def wait(self, seconds: float) -> None:
        """Sleep."""
        time.sleep(max(0.0, seconds))

    def close(self) -> None:
        """Close the port; errors of a port that is gone already are of no interest."""
        with contextlib.suppress(OSError):
            self._port.close()

    def _vanished(self, problem: Exception) -> PortVanished:
        return PortVanished(
            "the port went away",
            where=self._name,
            why=f"the cable came out, the board was reset, or the other end closed ({problem})",
            cure="check the cable and plug it in again; the command takes up where it was",
        )


def open_serial(device: str) -> SerialTransport:
    """Open `device` (any serial port, a pty's path included) for this program alone.

    Raises NoPort if there is none, PortBusy if another program has it or access is denied.
    """
    port = serial.Serial()
    port.port = device
    port.baudrate = BAUD
    port.timeout = 0
    port.write_timeout = WRITE_LIMIT_S
    port.dtr = True
    port.rts = True
    if os.name == "posix":
        port.exclusive = True
    try:
        port.open()
    except (OSError, ValueError) as problem:
        raise _cannot_open(device, problem) from problem
    return SerialTransport(port)


def _cannot_open(device: str, problem: Exception) -> NoPort | PortBusy:
    number = getattr(problem, "errno", None)
    text = str(problem)
    missing = number in (errno.ENOENT, errno.ENXIO, errno.ENODEV, errno.EIO, errno.ENOTDIR)
    if missing or "FileNotFoundError" in text:
        return NoPort(
            "there is no such port",
            where=device,
            why="no board is plugged in under this name",
            cure="`frogfeed boards` lists what is plugged in; some cables carry power only: try another",
        )
    if number == errno.EACCES or "PermissionError" in text or "Permission denied" in text:
        return PortBusy(
            "this port may not be opened",
            where=device,
            why="access is denied, or another program holds it",
            cure="close other programs that use it; on Linux your user may have to join the group that owns "
            f"the port (`ls -l {device}` shows it; often dialout)",
        )
    if "lock" in text or number in (errno.EBUSY, errno.EAGAIN, errno.EWOULDBLOCK):
        return PortBusy(
            "another program has this port open",
            where=device,
            why="two programs on one port would each get half of every message",
            cure="close the other program (a terminal, a console or a second frogfeed), then try again",
        )
    return NoPort(
        "this port cannot be opened",
        where=device,
        why=text,
        cure="`frogfeed boards` lists the ports that can be; is this one a serial port?",
    )


class Stepped(Protocol):
    """A simulated board with a serial side, which moves only when it is told to.

    `read` and `write` may raise OSError while its cable is out.
    """

    def write(self, data: bytes) -> object:
        """Bytes for the board."""
        ...

    def read(self) -> bytes:
        """All that the board has sent so far and that has not been read; b"" if nothing."""
        ...

    def advance(self, ms: int) -> object:
        """Let `ms` milliseconds of the board's time go by."""
        ...


class SteppedTransport:
    """A `Transport` over a `Stepped` board: waiting is what makes the board's time go by."""

    def __init__(self, device: Stepped, *, name: str = "simulated", step_ms: int = 5) -> None:
        self._device = device
        self._name = name
        self._step_ms = step_ms
        self._now_ms = 0

    @property
    def name(self) -> str:
        """The name given at the start."""
        return self._name

    def read(self, timeout_s: float) -> bytes:
        """See `Transport.read`; steps the board until it says something or the time is up."""
        end_ms = self._now_ms + max(0, math.ceil(timeout_s * 1000))
        while True:
            try:
                data = self._device.read()
            except OSError as problem:
                raise PortVanished("the simulated cable is out", where=self._name) from problem
            if data or self._now_ms >= end_ms:
                return data
            self._step(min(self._step_ms, end_ms - self._now_ms))

    def write(self, data: bytes) -> None:
        """Hand `data` to the board."""
        try:
            self._device.write(data)
        except OSError as problem:
            raise PortVanished("the simulated cable is out", where=self._name) from problem

    def now_s(self) -> float:
        """The board's time in seconds since this transport was made."""
        return self._now_ms / 1000

    def wait(self, seconds: float) -> None:
        """Let the board run for `seconds`; what it sends stays to be read."""
        end_ms = self._now_ms + max(0, math.ceil(seconds * 1000))
        while self._now_ms < end_ms:
            self._step(min(self._step_ms, end_ms - self._now_ms))

    def close(self) -> None:
        """Nothing to give back."""

    def _step(self, ms: int) -> None:
        self._device.advance(ms)
        self._now_ms += ms
