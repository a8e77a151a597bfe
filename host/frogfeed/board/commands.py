"""What a person asks of a board: throw a drive and see it arrive, trim an end, clear faults, all off."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from frogfeed.board.client import Client
from frogfeed.board.errors import BoardError, NoAnswer, PortVanished
from frogfeed.board.messages import DriveState, Event, Notification

__all__ = ["NotArrived", "Thrown", "all_off", "feed_reset", "maintenance", "throw", "trim"]

_ASK_EVERY_S = 0.5


class NotArrived(BoardError):  # noqa: N818 - says what happened
    """A drive was told to move and has not come to rest where it should."""

    code = "not-arrived"


@dataclass(frozen=True, slots=True)
class Thrown:
    """A throw that has ended: `seconds` from the command to rest, in the client's time."""

    drive: str
    at: str
    seconds: float
    events: tuple[Notification, ...]


def throw(client: Client, drive: str, to: str, *, limit_s: float = 60.0) -> Thrown:
    """Throw `drive` and wait until it is known to be at `to`.

    Arrival is told by an event; the state is asked for as well, since events may be lost. Raises
    BoardRefused (unknown name, no settings, forbidden), NotArrived after `limit_s` seconds or if the board
    loses the drive's position, and as `Client.request`.
    """
    start_s = client.now_s()
    client.request("throw", {"drive": drive, "to": to}, busy_s=client.limits.busy_s)
    seen: list[Notification] = []
    while client.now_s() - start_s < limit_s:
        for notification in client.notifications(_ASK_EVERY_S):
            seen.append(notification)
            if _ends(notification, drive, to):
                return Thrown(drive, to, client.now_s() - start_s, tuple(seen))
        now = client.state().drive(drive)
        if now is not None and now.to is None and not now.moving:
            if now.at == to:
                return Thrown(drive, to, client.now_s() - start_s, tuple(seen))
            raise _elsewhere(client, now, to)
    raise NotArrived(
        f"{drive} has not come to rest at {to} within {limit_s:g} s",
        where=client.where,
        why="other drives are in its way in the queue, or the board cannot move it",
        cure="`frogfeed state` shows what the board is doing",
    )


def trim(client: Client, drive: str, setting: str, pulse_us: int, *, keep: bool = False) -> int:
    """Move a servo at rest to `pulse_us` microseconds and make that its end; returns the end in force.

    With `keep` the board remembers it over a reset, until new settings come.
    """
    result = client.request(
        "trim",
        {"drive": drive, "setting": setting, "pulse_us": pulse_us, "keep": keep},
        timeout_s=client.limits.commit_s,
        busy_s=client.limits.busy_s,
    )
    return int(result["pulse_us"])


def all_off(client: Client) -> tuple[int, int]:
    """All feeds off. Returns how many are off for certain, and how many have no off and stay as they are."""
    result: dict[str, Any] = client.request("all_off")
    return int(result["off"]), int(result["held"])


def feed_reset(client: Client, feed: str | None = None) -> int:
    """Clear the faults of `feed`, or of all feeds; returns how many were cleared."""
    return int(client.request("feed.reset", {} if feed is None else {"feed": feed})["cleared"])


def maintenance(client: Client) -> None:
    """Have the board turn its outputs off, reset, and stay at its prompt with the watchdog off.

    The port goes away with the reset; the client is closed. Raises BoardRefused while drives move for
    longer than the limit, NoAnswer where the board does not answer and does not go away either.
    """
    try:
        client.request("maintenance", timeout_s=client.limits.commit_s, busy_s=client.limits.busy_s)
    except PortVanished:
        pass
    except NoAnswer as problem:
        raise NoAnswer(
            "the board does not go into maintenance",
            where=client.where,
            why=problem.what,
            cure="hold the board's button down, press its reset, and let go: it stays at its prompt",
        ) from problem
    client.close()


def _ends(notification: Notification, drive: str, to: str) -> bool:
    return (
        isinstance(notification, Event)
        and notification.kind == "rest"
        and notification.facts.get("drive") == drive
        and notification.facts.get("at") == to
    )


def _elsewhere(client: Client, drive: DriveState, to: str) -> NotArrived:
    place = f"at {drive.at}" if drive.at else "at an unknown place"
    return NotArrived(
        f"{drive.name} came to rest {place}, not at {to}",
        where=client.where,
        why="the board was reset on the way, the drive is moved by hand, or another command came in between",
        cure=f"look at the drive, then throw it again: `frogfeed throw {drive.name} {to}`",
    )
