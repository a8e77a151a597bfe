"""What the console needs of a board: a small protocol, and the real link behind it."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import asdict
from typing import Any, Protocol

from frogfeed.board.client import Client, Expected, Limits
from frogfeed.board.commands import all_off, feed_reset, trim
from frogfeed.board.messages import BoardState, DriveState, Hello, Notification
from frogfeed.board.transfer import push_board
from frogfeed.board.transport import Opener

LIMITS = Limits(answer_s=1.5, hello_s=4.0, reconnect_s=0.0, tries=2)
"""Short waits: the owner of a port comes round again by itself, and the page says meanwhile that the board is away."""

FIRST_NUMBER = 1_000_000
"""Numbers of requests have seven digits: an answer fits a terminal's line too, whose requests have shorter ones."""


class BoardLink(Protocol):
    """A conversation with one board, used from one thread. Everything here raises `BoardError`s."""

    @property
    def hello(self) -> Hello | None:
        """What the board said of itself when it was greeted last."""
        ...

    @property
    def where(self) -> str:
        """The name of the port that is open."""
        ...

    def connect(self) -> Hello:
        """Open the port and greet the board."""
        ...

    def request(self, method: str, params: Mapping[str, Any]) -> dict[str, Any]:
        """Any request of the link, passed on for a program that shares the port."""
        ...

    def close(self) -> None:
        """Give the port back."""
        ...

    def state(self) -> BoardState | None:
        """Everything the board knows; None where it holds no settings."""
        ...

    def drives(self, start: int) -> tuple[DriveState, ...]:
        """The states of some drives from number `start` on, at least one."""
        ...

    def notifications(self, timeout_s: float) -> Iterable[Notification]:
        """Events and measurements as they come, for so long."""
        ...

    def watch(self, every_ms: int) -> None:
        """Have currents measured so often."""
        ...

    def throw(self, drive: str, to: str) -> None:
        """Queue a throw."""
        ...

    def trim(self, drive: str, setting: str, pulse_us: int, keep: bool) -> int:
        """Move a resting servo to a pulse; the end in force."""
        ...

    def all_off(self) -> tuple[int, int]:
        """All feeds off: how many are, and how many have no off."""
        ...

    def feed_reset(self, feed: str | None) -> int:
        """Clear the faults of a feed, or of all."""
        ...

    def push(self, document: bytes, layout_text: bytes) -> None:
        """Send settings and the layout's text; they are in force afterwards."""
        ...


LinkMaker = Callable[[], BoardLink]


class ClientLink:
    """The link over a serial port (or a pty)."""

    def __init__(self, opener: Opener, board: str | None = None, limits: Limits = LIMITS) -> None:
        self._client = Client(opener, expected=Expected(board=board), limits=limits, first_number=FIRST_NUMBER)

    @property
    def hello(self) -> Hello | None:
        """See `BoardLink`."""
        return self._client.hello

    @property
    def where(self) -> str:
        """See `BoardLink`."""
        return self._client.where

    def connect(self) -> Hello:
        """See `BoardLink`."""
        return self._client.connect()

    def request(self, method: str, params: Mapping[str, Any]) -> dict[str, Any]:
        """See `BoardLink`. New settings are greeted, so that `hello` stays true."""
        if method == "hello":
            return asdict(self._client.connect())
        commits = method == "push.commit"
        answer = self._client.request(method, params, timeout_s=self._client.limits.commit_s if commits else None)
        if commits:
            self._client.connect()
        return answer

    def close(self) -> None:
        """See `BoardLink`."""
        self._client.close()

    def state(self) -> BoardState | None:
        """See `BoardLink`."""
        hello = self._client.hello
        return None if hello is None or hello.settings is None else self._client.state()

    def drives(self, start: int) -> tuple[DriveState, ...]:
        """See `BoardLink`."""
        answer = self._client.request("state", {"part": "drives", "start": start})
        return tuple(DriveState.of(item) for item in answer.get("items", ()))

    def notifications(self, timeout_s: float) -> Iterable[Notification]:
        """See `BoardLink`."""
        return self._client.notifications(timeout_s)

    def watch(self, every_ms: int) -> None:
        """See `BoardLink`."""
        self._client.watch(every_ms)

    def throw(self, drive: str, to: str) -> None:
        """See `BoardLink`."""
        self._client.request("throw", {"drive": drive, "to": to}, busy_s=1.0)

    def trim(self, drive: str, setting: str, pulse_us: int, keep: bool) -> int:
        """See `BoardLink`."""
        return trim(self._client, drive, setting, pulse_us, keep=keep)

    def all_off(self) -> tuple[int, int]:
        """See `BoardLink`."""
        return all_off(self._client)

    def feed_reset(self, feed: str | None) -> int:
        """See `BoardLink`."""
        return feed_reset(self._client, feed)

    def push(self, document: bytes, layout_text: bytes) -> None:
        """See `BoardLink`."""
        push_board(self._client, document, layout_text)
        self._client.connect()


__all__ = ["BoardLink", "ClientLink", "LinkMaker"]
