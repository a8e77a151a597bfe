"""The channels that the modeller insists on: `channels = { T1 = "S3", "T1.F" = "F2" }` of a board's table."""

from __future__ import annotations

from collections.abc import Collection, Mapping

from frogfeed.findings.finding import Finding, Severity
from frogfeed.findings.words import said
from frogfeed.layout.model import Layout
from frogfeed.parts.boards import BoardProfile

Fixed = Mapping[str, tuple[str, str]]
"""Thing (drive, output, position contact, button or lamp) -> (board, channel)."""


def channel_kinds(profile: BoardProfile) -> dict[str, tuple[str, ...]]:
    """What a board has, by what it serves: servo, feed, input and lamp channels by name."""
    return {
        "servo": tuple(c.name for c in profile.servo),
        "feed": tuple(c.name for c in profile.feed),
        "input": tuple(c.name for c in profile.input),
        "lamp": tuple(c.name for c in profile.lamp),
    }


def pins_of(profile: BoardProfile) -> dict[str, tuple[str, ...]]:
    """The pins that each channel claims for itself alone, by the channel's name."""
    found = {f.name: f.resources for f in profile.feed}
    found |= {s.name: (s.resource,) for s in profile.servo}
    found |= {i.name: (i.pin.resource,) for i in profile.input}
    return found | {lamp.name: (lamp.pin.resource,) for lamp in profile.lamp}


def read_fixed(
    layout: Layout, profiles: Mapping[str, BoardProfile], kinds: Mapping[str, str]
) -> tuple[dict[str, tuple[str, str]], list[Finding]]:
    """The fixed choices, and what is wrong with them.

    `kinds` says of every thing that wants a channel which kind it wants: "servo", "feed", "input" or "lamp".
    """
    fixed: dict[str, tuple[str, str]] = {}
    findings: list[Finding] = []
    for board, table in layout.file.board.items():
        offered = channel_kinds(profiles[board])
        taken: dict[str, str] = {}
        for thing, channel in table.channels.items():
            where = layout.at("board", board, "channels", thing)
            problem = _problem(thing, channel, kinds, offered, board)
            if problem is None and thing in fixed:
                other = fixed[thing]
                problem = (
                    f"{thing} is given both {other[0]} {other[1]} and {board} {channel}",
                    "keep one of the two",
                )
            if problem is not None:
                findings.append(
                    said("plan-channel-fixed", Severity.ERROR, thing, problem[0], cure=problem[1], where=where)
                )
                continue
            clash = _clash(channel, taken, profiles[board])
            if clash is not None:
                first, pins = clash
                at = layout.at("board", board, "channels", first)
                findings.append(
                    said(
                        "plan-channel-twice",
                        Severity.ERROR,
                        thing,
                        f"{thing} and {first} both claim {pins} of board {board}",
                        "one output cannot follow two tables, nor one pin two servos",
                        f"give {thing} or {first} another channel, or leave one of them to the planner",
                        where,
                        related=((f"claimed by {first}", at),) if at is not None else (),
                    )
                )
                continue
            taken[channel] = thing
            fixed[thing] = (board, channel)
    return fixed, findings


def _problem(
    thing: str, channel: str, kinds: Mapping[str, str], offered: Mapping[str, Collection[str]], board: str
) -> tuple[str, str] | None:
    wants = kinds.get(thing)
    if wants is None:
        return (
            f"board {board} keeps channel {channel} for {thing}, which wants none",
            f"name one of: {', '.join(sorted(kinds))}" if kinds else "remove the entry",
        )
    if channel not in offered[wants]:
        names = ", ".join(offered[wants]) or "none"
        return (
            f"{thing} wants a {wants} channel, and {channel} of board {board} is none",
            f"its {wants} channels are: {names}",
        )
    return None


def _clash(channel: str, taken: Mapping[str, str], profile: BoardProfile) -> tuple[str, str] | None:
    """Who claims this channel, or a pin of it, already; and what it is called."""
    if channel in taken:
        return taken[channel], f"channel {channel}"
    pins = pins_of(profile)
    for other, thing in taken.items():
        shared = set(pins[channel]).intersection(pins[other])
        if shared:
            return thing, f"{' and '.join(sorted(shared))} (channels {channel} and {other})"
    return None
