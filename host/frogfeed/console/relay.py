"""Requests of the link that a program in a terminal makes through the console, which has the board's port.

What throws is checked as a page's throw is; what ends the conversation (reset, maintenance) is not passed on.
"""

from __future__ import annotations

import asyncio
from typing import Any

from frogboard import methods
from frogfeed.board.errors import BoardError, BoardRefused
from frogfeed.console.refusals import RefusedError
from frogfeed.console.session import Session

READING = frozenset({"hello", "state", "pull", "push.begin", "push.chunk", "push.status"})
"""Requests after which nothing on the page can have changed."""
CHANGING = frozenset({"throw", "all_off", "feed.reset", "push.commit"})
REQUEST_S = 30.0
HEARD_S = 1.0
"""How long a terminal's question for news is kept open."""


class Relay:
    """Passes requests on for one session."""

    def __init__(self, session: Session) -> None:
        self._session = session

    async def request(self, board: str, method: str, params: dict[str, Any]) -> dict[str, Any]:
        """One request: its "result"; or the "error" with which it was refused; or why the board is "away"."""
        if method == "watch":
            return {"result": {"every_ms": params.get("every_ms", 0)}}
        refused = self._why_not(board, method, params)
        if refused is not None:
            return {"error": refused}
        owner = self._session.owner(board)
        future = owner.call(lambda link: link.request(method, params), changes=method in CHANGING)
        try:
            result = await asyncio.wait_for(asyncio.wrap_future(future), REQUEST_S)
        except BoardRefused as e:
            return {"error": {"code": e.number, "message": e.reason}}
        except BoardError as e:
            return {"away": {"what": e.what, "why": e.why, "cure": e.cure}}
        except ValueError as e:
            return {"error": {"code": methods.BAD_PARAMS, "message": str(e)}}
        except TimeoutError:
            return {"away": {"what": f"no answer within {REQUEST_S:g} s", "why": "", "cure": ""}}
        self._session.turns.went_on(board, method)
        if method == "push.commit" and result.get("committed") == "settings":
            await self._session.follow_file()
        return {"result": result}

    async def heard(self, board: str, after: int) -> dict[str, Any]:
        """What the board said from number `after` on, waiting a little for the first; -1: only where it stands."""
        self._session.owner(board)
        heard = self._session.heard
        if after < 0:
            return {"next": heard.count(board), "messages": []}
        messages = await heard.after(board, after, HEARD_S)
        return {"next": heard.count(board), "messages": messages}

    def _why_not(self, board: str, method: str, params: dict[str, Any]) -> dict[str, Any] | None:
        """The error that refuses a request here; None where the board may be asked."""
        if method not in READING | CHANGING:
            what = f"{method} is not passed on by a console: end the console, then give the command again"
            return {"code": methods.REFUSED, "message": what}
        if method == "throw":
            return self._why_not_throw(board, str(params.get("drive")), str(params.get("to")))
        if method == "push.begin" and not self._session.turns.take(board, params.get("crc32")):
            return {"code": methods.BUSY, "message": "another program is sending to this board"}
        return None

    def _why_not_throw(self, board: str, drive: str, to: str) -> dict[str, Any] | None:
        """The page's own checks, for a drive that the console's layout has on this board."""
        known = self._session.railway.drives.get(drive)
        if known is None or known[0].name != board or to not in self._session.railway.network.drives[drive]:
            return None
        try:
            self._session.check_throw(drive, to)
        except RefusedError as e:
            said = "; ".join(t for t in (e.what, e.why, e.cure) if t)
            return {"code": methods.REFUSED, "message": said}
        return None
