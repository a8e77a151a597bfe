"""A seat at a session of this process, for a program in a terminal where no console runs."""

from __future__ import annotations

import asyncio
import threading
from collections.abc import Coroutine
from typing import Any, TypeVar

from frogfeed.console.commands import Request, run
from frogfeed.console.desk import Desk
from frogfeed.console.guard import Role
from frogfeed.console.seat import ASK_S
from frogfeed.console.session import Session

T = TypeVar("T")


class OwnSeat:
    """A session of this process, in a loop of its own thread."""

    def __init__(self, session: Session) -> None:
        self.session = session
        self.desk = Desk(session)
        self._loop = asyncio.new_event_loop()
        self._thread = threading.Thread(target=self._loop.run_forever, name="console session", daemon=True)
        self._thread.start()
        self._do(session.start())

    def _do(self, work: Coroutine[Any, Any, T]) -> T:
        return asyncio.run_coroutine_threadsafe(work, self._loop).result(ASK_S)

    def ask(self, name: str, **params: Any) -> Any:
        """See `Seat`."""
        return self._do(run(self.desk, Role.OPERATOR, Request(0, name, params)))

    def get(self, section: str, key: str) -> Any:
        """See `Seat`."""

        async def look() -> Any:
            return self.session.store.get(section, key)

        return self._do(look())

    def close(self) -> None:
        """See `Seat`."""
        self._do(self.session.stop())
        self._loop.call_soon_threadsafe(self._loop.stop)
        self._thread.join(5.0)
