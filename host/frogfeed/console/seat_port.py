"""A board's port by way of a console that has it: what a program in a terminal opens in the port's place.

Bytes go in and out as over the port itself, so that every command works alike on both.
"""

from __future__ import annotations

import queue
import threading
import time
from typing import Any

from frogboard import frame, methods
from frogfeed.board.client import Limits
from frogfeed.board.errors import BoardError, PortVanished
from frogfeed.board.lines import MessageReader
from frogfeed.board.messages import LinkCounters
from frogfeed.console.refusals import ConsoleGoneError, RefusedError
from frogfeed.console.seat import Seat

LIMITS = Limits(answer_s=35.0, commit_s=35.0, hello_s=35.0, tries=1)
"""The console has the short limits, and asks again by itself; here it is only waited for."""


class ConsoleGone(BoardError):  # noqa: N818 - says what happened, as the other errors of a board do
    """The console that has the port has ended, or does not answer."""

    code = "console-gone"


class SeatTransport:
    """A `Transport` to one board through a seat at a console, which it closes at its end."""

    def __init__(self, seat: Seat, board: str, name: str) -> None:
        """Raises ConsoleGone. `name` is the port's, for messages."""
        self._seat = seat
        self._board = board
        self._name = name
        self._reader = MessageReader(LinkCounters())
        self._requests: queue.Queue[dict[str, Any] | None] = queue.Queue()
        self._arrived = threading.Condition()
        self._bytes = bytearray()
        self._problem: BoardError | None = None
        self._closed = False
        self._every_ms = 0
        self._measured_ms: dict[int, int] = {}
        self._left_out = 0
        after = self._ask("link.heard", after=-1)["next"]
        work = (threading.Thread(target=self._pass_on, daemon=True),
                threading.Thread(target=self._listen, args=(after,), daemon=True))  # fmt: skip
        self._work = work
        for thread in work:
            thread.start()

    @property
    def name(self) -> str:
        """The port's name, as the console has it open."""
        return self._name

    def read(self, timeout_s: float) -> bytes:
        """See `Transport.read`. Raises PortVanished where the board is away, ConsoleGone."""
        with self._arrived:
            self._arrived.wait_for(lambda: self._bytes or self._problem, max(0.0, timeout_s))
            if self._bytes:
                data = bytes(self._bytes)
                self._bytes.clear()
                return data
            if self._problem is not None:
                raise self._problem
            return b""

    def write(self, data: bytes) -> None:
        """See `Transport.write`."""
        if self._problem is not None:
            raise self._problem
        for message in self._reader.feed(data):
            self._requests.put(message)

    def now_s(self) -> float:
        """Seconds of the system's monotonic clock."""
        return time.monotonic()

    def wait(self, seconds: float) -> None:
        """Sleep."""
        time.sleep(max(0.0, seconds))

    def close(self) -> None:
        """Leave the seat."""
        if self._closed:
            return
        self._closed = True
        self._requests.put(None)
        self._seat.close()
        for thread in self._work:
            thread.join(3.0)

    # ---- the two threads ------------------------------------------------------------------------------

    def _pass_on(self) -> None:
        """Requests, one after the other, in the order in which they were written."""
        while (message := self._requests.get()) is not None:
            method, params = str(message.get("method")), message.get("params") or {}
            try:
                answer = self._ask("link", method=method, params=params)
            except BoardError as problem:
                self._end(problem)
                return
            if "away" in answer:
                away = answer["away"]
                self._end(PortVanished(away["what"], where=self._name, why=away["why"], cure=away["cure"]))
                return
            if method == "watch":
                self._every_ms = int(params.get("every_ms", 0))
            self._give({"id": message.get("id"), **answer})

    def _listen(self, after: int) -> None:
        """Events and measurements, as long as there is a console."""
        while not self._closed:
            try:
                heard = self._ask("link.heard", after=after)
            except BoardError as problem:
                self._end(problem)
                return
            after = heard["next"]
            for message in heard["messages"]:
                self._hear(message["method"], message["params"])

    def _hear(self, method: str, params: dict[str, Any]) -> None:
        """Pass a notification on. Measurements come no oftener than was asked here, and that is no gap in the count."""
        if method == methods.MEASURE_METHOD and not self._is_due(params):
            self._left_out += 1
            return
        self._give({"method": method, "params": {**params, "seq": params["seq"] - self._left_out}})

    def _is_due(self, params: dict[str, Any]) -> bool:
        before = self._measured_ms.get(params["start"])
        if not self._every_ms or (before is not None and 0 <= params["ms"] - before < self._every_ms):
            return False
        self._measured_ms[params["start"]] = params["ms"]
        return True

    def _give(self, message: dict[str, Any]) -> None:
        line = frame.pack({"jsonrpc": "2.0", **message})
        with self._arrived:
            self._bytes += line
            self._arrived.notify_all()

    def _end(self, problem: BoardError) -> None:
        with self._arrived:
            if not self._closed and self._problem is None:
                self._problem = problem
            self._arrived.notify_all()

    def _ask(self, name: str, **params: Any) -> Any:
        try:
            return self._seat.ask(name, board=self._board, **params)
        except ConsoleGoneError as gone:
            raise ConsoleGone(gone.what, where=self._name, why=gone.why, cure=gone.cure) from gone
        except RefusedError as refused:
            raise BoardError(refused.what, where=self._name, why=refused.why, cure=refused.cure) from refused
