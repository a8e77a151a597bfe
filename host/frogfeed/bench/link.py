"""The laptop's end of a virtual board's cable, in virtual time: what the link's client talks through."""

from __future__ import annotations

from frogfeed.bench.bench import Bench
from frogfeed.bench.serial_side import VirtualSerial
from frogfeed.board.client import Client, Limits
from frogfeed.board.errors import NoPort, PortVanished


class BenchTransport:
    """A transport of `frogfeed.board` over a virtual board: waiting lets the whole bench's time go by.

    `step_ms` is how finely: a smaller step answers sooner, a larger one runs faster. A reset of the board takes the
    port away, as that of a board with native USB does, and so does pulling the cable: another transport must be opened.
    """

    def __init__(self, bench: Bench, board: str | None = None, step_ms: float = 5.0) -> None:
        self._bench = bench
        self._serial: VirtualSerial = bench.serial(board)
        self._step_ms = step_ms
        self._connection = self._serial.connection
        self._name = f"the virtual board {board or ''}".strip()
        if not self._serial.plugged:
            raise NoPort("the port is not there", where=self._name, why="the cable is out", cure="plug it in again")

    @property
    def name(self) -> str:
        """What to call it in messages."""
        return self._name

    def read(self, timeout_s: float) -> bytes:
        """Whatever has arrived, after at most so much virtual time. Raises PortVanished where the cable came out."""
        self._still_there()
        end_us = self._bench.now_us + max(0, round(1e6 * timeout_s))
        while True:
            try:
                data = self._serial.read()
            except OSError as problem:
                raise self._vanished() from problem
            left_ms = (end_us - self._bench.now_us) / 1000
            if data or left_ms <= 0:
                return data
            self._bench.advance(min(self._step_ms, left_ms))
            self._still_there()

    def write(self, data: bytes) -> None:
        """Hand bytes to the board. Raises PortVanished where the cable came out."""
        self._still_there()
        try:
            self._serial.write(data)
        except OSError as problem:
            raise self._vanished() from problem

    def now_s(self) -> float:
        """The bench's virtual time in seconds."""
        return self._bench.now_us / 1e6

    def wait(self, seconds: float) -> None:
        """Let time go by."""
        self._bench.advance(max(0.0, 1000 * seconds))

    def close(self) -> None:
        """Nothing to give back."""

    def _still_there(self) -> None:
        if self._serial.connection != self._connection:
            raise self._vanished()

    def _vanished(self) -> PortVanished:
        return PortVanished(
            "the port went away",
            where=self._name,
            why="the cable came out, or the board was reset",
            cure="plug it in again",
        )


def client_of(bench: Bench, board: str | None = None, *, step_ms: float = 5.0, limits: Limits | None = None) -> Client:
    """A client for a virtual board in virtual time; not connected yet."""
    return Client(lambda: BenchTransport(bench, board, step_ms), limits=limits)
