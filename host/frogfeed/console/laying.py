"""Laying a route: one drive at a time, each at rest before the next is thrown."""

from __future__ import annotations

import asyncio
from typing import Any

from frogfeed.console.refusals import RefusedError
from frogfeed.console.routes import Route
from frogfeed.console.session import Session


class Layer:
    """Lays routes for one session, one after the other."""

    def __init__(self, session: Session) -> None:
        self._session = session
        self._task: asyncio.Task[None] | None = None

    async def lay(self, start: str, goal: str) -> dict[str, Any]:
        """Find a route and begin to lay it; the answer says what will be thrown. Raises RefusedError."""
        if self._task is not None and not self._task.done():
            now = self._session.store.get("route", "now") or {}
            raise RefusedError(
                f"the route from {now.get('start')} to {now.get('goal')} is still being laid",
                "drives are thrown one at a time, so that no two throws foul each other",
                "wait until it lies, or stop laying it",
            )
        session = self._session
        route = await asyncio.to_thread(session.railway.router.find, start, goal, session.reporter.standing())
        for drive, _ in route.throws:
            session.board_of(drive)
        self._check_faults(route)
        self._show(route, "laying" if route.throws else "laid", 0, "")
        if route.throws:
            self._task = asyncio.create_task(self._lay(route))
        return {"throws": [list(t) for t in route.throws], "settings": dict(route.settings)}

    def _check_faults(self, route: Route) -> None:
        """A feed that is latched off leaves a dead frog on the way."""
        on = {s.piece for s in route.steps}
        for entry in self._session.railway.network.switched:
            feed = self._session.store.get("feeds", entry.output) or {}
            if entry.piece in on and feed.get("fault"):
                raise RefusedError(
                    f"{entry.output} on this route is off with a fault",
                    "a train would stop on the dead frog",
                    "clear the fault first; the fault list says what it is",
                )

    async def stop(self) -> None:
        """Stop laying after the throw that is under way, and take the route off the drawing."""
        if self._task is not None and not self._task.done():
            self._task.cancel()
        self._session.store.put("route", "now", None)

    async def _lay(self, route: Route) -> None:
        session = self._session
        try:
            for n, (drive, to) in enumerate(route.throws):
                self._show(route, "laying", n, "")
                await session.throw(drive, to)
                await session.wait_rest(drive, to, session.travel_s(drive))
            self._show(route, "laid", len(route.throws), "")
        except RefusedError as problem:
            now = session.store.get("route", "now")
            done = now["done"] if now else 0
            self._show(route, "failed", done, " ".join(t for t in (problem.what + ".", problem.why) if t))

    def _show(self, route: Route, state: str, done: int, problem: str) -> None:
        self._session.store.put(
            "route",
            "now",
            {
                "start": route.start,
                "goal": route.goal,
                "state": state,
                "done": done,
                "throws": [list(t) for t in route.throws],
                "settings": dict(route.settings),
                "steps": [[s.road, s.joint] for s in route.steps],
                "problem": problem,
            },
        )
