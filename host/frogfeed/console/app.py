"""The web application: one page, its modules, one socket; and the last proof's record to be printed."""

from __future__ import annotations

import asyncio
import contextlib
import json
from collections.abc import AsyncIterator
from importlib.resources import files
from pathlib import Path
from typing import Any

from starlette.applications import Starlette
from starlette.middleware import Middleware
from starlette.requests import Request
from starlette.responses import FileResponse, JSONResponse, PlainTextResponse, RedirectResponse, Response
from starlette.routing import Route, WebSocketRoute
from starlette.websockets import WebSocket, WebSocketDisconnect

from frogfeed.console.commands import read_request, run
from frogfeed.console.desk import Desk
from frogfeed.console.guard import Access, Guard, Role
from frogfeed.console.refusals import RefusedError
from frogfeed.console.session import Session

FRAME_S = 0.05
"""Least time between two messages of state to a page: 20 a second."""
MOST_PAGES = 24
TYPES = {".js": "text/javascript", ".css": "text/css", ".svg": "image/svg+xml", ".html": "text/html"}


def page_files() -> dict[str, Path]:
    """The page's files by name. Only these are ever served."""
    folder = Path(str(files("frogfeed.console").joinpath("page")))
    return {p.name: p for p in sorted(folder.iterdir()) if p.suffix in TYPES}


def build_app(session: Session, access: Access) -> Starlette:
    """The application for one session. Its lifespan starts the owners of the boards and gives the ports back."""
    desk = Desk(session)
    served = page_files()
    pages: set[WebSocket] = set()

    @contextlib.asynccontextmanager
    async def lifespan(_: Starlette) -> AsyncIterator[None]:
        await session.start()
        try:
            yield
        finally:
            await session.stop()

    async def page(request: Request) -> Response:
        if "key" in request.query_params:
            token = request.query_params["key"]
            if access.role_of(token) is None:
                return PlainTextResponse("this key is not of this start; use the address printed last\n", 403)
            answer = RedirectResponse("/", 303)
            answer.set_cookie(access.cookie, token, httponly=True, samesite="strict", path="/")
            return answer
        return FileResponse(served["index.html"], media_type=TYPES[".html"])

    async def part(request: Request) -> Response:
        path = served.get(request.path_params["name"])
        if path is None:
            return PlainTextResponse("there is no such file\n", 404)
        return FileResponse(path, media_type=TYPES[path.suffix])

    async def proof(_: Request) -> Response:
        if desk.prover.record is None:
            return PlainTextResponse("no proof has run since the console was started\n", 404)
        return JSONResponse(desk.prover.record)

    async def socket(ws: WebSocket) -> None:
        if len(pages) >= MOST_PAGES:
            await ws.close(4429, "too many pages are open; close some")
            return
        await ws.accept()
        pages.add(ws)
        try:
            await _serve(ws, desk, ws.scope["role"])
        finally:
            pages.discard(ws)

    return Starlette(
        routes=[
            Route("/", page),
            Route("/record.json", proof),
            Route("/page/{name}", part),
            WebSocketRoute("/ws", socket),
        ],
        middleware=[Middleware(Guard, access=access)],
        lifespan=lifespan,
    )


async def _serve(ws: WebSocket, desk: Desk, role: Role) -> None:
    """One page: its commands are answered as they come, the state is sent as it changes."""
    lock = asyncio.Lock()

    async def send(message: dict[str, Any]) -> None:
        async with lock:
            await ws.send_text(json.dumps(message, separators=(",", ":"), ensure_ascii=False))

    sender = asyncio.create_task(_send_state(desk, role, send))
    running: set[asyncio.Task[None]] = set()
    try:
        while True:
            text = await ws.receive_text()
            task = asyncio.create_task(_answer(desk, role, text, send))
            running.add(task)
            task.add_done_callback(running.discard)
            if len(running) > 16:
                await asyncio.wait(running, return_when=asyncio.FIRST_COMPLETED)
    except (WebSocketDisconnect, KeyError, RuntimeError):
        pass
    finally:
        sender.cancel()
        await asyncio.gather(sender, return_exceptions=True)


async def _send_state(desk: Desk, role: Role, send: Any) -> None:
    """The layout and all state first, then what changes, at most 20 times a second; a slow page gets fewer."""
    store = desk.session.store
    shown = ""
    version = 0
    while True:
        now = desk.session.railway.layout.hash
        if now != shown:
            shown = now
            await send({"t": "layout", "role": str(role), "layout": await desk.layout()})
        changes, version = store.since(version), store.version
        await send({"t": "state", "n": version, "d": changes})
        await asyncio.sleep(FRAME_S)
        await store.changed(version)


async def _answer(desk: Desk, role: Role, text: str, send: Any) -> None:
    number: int | None = None
    try:
        request = read_request(text)
        number = request.number
        result = await run(desk, role, request)
        answer: dict[str, Any] = {"t": "answer", "id": number, "ok": result}
    except RefusedError as refused:
        answer = {"t": "answer", "id": number, "error": refused.as_json()}
    except Exception as problem:
        desk.session.reporter.note("console", "failed", f"{type(problem).__name__}: {problem}")
        error = {
            "what": "the console failed to do this",
            "why": str(problem),
            "cure": "the log has the reason; try again",
        }
        answer = {"t": "answer", "id": number, "error": error}
    with contextlib.suppress(Exception):
        await send(answer)
