"""A live view of one board in a terminal, and the same as plain lines where the output is no terminal.

Meaning is carried by letters and words; colour only repeats it. It fits 80 columns.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, field, replace

from rich import box
from rich.console import Console, Group, RenderableType
from rich.live import Live
from rich.table import Table
from rich.text import Text

from frogfeed.board.client import Client
from frogfeed.board.messages import BoardState, Event, LinkCounters, Measurement, Notification

__all__ = ["Picture", "draw", "event_line", "watch"]

_LAST_EVENTS = 6
_REFRESH_S = 1.0
_FRAME_S = 0.2


@dataclass(slots=True)
class Picture:
    """What the view shows: the board's state as last asked for, kept up to date by its events."""

    title: str
    state: BoardState
    counters: LinkCounters
    ma: dict[int, int | None] = field(default_factory=dict)
    recent: deque[str] = field(default_factory=lambda: deque(maxlen=_LAST_EVENTS))
    trouble: str = ""

    def take(self, notification: Notification) -> None:
        """Bring the picture up to date with one event or measurement."""
        if isinstance(notification, Measurement):
            self.ma.update({notification.start + i: ma for i, ma in enumerate(notification.ma)})
            return
        self.recent.append(event_line(notification))
        facts = notification.facts
        if notification.kind == "feed":
            self._feed(str(facts.get("feed")), told=str(facts.get("is")))
        elif notification.kind == "fault":
            self._feed(str(facts.get("feed")), fault=str(facts.get("why")))
        elif notification.kind == "clear":
            self._feed(str(facts.get("feed")), fault=None)
        elif notification.kind == "move":
            self._drive(str(facts.get("drive")), at=None, to=str(facts.get("to")), moving=True)
        elif notification.kind == "rest":
            self._drive(str(facts.get("drive")), at=str(facts.get("at")), to=None, moving=False)
        elif notification.kind == "lost":
            self._drive(str(facts.get("drive")), at=None)

    def line(self, notification: Notification) -> str | None:
        """A notification as a line of words, before it is taken; None for currents that are as they were."""
        if not isinstance(notification, Measurement):
            return event_line(notification)
        told = enumerate(notification.ma, notification.start)
        fresh = [i for i, ma in told if i not in self.ma or self.ma[i] != ma]
        return measurement_line(notification, self.state, fresh) if fresh else None

    def _feed(self, name: str, **changes: str | None) -> None:
        feeds = tuple(
            replace(feed, **changes) if feed.name == name else feed  # type: ignore[arg-type]
            for feed in self.state.feeds
        )
        self.state = replace(self.state, feeds=feeds)

    def _drive(self, name: str, **changes: str | bool | None) -> None:
        drives = tuple(
            replace(drive, **changes) if drive.name == name else drive  # type: ignore[arg-type]
            for drive in self.state.drives
        )
        self.state = replace(self.state, drives=drives)


def event_line(event: Event) -> str:
    """One event as a line of words: the board's time in seconds, what, of what."""
    return f"{_stamp(event)}  {_event_words(event)}"


def measurement_line(measurement: Measurement, state: BoardState, numbers: Iterable[int]) -> str:
    """Currents of the sensors with these numbers, by name where `state` knows it."""
    names = dict(enumerate(s.name for s in state.sensors))
    values = [f"{names.get(i, f'sensor {i}')} {_current(measurement.ma[i - measurement.start])}" for i in numbers]
    return f"{_stamp(measurement)}  current {', '.join(values)}"


def _stamp(notification: Notification) -> str:
    return f"{notification.ms / 1000:10.3f} s"


def _current(ma: int | None) -> str:
    return "no answer" if ma is None else f"{ma} mA"


def _event_words(event: Event) -> str:
    facts = event.facts
    name = str(facts.get("drive") or facts.get("feed") or facts.get("input") or "")
    words = {
        "start": "board started",
        "move": f"{name} moves to {facts.get('to')}",
        "rest": f"{name} at {facts.get('at')}",
        "lost": f"{name} position no longer known",
        "feed": f"{name} feed {facts.get('is')}",
        "trip": f"{name} TRIP by {facts.get('by')} (number {facts.get('trips')})",
        "fault": f"{name} FAULT, latched off: {facts.get('why')}",
        "clear": f"{name} fault cleared",
        "unsaved": f"{name} move DROPPED: the board's flash could not be written",
        "refused": f"{name} REFUSED at the panel: {facts.get('feed')} is held ({facts.get('why')})",
        "stall": f"{name} STALL? servo current stays high",
        "all_off": "all feeds told off",
        "input": f"{name} {'on' if facts.get('on') else 'off'}",
        "chip": f"chip {facts.get('chip')} {'answers again' if facts.get('ok') else 'DOES NOT ANSWER'}",
    }
    return words.get(event.kind) or f"{event.kind} " + " ".join(f"{k}={v}" for k, v in facts.items())


