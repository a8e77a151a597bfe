"""Changing the plan on the page: each change is checked at once, can be undone, and is saved when asked for."""

from __future__ import annotations

from typing import Any

from frogfeed.console.edits import set_feed, set_gap, set_piece
from frogfeed.console.refusals import RefusedError
from frogfeed.console.session import Session
from frogfeed.console.view import finding_view
from frogfeed.track.network.model import Joint

MOST_UNDO = 100


class Drafter:
    """The draft of one session: the layout's text with changes that are not saved yet."""

    def __init__(self, session: Session) -> None:
        self._session = session
        self._before: list[str] = []

    async def piece(self, piece: str, key: str, value: str | None) -> dict[str, Any]:
        """Change a fact about a piece."""
        return await self._take(set_piece(self._session.railway.layout, piece, key, value))

    async def joint(self, number: int, gap: str) -> dict[str, Any]:
        """Change a joint's insulation."""
        return await self._take(set_gap(self._session.railway.layout, self._joint(number), gap))

    async def feed(self, number: int, side: str, district: str | None, left: str, rail: str) -> dict[str, Any]:
        """Change the droppers at a joint."""
        text = set_feed(self._session.railway.layout, self._joint(number), side, district, left, rail)
        return await self._take(text)

    async def undo(self) -> dict[str, Any]:
        """Take the last change back."""
        if not self._before:
            raise RefusedError("there is no change to take back")
        await self._session.take_text(self._before[-1])
        self._before.pop()
        return self._answer()

    async def drop(self) -> dict[str, Any]:
        """Go back to the file as it is saved."""
        await self._session.take_text(self._session.saved_text)
        self._before.clear()
        return self._answer()

    async def save(self) -> dict[str, Any]:
        """Write the changes into the layout file."""
        self._session.save(self._session.railway.layout.text)
        self._before.clear()
        return self._answer()

    def _joint(self, number: int) -> Joint:
        joints = self._session.railway.network.joints
        if number >= len(joints):
            raise RefusedError("there is no such joint any more", cure="choose it on the drawing as it is now")
        return joints[number]

    async def _take(self, text: str) -> dict[str, Any]:
        before = self._session.railway.layout.text
        if text != before:
            await self._session.take_text(text)
            self._before = [*self._before[-MOST_UNDO:], before]
        return self._answer()

    def _answer(self) -> dict[str, Any]:
        railway = self._session.railway
        return {
            "findings": [finding_view(f) for f in railway.findings],
            "undo": len(self._before),
            "dirty": self._session.store.get("file", "dirty"),
        }
