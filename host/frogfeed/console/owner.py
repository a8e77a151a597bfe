"""The one owner of a board's port: a thread that listens, asks where moving blades are, and runs commands in turn."""

from __future__ import annotations

import queue
import threading
import time
from collections.abc import Callable
from concurrent.futures import Future
from contextlib import suppress
from dataclasses import dataclass
from typing import Any, TypeVar

from frogfeed.board.errors import BoardError, BoardRefused
from frogfeed.board.messages import BoardState, DriveState, Event, Hello, Notification
from frogfeed.console.link import BoardLink, LinkMaker

T = TypeVar("T")

LISTEN_S = 0.01
MOVING_S = 0.05
"""How often a moving drive is asked for its pulse."""
REFRESH_S = 2.0
"""How often everything is asked for, in case an event was lost."""
RETRY_S = 0.5
MEASURE_MS = 200


@dataclass(frozen=True, slots=True)
class Up:
    """The board answers: who it is, and all it knows (None: it holds no settings)."""

    hello: Hello
    state: BoardState | None
    where: str = ""


@dataclass(frozen=True, slots=True)
class Down:
    """The board does not answer, and why."""

    problem: BoardError


@dataclass(frozen=True, slots=True)
class Drives:
    """Some drives as the board reports them now."""

    drives: tuple[DriveState, ...]


Report = Up | Down | Drives | Notification
Sink = Callable[[str, Report], None]
_Job = tuple[Callable[[BoardLink], Any], "Future[Any]", bool]


class Owner:
    """Owns one board. `sink(board, report)` is called from the owner's thread."""

    def __init__(self, board: str, make: LinkMaker, sink: Sink) -> None:
        self.board = board
        self._make = make
        self._sink = sink
        self._jobs: queue.Queue[_Job] = queue.Queue()
        self._stop = threading.Event()
        self._order: dict[str, int] = {}
        self._moving: set[str] = set()
        self._stale = False
        self._measured: str | None = None
        self._thread = threading.Thread(target=self._run, name=f"owner of {board}", daemon=True)

    def start(self) -> None:
        """Begin to look for the board."""
        self._thread.start()

    def close(self) -> None:
        """Give the port back and end the thread. Waiting commands are cancelled."""
        self._stop.set()
        if self._thread.is_alive():
            self._thread.join(5.0)

    def call(self, job: Callable[[BoardLink], T], changes: bool = True) -> Future[T]:
        """Run a job with the link in the owner's thread; its BoardErrors come out of the future.

        `changes`: everything is asked for afterwards, since the job may have changed it.
        """
        future: Future[T] = Future()
        self._jobs.put((job, future, changes))
        return future

    def _run(self) -> None:
        link = self._make()
        while not self._stop.is_set():
            try:
                self._greet(link)
                self._serve(link)
            except BoardError as problem:
                self._sink(self.board, Down(problem))
                self._moving.clear()
                with suppress(BoardError):
                    link.close()
                self._wait_away(problem)
        with suppress(BoardError):
            link.close()
        self._refuse_jobs(None)

    def _greet(self, link: BoardLink) -> None:
        hello = link.connect()
        state = link.state()
        self._measured = None
        self._measure(link, state)
        self._know(state)
        self._sink(self.board, Up(hello, state, link.where))

    def _measure(self, link: BoardLink, state: BoardState | None) -> None:
        """Ask for measurements once for each settings that come into force."""
        settings = link.hello.settings if link.hello is not None else None
        if state is not None and settings != self._measured:
            link.watch(MEASURE_MS)
            self._measured = settings

    def _know(self, state: BoardState | None) -> None:
        drives = state.drives if state is not None else ()
        self._order = {d.name: n for n, d in enumerate(drives)}
        self._moving = {d.name for d in drives if d.moving or d.to is not None}

    def _serve(self, link: BoardLink) -> None:
        next_full = time.monotonic() + REFRESH_S
        next_drives = 0.0
        while not self._stop.is_set():
            self._run_jobs(link)
            for notification in link.notifications(LISTEN_S):
                self._hear(notification)
            now = time.monotonic()
            if self._moving and now >= next_drives:
                next_drives = now + MOVING_S
                self._ask_drives(link)
            if now >= next_full or self._stale:
                next_full = now + REFRESH_S
                self._stale = False
                self._greet_again(link)

    def _greet_again(self, link: BoardLink) -> None:
        state = link.state()
        self._catch_up(link)
        self._measure(link, state)
        self._know(state)
        self._sink(self.board, Up(link.hello or link.connect(), state, link.where))

    def _catch_up(self, link: BoardLink) -> None:
        """Pass on what the board said before its last answer: reports must never overtake each other."""
        for notification in link.notifications(0.0):
            self._hear(notification)

    def _hear(self, notification: Notification) -> None:
        if isinstance(notification, Event):
            if notification.kind == "move":
                self._moving.add(str(notification.facts.get("drive")))
            elif notification.kind not in ("rest", "feed", "input"):
                self._stale = True
        self._sink(self.board, notification)

    def _ask_drives(self, link: BoardLink) -> None:
        left = {d for d in self._moving if d in self._order}
        self._moving = left
        found: list[DriveState] = []
        while left:
            page = link.drives(min(self._order[d] for d in left))
            if not page:
                break
            found += page
            left = left - {d.name for d in page}
        self._catch_up(link)
        for d in found:
            if d.name in self._moving and not d.moving and d.to is None:
                self._moving.discard(d.name)
            elif d.moving or d.to is not None:
                self._moving.add(d.name)
        self._sink(self.board, Drives(tuple(found)))

    def _run_jobs(self, link: BoardLink) -> None:
        while True:
            try:
                job, future, changes = self._jobs.get_nowait()
            except queue.Empty:
                return
            if not future.set_running_or_notify_cancel():
                continue
            try:
                result = job(link)
                self._catch_up(link)
                future.set_result(result)
            except BoardRefused as refused:
                future.set_exception(refused)
            except BoardError as problem:
                future.set_exception(problem)
                raise
            except Exception as problem:
                future.set_exception(problem)
            self._stale = self._stale or changes

    def _refuse_jobs(self, problem: BoardError | None) -> None:
        while True:
            try:
                _, future, _ = self._jobs.get_nowait()
            except queue.Empty:
                return
            if problem is None:
                future.cancel()
            elif future.set_running_or_notify_cancel():
                future.set_exception(problem)

    def _wait_away(self, problem: BoardError) -> None:
        end = time.monotonic() + RETRY_S
        while not self._stop.is_set() and time.monotonic() < end:
            self._refuse_jobs(problem)
            self._stop.wait(0.05)
