"""The laptop's end of the link: requests with a limit on every wait, events, and coming back.

One `Client` serves one board from one thread. It works in its transport's time, real or virtual.
"""

from __future__ import annotations

import random
import time
from collections import deque
from collections.abc import Iterable, Iterator, Mapping
from contextlib import suppress
from dataclasses import dataclass
from types import TracebackType
from typing import Any, Self

from frogboard import methods
from frogfeed.board import trouble
from frogfeed.board.errors import (
    BoardError,
    BoardRefused,
    NoAnswer,
    NoPort,
    PortBusy,
    PortStalled,
    PortVanished,
)
from frogfeed.board.lines import MessageReader, request_line
from frogfeed.board.messages import BoardState, Hello, LinkCounters, Notification, notification_of
from frogfeed.board.transport import Opener, Transport

__all__ = ["Client", "Expected", "Limits"]

_QUEUE = 10_000

NOT_TWICE = frozenset({"feed.reset", "reset", "maintenance"})
"""Methods that are never sent a second time by themselves: done twice they would do something else."""


@dataclass(frozen=True, slots=True)
class Limits:
    """How long the client waits, in seconds, and how often it tries.

    `answer_s` for one answer; `commit_s` for one that involves the flash; `hello_s` for a board that may
    still be starting; `busy_s` while a board says that it is busy; `reconnect_s` for a port that went away
    (0: do not wait for it). `returns` is how often a port may come back during one request.
    """

    answer_s: float = 1.0
    commit_s: float = 8.0
    hello_s: float = 6.0
    busy_s: float = 20.0
    reconnect_s: float = 20.0
    tries: int = 3
    returns: int = 10
    retry_pause_s: float = 0.25


@dataclass(frozen=True, slots=True)
class Expected:
    """Who should answer. None: anybody may. The chip's id is compared without regard to capitals."""

    board: str | None = None
    chip_id: str | None = None
    settings: str | None = None
    layout_hash: str | None = None


