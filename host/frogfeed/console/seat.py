"""A seat at the console for a program in a terminal: the same commands and state as a page has.

Where a console already owns the ports of the layout, a terminal attaches to it; else it opens a session of its own.
"""

from __future__ import annotations

import json
import threading
import time
from collections.abc import Callable
from contextlib import ExitStack
from typing import Any, Protocol

from websockets.exceptions import WebSocketException
from websockets.sync.client import ClientConnection, connect
from websockets.typing import Origin

from frogfeed.console.refusals import ConsoleGoneError, RefusedError

ASK_S = 90.0
REACH_S = 20.0
"""How long a console whose process lives may take to let one in: a busy machine's takes seconds to draw its railway."""


class Seat(Protocol):
    """What a terminal can do. Everything raises RefusedError."""

    def ask(self, name: str, **params: Any) -> Any:
        """Give a command, and return its answer."""
        ...

    def get(self, section: str, key: str) -> Any:
        """An entry of the state, or None."""
        ...

    def close(self) -> None:
        """Leave."""
        ...


def wait_for(seat: Seat, done: Callable[[], bool], limit_s: float) -> bool:
    """Wait until something holds; False when the time is up."""
    end = time.monotonic() + limit_s
    while time.monotonic() < end:
        if done():
            return True
        time.sleep(0.05)
    return done()


class AttachedSeat:
    """A seat at a console that runs in another process on this machine."""

    def __init__(self, host: str, port: int, key: str) -> None:
        """Raises RefusedError where there is no such console any more."""
        shown = f"[{host}]" if ":" in host else host
        try:
            reached = connect(
                f"ws://{shown}:{port}/ws",
                origin=Origin(f"http://{shown}:{port}"),
                additional_headers={"Cookie": f"frogfeed-{port}={key}"},
                open_timeout=REACH_S,
                max_size=None,
                proxy=None,
            )
            self._stack = ExitStack()
            self._ws: ClientConnection = self._stack.enter_context(reached)
        except (OSError, TimeoutError, WebSocketException) as problem:
            raise RefusedError(
                "no console answers there", str(problem), "start one with `frogfeed console`"
            ) from problem
        self._state: dict[tuple[str, str], Any] = {}
        self._answers: dict[int, dict[str, Any]] = {}
        self._number = 0
        self._heard = threading.Condition()
        self._gone = False
        self._thread = threading.Thread(target=self._listen, name="console seat", daemon=True)
        self._thread.start()
        with self._heard:
            self._heard.wait_for(lambda: bool(self._state) or self._gone, REACH_S)

    def _listen(self) -> None:
        try:
            for text in self._ws:
                self._take(json.loads(text))
        except WebSocketException:
            pass
        with self._heard:
            self._gone = True
            self._heard.notify_all()

    def _take(self, message: dict[str, Any]) -> None:
        with self._heard:
            if message["t"] == "state":
                for section, entries in message["d"].items():
                    for key, value in entries.items():
                        self._state[(section, key)] = value
            elif message["t"] == "answer" and message["id"] is not None:
                self._answers[message["id"]] = message
            self._heard.notify_all()

    def ask(self, name: str, **params: Any) -> Any:
        """See `Seat`."""
        with self._heard:
            self._number += 1
            number = self._number
        try:
            self._ws.send(json.dumps({"id": number, "do": name, "with": params}))
        except WebSocketException as problem:
            raise ConsoleGoneError from problem
        with self._heard:
            self._heard.wait_for(lambda: number in self._answers or self._gone, ASK_S)
            answer = self._answers.pop(number, None)
        if answer is None:
            raise ConsoleGoneError("" if self._gone else f"it has not answered for {ASK_S:g} s")
        if "error" in answer:
            e = answer["error"]
            raise RefusedError(e["what"], e["why"], e["cure"])
        return answer["ok"]

    def get(self, section: str, key: str) -> Any:
        """See `Seat`."""
        with self._heard:
            if self._gone:
                raise ConsoleGoneError
            return self._state.get((section, key))

    def section(self, section: str) -> dict[str, Any]:
        """All entries of a section of the state."""
        with self._heard:
            if self._gone:
                raise ConsoleGoneError
            return {key: v for (s, key), v in self._state.items() if s == section and v is not None}

    def close(self) -> None:
        """See `Seat`."""
        self._stack.close()
        self._thread.join(3.0)
