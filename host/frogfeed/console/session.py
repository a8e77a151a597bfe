"""One session: the layout, the boards behind their owners, and the state that every page and terminal sees."""

from __future__ import annotations

import asyncio
from collections.abc import Callable, Mapping
from concurrent.futures import Future
from dataclasses import dataclass, field
from pathlib import Path
from typing import TypeVar

from frogfeed.board.errors import BoardError, BoardRefused
from frogfeed.board.messages import Event, Measurement
from frogfeed.console.heard import Heard
from frogfeed.console.link import BoardLink, LinkMaker
from frogfeed.console.owner import Owner, Report, Up
from frogfeed.console.railway import Railway, railway_of
from frogfeed.console.refusals import RefusedError
from frogfeed.console.reports import Reporter
from frogfeed.console.store import Store
from frogfeed.console.turns import Turns
from frogfeed.layout.atomic import replace_file
from frogfeed.layout.model import Layout
from frogfeed.layout.reading import BadLayout, read_layout, read_layout_text

T = TypeVar("T")

ANSWER_S = 12.0
"""Longest wait for a board's owner; a push of settings has its own."""
PUSH_S = 60.0
RECKON_S = 0.02
"""Reports that come within this time are reckoned with together."""


@dataclass
class Session:
    """Everything behind the pages. Make it with `open_session`, then `await start()` in the loop that serves.

    `path` is the layout file (None: changes cannot be saved). `links` makes a link for each board by name.
    `sends` boards without settings theirs when they answer first: for virtual boards, at which nothing can be hurt.
    """

    path: Path | None
    railway: Railway
    links: Mapping[str, LinkMaker]
    store: Store = field(default_factory=Store)
    owners: dict[str, Owner] = field(default_factory=dict)
    saved_text: str = ""
    sends: bool = False
    heard: Heard = field(default_factory=Heard)
    turns: Turns = field(default_factory=Turns)
    _sending: set[asyncio.Task[None]] = field(default_factory=set)

    def __post_init__(self) -> None:
        self.reporter = Reporter(self.store, self.railway)
        self.reporter.layout_faults()
        self.store.put("file", "name", self.railway.layout.name)
        self.store.put("file", "writable", self.path is not None)
        self.saved_text = self.railway.layout.text
        self._tell_file()

    async def start(self) -> None:
        """Begin to look for the boards."""
        loop = asyncio.get_running_loop()

        def soon(job: Callable[[], None]) -> None:
            loop.call_later(RECKON_S, job)

        self.reporter.soon = soon

        def sink(board: str, report: Report) -> None:
            if not loop.is_closed():
                loop.call_soon_threadsafe(self._take, board, report)

        for board, make in self.links.items():
            self.store.put("boards", board, {"up": False, "settling": True})
            self.owners[board] = Owner(board, make, sink)
            self.owners[board].start()
            if self.sends:
                self.reporter.sent_by_itself.add(board)
                self._sending.add(asyncio.create_task(self._send_first(board)))

    def _take(self, board: str, report: Report) -> None:
        if isinstance(report, Event | Measurement):
            self.heard.put(board, report)
        self.reporter.take(board, report)

    async def _send_first(self, board: str) -> None:
        """Send a board its settings as soon as it answers without any."""
        while True:
            version = self.store.version
            b = self.store.get("boards", board) or {}
            if b.get("up"):
                break
            await self.store.changed(version)
        if b.get("settings") is None:
            try:
                await self.push(board)
            except RefusedError as refused:
                self.reporter.note(board, "settings not sent", refused.what)
        self.reporter.sent_by_itself.discard(board)
        self.store.put("boards", board, {**self.store.get("boards", board), "settling": False})

    async def stop(self) -> None:
        """Give all ports back."""
        for task in self._sending:
            task.cancel()
        for owner in self.owners.values():
            await asyncio.to_thread(owner.close)

    # ---- boards ---------------------------------------------------------------------------------------

    async def ask(self, board: str, job: Callable[[BoardLink], T], limit_s: float = ANSWER_S) -> T:
        """Run a job with a board's link. Raises RefusedError, with the board's own words where it refused."""
        future: Future[T] = self.owner(board).call(job)
        try:
            return await asyncio.wait_for(asyncio.wrap_future(future), limit_s)
        except BoardRefused as refused:
            raise RefusedError(refused.what, refused.why, refused.cure) from refused
        except BoardError as problem:
            raise RefusedError(f"{board}: {problem.what}", problem.why, problem.cure) from problem
        except TimeoutError as late:
            raise RefusedError(
                f"{board} did not answer within {limit_s:g} s",
                "it is away, or busy with something long",
                "look at its cable; the console goes on trying by itself",
            ) from late

    def owner(self, board: str) -> Owner:
        """The owner of a board's port. Raises RefusedError."""
        owner = self.owners.get(board)
        if owner is None:
            raise RefusedError(
                f"{board} is not connected to this console",
                "the console was started without a port for it",
                "start it with --port, or with --bench for a simulated board",
            )
        return owner

    def board_of(self, drive: str) -> str:
        """The board of a drive. Raises RefusedError."""
        if drive not in self.railway.network.drives:
            raise RefusedError(f"there is no drive called {drive}", cure="choose one of those on the drawing")
        known = self.railway.drives.get(drive)
        if known is None:
            raise RefusedError(
                f"{drive} is on no board",
                "the layout has errors that stand against a plan",
                "cure what the fault list shows first",
            )
        return known[0].name

    async def throw(self, drive: str, to: str) -> None:
        """Throw a drive to a setting: refused where that would short or foul, else queued with its board."""
        board = self.check_throw(drive, to)
        await self.ask(board, lambda link: link.throw(drive, to))

    def check_throw(self, drive: str, to: str) -> str:
        """The board that may throw a drive to a setting now. Raises RefusedError with the reason where none may."""
        board = self.board_of(drive)
        settings = self.railway.network.drives[drive]
        if to not in settings:
            raise RefusedError(f"{drive} has no setting {to}", cure=f"it has {' and '.join(settings)}")
        if drive in self.railway.hand:
            raise RefusedError(
                f"{drive} is thrown by hand",
                "no servo moves it",
                f"throw it to {to} at the railway; the page will follow",
            )
        laying = self.store.get("route", "now")
        if laying and laying["state"] == "laying" and drive in laying["settings"] and laying["settings"][drive] != to:
            raise RefusedError(
                f"{drive} belongs to the route that is being laid",
                f"the route from {laying['start']} to {laying['goal']} needs it at {laying['settings'][drive]}",
                "wait until the route lies, or stop laying it",
            )
        self.railway.router.check_throw(drive, to, self.reporter.standing())
        return board

    async def all_off(self) -> dict[str, list[int]]:
        """All feeds of all boards off."""
        found: dict[str, list[int]] = {}
        for board in self.owners:
            off, held = await self.ask(board, lambda link: link.all_off())
            found[board] = [off, held]
        return found

    async def feed_reset(self, feed: str | None) -> int:
        """Clear the faults of one feed, or of all feeds and the all-off."""
        if feed is None:
            return sum([await self.ask(b, lambda link: link.feed_reset(None)) for b in self.owners])
        known = self.railway.feeds.get(feed)
        if known is None:
            raise RefusedError(f"there is no switched feed called {feed}", cure="choose one that the page lists")
        return await self.ask(known[0].name, lambda link: link.feed_reset(feed))

    async def push(self, board: str) -> None:
        """Send a board its settings and the layout's text. Its feeds are off for a moment."""
        document = self.railway.documents.get(board)
        if document is None:
            raise RefusedError(
                f"there are no settings for {board}",
                "the layout has errors that stand against a plan, or no such board",
                "cure what the fault list shows first",
            )
        if not self.turns.may(board, None):
            raise RefusedError(
                f"a program in a terminal is sending settings to {board}",
                "a board takes one push at a time",
                "wait until it is through",
            )
        text = self.railway.layout.text.encode("utf-8")

        def job(link: BoardLink) -> Up:
            link.push(document, text)
            return Up(link.hello or link.connect(), link.state(), link.where)

        self.reporter.take(board, await self.ask(board, job, PUSH_S))

    # ---- the layout -----------------------------------------------------------------------------------

    async def take_layout(self, layout: Layout) -> None:
        """Show a changed layout from now on; boards keep their settings until they are sent new ones."""
        railway = await asyncio.to_thread(railway_of, layout)
        self.railway = railway
        self.reporter.change(railway)
        self.reporter.layout_faults()
        self._tell_file()

    async def take_text(self, text: str) -> None:
        """Show a changed text of the layout file, not saved yet. Raises RefusedError where it has mistakes."""
        try:
            layout = read_layout_text(text, self.railway.layout.name)
        except BadLayout as bad:
            first = bad.findings[0]
            raise RefusedError(first.what, first.why, first.cure) from bad
        await self.take_layout(layout)

    async def follow_file(self) -> None:
        """Show the layout file as it is on the disk now, where nothing here is unsaved and the file is sound."""
        if self.path is None or self.railway.layout.text != self.saved_text:
            return
        try:
            layout = await asyncio.to_thread(read_layout, self.path)
        except (BadLayout, OSError):
            return
        if layout.text != self.saved_text:
            self.saved_text = layout.text
            await self.take_layout(layout)

    def save(self, text: str) -> None:
        """Write a text into the layout file, in one rename. Raises RefusedError where it was changed meanwhile."""
        if self.path is None:
            raise RefusedError(
                "this console does not save",
                "it was started on the shipped demo",
                "start it with a layout file of your own",
            )
        try:
            if self.path.read_bytes() != self.saved_text.encode("utf-8"):
                raise RefusedError(
                    f"{self.path.name} was changed by something else meanwhile",
                    "saving now would undo that change",
                    "keep your changes in mind, restart the console and make them again",
                )
            replace_file(self.path, text.encode("utf-8"))
        except OSError as problem:
            raise RefusedError(
                f"{self.path.name} could not be written: {problem.strerror}",
                cure="look at the folder's rights and the disk's room",
            ) from problem
        self.saved_text = text
        self._tell_file()

    def _tell_file(self) -> None:
        layout = self.railway.layout
        self.store.put("file", "version", layout.hash)
        self.store.put("file", "dirty", layout.text != self.saved_text)

    async def wait_rest(self, drive: str, to: str, limit_s: float) -> None:
        """Wait until a drive is reported at rest at a setting. Raises RefusedError."""
        loop = asyncio.get_running_loop()
        end = loop.time() + limit_s
        began = False
        while True:
            version = self.store.version
            d = self.store.get("drives", drive) or {}
            if d.get("at") == to and not d.get("moving") and d.get("to") is None:
                return
            began = began or bool(d.get("moving") or d.get("to"))
            if not d.get("known") or (began and not d.get("moving") and d.get("to") is None):
                raise RefusedError(
                    f"{drive} has not come to rest at {to}",
                    "the board was reset or unplugged on the way, or another command came in between",
                    "look at the drive, then give the command again",
                )
            left = end - loop.time()
            if left <= 0:
                raise RefusedError(
                    f"{drive} has not come to rest at {to} within {limit_s:g} s",
                    "other drives are in its way in the queue, or the board cannot move it",
                    "see what the fault list says of it",
                )
            try:
                await asyncio.wait_for(self.store.changed(version), min(left, 1.0))
            except TimeoutError:
                continue

    def travel_s(self, drive: str) -> float:
        """How long a throw may take, with room for its feeds, its settling and others before it in the queue."""
        known = self.railway.drives.get(drive)
        motion = known[1].motion if known else None
        return 10.0 + (2.5 * (motion.travel_ms + motion.lag_ms) / 1000.0 if motion else 0.0)


def open_session(path: Path, links: Mapping[str, LinkMaker], *, keep: bool = True) -> Session:
    """A session on a layout file. `keep` False: nothing is saved. Raises BadLayout."""
    return Session(path if keep else None, railway_of(read_layout(path)), links)