class Client:
    """A conversation with one board.

    `opener` opens the port, now and after each disappearance. `first_number` is the id of the first request, chosen
    at random unless a run must be repeatable. All errors are `BoardError`s.
    """

    def __init__(
        self,
        opener: Opener,
        *,
        expected: Expected | None = None,
        limits: Limits | None = None,
        first_number: int | None = None,
    ) -> None:
        self.expected = expected or Expected()
        self.limits = limits or Limits()
        self.counters = LinkCounters()
        self.hello: Hello | None = None
        self._opener = opener
        self._transport: Transport | None = None
        self._reader = MessageReader(self.counters)
        self._queue: deque[Notification] = deque()
        self._awaited: set[int] = set()
        self._answers: dict[int, dict[str, Any]] = {}
        self._next_number = random.randrange(1, 1 << 20) if first_number is None else first_number
        self._next_seq: int | None = None
        self._watch_ms: int | None = None

    def __enter__(self) -> Self:
        self.connect()
        return self

    def __exit__(
        self, kind: type[BaseException] | None, value: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()

    @property
    def where(self) -> str:
        """The port's name, for messages."""
        return self._transport.name if self._transport else "the board"

    def now_s(self) -> float:
        """The transport's clock."""
        return self._open().now_s()

    def connect(self) -> Hello:
        """Open the port and greet the board. Checks who it is (`expected`) and that both speak the same link.

        Raises NoPort, PortBusy, NoAnswer, LinkNoise, OtherFirmware, WrongBoard.
        """
        self._open()
        return self._greet()

    def close(self) -> None:
        """Give the port back. A later request opens it again."""
        if self._transport is not None:
            self._transport.close()
            self._transport = None
        self._reader.reset()
        self._next_seq = None

    def require_settings(self) -> Hello:
        """The board's hello, if it holds the settings that are expected. Raises OtherSettings."""
        hello = self.hello or self.connect()
        problem = trouble.settings_differ(hello, self.expected.settings, self.expected.layout_hash, self.where)
        if problem:
            raise problem
        return hello

    def request(
        self,
        method: str,
        params: Mapping[str, Any] | None = None,
        *,
        timeout_s: float | None = None,
        busy_s: float = 0.0,
    ) -> dict[str, Any]:
        """Ask, and return the answer's result.

        Each try waits `timeout_s` (`limits.answer_s` if None). Lost requests are sent again, but for those
        of `NOT_TWICE`. While the board answers that it is busy, it is asked again for up to `busy_s` seconds.
        If the port goes away the client waits for it, greets the board anew, and goes on.
        Raises BoardRefused, NoAnswer, LinkNoise, PortVanished, BoardVanished, PortStalled, WrongBoard,
        OtherFirmware.
        """
        give_up_s: float | None = None
        returns_left = self.limits.returns if self.limits.reconnect_s else 0
        while True:
            try:
                return self._request_once(method, dict(params or {}), timeout_s or self.limits.answer_s)
            except BoardRefused as refusal:
                if refusal.number != methods.BUSY:
                    raise
                now_s = self.now_s()
                give_up_s = now_s + busy_s if give_up_s is None else give_up_s
                if now_s >= give_up_s:
                    raise
                self.listen(self.limits.retry_pause_s)
            except PortVanished:
                if method in NOT_TWICE or not returns_left:
                    self._drop_transport()
                    raise
                returns_left -= 1
                self.reconnect()

    def request_ahead(
        self, method: str, each: Iterable[Mapping[str, Any]], *, ahead: int, timeout_s: float | None = None
    ) -> Iterator[dict[str, Any]]:
        """Ask the same method with each of these parameters, `ahead` requests before their answers; results in order.

        Ends early where an answer is missing, or the port went away and came back: whoever asks must then find out
        how far it got. Raises BoardRefused, PortVanished, BoardVanished, PortStalled, WrongBoard, OtherFirmware.
        """
        out: deque[int] = deque()
        limit_s = timeout_s or self.limits.answer_s
        try:
            for params in each:
                out.append(self._ask(method, dict(params)))
                if len(out) >= ahead:
                    answer = self._answer_in_order(out, limit_s)
                    if answer is None:
                        return
                    yield self._result(method, answer)
            while out:
                answer = self._answer_in_order(out, limit_s)
                if answer is None:
                    return
                yield self._result(method, answer)
        except PortVanished:
            if not self.limits.reconnect_s:
                self._drop_transport()
                raise
            self.reconnect()
        finally:
            self._forget(out)

    def notifications(self, timeout_s: float) -> Iterator[Notification]:
        """Events and measurements as they come, oldest first, until `timeout_s` have gone by.

        A port that goes away is waited for. Raises PortVanished, BoardVanished, WrongBoard.
        """
        end_s = self.now_s() + timeout_s
        while True:
            while self._queue:
                yield self._queue.popleft()
            left_s = end_s - self.now_s()
            if left_s <= 0:
                return
            self._hear(left_s)

    def listen(self, seconds: float) -> None:
        """Let `seconds` go by, taking in what the board says for `notifications` to give out later."""
        end_s = self.now_s() + seconds
        while (left_s := end_s - self.now_s()) > 0:
            self._hear(left_s)

    def watch(self, every_ms: int) -> int:
        """Have measurements sent every so many milliseconds (0: none); kept up after re-plugging."""
        result = self.request("watch", {"every_ms": every_ms})
        self._watch_ms = every_ms
        return int(result["every_ms"])

    def state(self) -> BoardState:
        """Everything that the board knows now, asked for page by page. Raises as `request`."""
        return BoardState.of({part: self._pages(part) for part in methods.PARTS})

    def reconnect(self) -> Hello:
        """Wait for the port to come back, up to `limits.reconnect_s`, and greet the board again.

        Raises BoardVanished if it does not; WrongBoard if another board answers there.
        """
        before = self.hello
        self._drop_transport()
        clock = _Patience(self.limits.reconnect_s)
        last: BoardError | None = None
        while True:
            try:
                self._open()
                hello = self._greet()
                break
            except (NoPort, PortBusy, PortVanished, PortStalled, NoAnswer) as problem:
                last = problem
                self._drop_transport()
                if not clock.pause(self.limits.retry_pause_s):
                    raise trouble.did_not_return(self.limits.reconnect_s, last) from last
        self.counters.reconnects += 1
        problem_of_identity = trouble.not_the_same(before, hello, self.where)
        if problem_of_identity:
            self.close()
            raise problem_of_identity
        if self._watch_ms:
            with suppress(BoardRefused, NoAnswer):
                self._request_once("watch", {"every_ms": self._watch_ms}, self.limits.answer_s)
        return hello

    def _hear(self, seconds: float) -> None:
        """Read once; a port that goes away meanwhile is waited for."""
        try:
            self._pump(seconds)
        except PortVanished:
            if not self.limits.reconnect_s:
                self._drop_transport()
                raise
            self.reconnect()

    def _open(self) -> Transport:
        if self._transport is None:
            self._transport = self._opener()
            self._reader.reset()
            self._next_seq = None
        return self._transport

    def _drop_transport(self) -> None:
        with suppress(BoardError):
            self.close()

    def _greet(self) -> Hello:
        """Say hello until the board answers: it may be starting, or the line may hold half of something."""
        end_s = self.now_s() + self.limits.hello_s
        self._send(b"\n")
        while True:
            try:
                result = self._request_once("hello", {}, self.limits.answer_s, tries=1)
                break
            except NoAnswer:
                if self.now_s() >= end_s:
                    raise
        self.hello = Hello.of(result)
        problem = trouble.wrong_partner(self.hello, self.expected.board, self.expected.chip_id, self.where)
        if problem:
            raise problem
        return self.hello

    def _request_once(
        self, method: str, params: dict[str, Any], timeout_s: float, *, tries: int | None = None
    ) -> dict[str, Any]:
        numbers: list[int] = []
        allowed = 1 if method in NOT_TWICE else tries or self.limits.tries
        try:
            for attempt in range(allowed):
                self.counters.resent += bool(attempt)
                numbers.append(self._ask(method, params))
                end_s = self.now_s() + timeout_s
                while True:
                    self._pump(max(0.0, end_s - self.now_s()))
                    for number in numbers:
                        if number in self._answers:
                            return self._result(method, self._answers[number])
                    if self.now_s() >= end_s:
                        break
        finally:
            self._forget(numbers)
        raise trouble.no_answer(method, allowed * timeout_s, self._reader.heard(), self.where)

    def _ask(self, method: str, params: dict[str, Any]) -> int:
        """Send a request; the number that its answer will have."""
        self._next_number += 1
        number = self._next_number
        self._awaited.add(number)
        self._send(request_line(number, method, params))
        return number

    def _answer_in_order(self, out: deque[int], timeout_s: float) -> dict[str, Any] | None:
        """The answer to the oldest of these requests, taken off; None where it does not come, or a later one has."""
        end_s = self.now_s() + timeout_s
        while out[0] not in self._answers:
            left_s = end_s - self.now_s()
            if left_s <= 0 or any(number in self._answers for number in out):
                return None
            self._pump(left_s)
        number = out.popleft()
        self._awaited.discard(number)
        return self._answers.pop(number)

    def _forget(self, numbers: Iterable[int]) -> None:
        for number in numbers:
            self._awaited.discard(number)
            self._answers.pop(number, None)

    def _result(self, method: str, answer: Mapping[str, Any]) -> dict[str, Any]:
        error = answer.get("error")
        if isinstance(error, dict):
            raise trouble.refusal(method, error, self.where)
        result = answer.get("result")
        return result if isinstance(result, dict) else {}

    def _send(self, line: bytes) -> None:
        self._open().write(line)
        self.counters.sent += 1

    def _pump(self, timeout_s: float) -> None:
        """Read once, and sort what came: notifications, answers that are awaited, answers that are not."""
        for message in self._reader.feed(self._open().read(timeout_s)):
            number = message.get("id")
            if "method" in message:
                self._take_notification(message)
            elif number in self._awaited:
                self._awaited.discard(number)
                self._answers[number] = message
            else:
                self.counters.stale += 1

    def _take_notification(self, message: Mapping[str, Any]) -> None:
        notification = notification_of(message)
        if notification is None:
            return
        if self._next_seq is not None and notification.seq > self._next_seq:
            self.counters.missed += notification.seq - self._next_seq
        self._next_seq = notification.seq + 1
        if len(self._queue) >= _QUEUE:
            self._queue.popleft()
            self.counters.overflowed += 1
        self._queue.append(notification)

    def _pages(self, part: str) -> list[dict[str, Any]]:
        items: list[dict[str, Any]] = []
        start = 0
        while True:
            result = self.request("state", {"part": part, "start": start})
            items += result.get("items", [])
            following = result.get("next", -1)
            if not isinstance(following, int) or following <= start:
                return items
            start = following


class _Patience:
    """Waits while there is no port, hence no transport's clock: in real time."""

    def __init__(self, seconds: float) -> None:
        self._end_s = time.monotonic() + seconds

    def pause(self, seconds: float) -> bool:
        """Wait a little; False when the time is up."""
        left_s = self._end_s - time.monotonic()
        if left_s <= 0:
            return False
        time.sleep(min(seconds, left_s))
        return True
