"""The raw REPL of a board, through mpremote's own library, with a limit on every wait."""

from __future__ import annotations

import base64
import contextlib
import io
import json
import time
from collections.abc import Callable
from typing import Any, Protocol

import serial
from mpremote.transport import TransportError, TransportExecError
from mpremote.transport_serial import SerialTransport

from frogfeed.board.errors import InstallFailed, NoAnswer, NoPort, PortBusy, PortVanished
from frogfeed.board.transport import WRITE_LIMIT_S, open_serial

__all__ = ["Prompt", "Repl", "enter_prompt", "leave_prompt", "write_file"]

CHUNK = 768
"""Bytes of a file in one command, before base64."""
READ_LIMIT_S = 10.0
FIRST_TRY_S = 0.5
"""What is sent while the board is still starting is lost: rather try again soon than wait long."""


class Prompt(Protocol):
    """Something that runs Python on the board."""

    def run(self, code: str) -> str:
        """What `code` prints. Raises InstallFailed if it raises, PortVanished if the port goes away."""
        ...

    def close(self) -> None:
        """Give the port back."""
        ...


class Repl:
    """A `Prompt` over a serial port."""

    def __init__(self, transport: SerialTransport, device: str) -> None:
        self._transport = transport
        self._device = device

    def run(self, code: str) -> str:
        """See `Prompt.run`."""
        with self._told():
            out: bytes = self._transport.exec(code)
            return out.decode("utf-8", "replace")

    def send(self, code: str) -> None:
        """Start `code` and do not wait for its end: it resets the board."""
        with self._told():
            self._transport.exec_raw_no_follow(code)

    def close(self) -> None:
        """Leave the raw REPL where that still can be done, and close the port."""
        with contextlib.suppress(OSError, TransportError):
            self._transport.exit_raw_repl()
        with contextlib.suppress(OSError):
            self._transport.close()
        with contextlib.suppress(OSError):
            self._transport.serial.close()

    @contextlib.contextmanager
    def _told(self) -> Any:
        try:
            with contextlib.redirect_stdout(io.StringIO()):
                yield
        except TransportExecError as problem:
            words = problem.error_output.strip().splitlines() or ["no words"]
            raise InstallFailed(
                f"the board answered: {words[-1]}",
                where=self._device,
                why="\n".join(words[:-1]),
                cure="the old firmware is still in force; try again, and free space on the board if it is full",
            ) from problem
        except (OSError, TypeError, ValueError, IndexError, TransportError, AttributeError) as problem:
            raise PortVanished(
                "the board stopped answering at its prompt",
                where=self._device,
                why=f"the cable came out, or the board was reset ({problem})",
                cure="plug it in again and repeat the command: it takes up where it was",
            ) from problem


def enter_prompt(find: Callable[[], str], *, limit_s: float = 15.0) -> Repl:
    """Open the port that `find` names and enter the raw REPL there, without running main.py again.

    Tries for `limit_s` seconds, since the port may still be coming back after a reset. Raises NoPort,
    PortBusy, or NoAnswer where there is no MicroPython prompt.
    """
    end_s = time.monotonic() + limit_s
    patience_s = FIRST_TRY_S
    while True:
        last: NoPort | PortBusy | NoAnswer
        try:
            device = find()
            open_serial(device).close()  # says clearly what is wrong with a port that cannot be opened
            return _enter(device, patience_s)
        except (NoPort, PortBusy, NoAnswer) as problem:
            last = problem
        if time.monotonic() >= end_s:
            raise last
        patience_s = min(2 * patience_s, 5.0)
        time.sleep(0.2)


def _enter(device: str, limit_s: float) -> Repl:
    transport = None
    try:
        with contextlib.redirect_stdout(io.StringIO()):
            transport = SerialTransport(device, timeout=READ_LIMIT_S)
            transport.serial.timeout = limit_s
            transport.serial.write_timeout = WRITE_LIMIT_S
            transport.enter_raw_repl(soft_reset=False, timeout_overall=limit_s)
            transport.serial.timeout = READ_LIMIT_S
        return Repl(transport, device)
    except (OSError, TransportError, serial.SerialException) as problem:
        if transport is not None:
            with contextlib.suppress(OSError):
                transport.serial.close()
        raise NoAnswer(
            "there is no MicroPython prompt here",
            where=device,
            why="another program runs on the board and does not let go, or it has no MicroPython",
            cure="hold the board's button down, press its reset and let go, so that it stays at its prompt; a board "
            "without MicroPython needs `frogfeed image`",
        ) from problem


def leave_prompt(repl: Repl) -> None:
    """Reset the board, so that it starts its firmware, and close the port."""
    with contextlib.suppress(PortVanished):
        repl.send("import machine\nmachine.reset()")
        time.sleep(0.1)
    repl.close()


def value(prompt: Prompt, code: str) -> Any:
    """What `code` prints as JSON. Raises InstallFailed if that is no JSON, and as `Prompt.run`."""
    text = prompt.run(code)
    try:
        return json.loads(text)
    except ValueError as problem:
        raise InstallFailed(
            f"the board's answer cannot be understood: {text[:80]!r}",
            why="something else writes to the same port",
            cure="press the board's reset and try again",
        ) from problem


def write_file(prompt: Prompt, path: str, data: bytes, done: Callable[[int], None]) -> None:
    """Write a file on the board, in pieces; `done(bytes)` after each. Folders must be there."""
    prompt.run(f"import binascii\n_f=open({path!r},'wb')")
    for at in range(0, len(data), CHUNK):
        piece = base64.b64encode(data[at : at + CHUNK]).decode("ascii")
        prompt.run(f"_f.write(binascii.a2b_base64('{piece}'))")
        done(min(len(data), at + CHUNK))
    prompt.run("_f.close()")