def draw(picture: Picture) -> RenderableType:
    """The picture as something rich can print, at most 80 columns wide."""
    parts: list[RenderableType] = [Text(picture.title, style="bold", overflow="ellipsis", no_wrap=True)]
    if picture.state.board.all_off:
        parts.append(Text("ALL OFF - feeds stay off until they are reset (panel or console)", style="bold reverse"))
    if picture.trouble:
        parts.append(Text(picture.trouble, style="bold reverse"))
    parts.append(_drives(picture.state))
    parts.append(_feeds(picture.state))
    if picture.ma or picture.state.sensors:
        parts.append(_sensors(picture))
    parts.append(Text("\n".join(picture.recent), style="dim", overflow="ellipsis", no_wrap=True))
    parts.append(_footer(picture))
    return Group(*parts)


def _table(*columns: tuple[str, int]) -> Table:
    table = Table(box=box.SIMPLE_HEAD, pad_edge=False, padding=(0, 1), width=78)
    for heading, width in columns:
        table.add_column(heading, width=width, no_wrap=True, overflow="ellipsis")
    return table


def _drives(state: BoardState) -> Table:
    table = _table(("drive", 18), ("position", 16), ("on its way to", 16), ("pulse", 8), ("", 10))
    for drive in state.drives:
        place = drive.at or ("moving" if drive.moving else "? not known")
        table.add_row(
            drive.name,
            Text(place, style="" if drive.at else "bold yellow"),
            drive.to or "",
            f"{drive.pulse_us} us" if drive.pulse_us else "",
            Text("STALL?", style="bold red") if drive.stalled else "",
        )
    return table


_LETTER_STYLE = {"A": "reverse", "B": "bold underline", "off": "dim"}


def _feeds(state: BoardState) -> Table:
    table = _table(("feed", 22), ("carries", 9), ("should carry", 13), ("trips", 6), ("fault", 18))
    for feed in state.feeds:
        table.add_row(
            feed.name,
            Text(f" {feed.told} ", style=_LETTER_STYLE.get(feed.told, "yellow")),
            feed.want,
            str(feed.trips) if feed.trips else "",
            Text(f"FAULT {feed.fault}", style="bold red") if feed.fault else "",
        )
    return table


def _sensors(picture: Picture) -> Text:
    values = []
    for index, sensor in enumerate(picture.state.sensors):
        ma = picture.ma.get(index, sensor.ma)
        values.append(f"{sensor.name} {_current(ma)}")
    return Text("current  " + "   ".join(values), overflow="fold")


def _footer(picture: Picture) -> Text:
    link, board = picture.counters, picture.state.board
    return Text(
        f"link  in {link.received}  out {link.sent}  bad {link.bad_lines}  missed {link.missed}  "
        f"re-plugged {link.reconnects}\n"
        f"board bad {board.bad_lines}  dropped {board.dropped}  late {board.late}  "
        f"longest tick {board.worst_us} us   (Ctrl-C ends)",
        style="dim",
        overflow="ellipsis",
        no_wrap=True,
    )


def watch(
    client: Client,
    console: Console,
    *,
    every_ms: int = 500,
    seconds: float | None = None,
    stop: Callable[[], bool] = lambda: False,
) -> None:
    """Show what the board does until `stop()` is true, `seconds` have gone by, or the user interrupts.

    On a terminal: a live picture. Otherwise: one line an event. Raises as `Client.request`; a re-plugged
    cable is waited for.
    """
    hello = client.hello or client.connect()
    client.watch(every_ms)
    title = f"{hello.board or 'board without settings'}  {hello.layout or ''}  [{hello.control or '-'}]"
    picture = Picture(f"{title}  on {client.where}", client.state(), client.counters)
    end_s = None if seconds is None else client.now_s() + seconds
    if console.is_terminal:
        with Live(draw(picture), console=console, auto_refresh=False, screen=False) as live:
            for _ in _turns(client, picture, end_s, stop):
                live.update(draw(picture), refresh=True)
    else:
        for line in _turns(client, picture, end_s, stop):
            for text in line:
                console.print(text, markup=False, highlight=False, soft_wrap=True)
    client.watch(0)


def _turns(
    client: Client, picture: Picture, end_s: float | None, stop: Callable[[], bool]
) -> Iterator[tuple[str, ...]]:
    asked_s = client.now_s()
    while not stop() and (end_s is None or client.now_s() < end_s):
        lines = []
        for notification in client.notifications(_FRAME_S):
            line = picture.line(notification)
            picture.take(notification)
            if line is not None:
                lines.append(line)
        if client.now_s() - asked_s >= _REFRESH_S:
            picture.state = client.state()
            asked_s = client.now_s()
        yield tuple(lines)
