"""Whether a switched feed may use a kind of output at all, with the changeover moves it would have there."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from frogfeed.parts.boards import BoardProfile, FeedChannel, SensorType
from frogfeed.plan.model import FeedNeed, MovePlan
from frogfeed.throw.linkage import Linkage
from frogfeed.throw.motion import Motion
from frogfeed.throw.window import Contacts, Refused, decide


@dataclass(frozen=True, slots=True)
class Moving:
    """A servo drive's geometry and speed, and its settings in order."""

    settings: tuple[str, ...]
    linkage: Linkage
    motion: Motion


@dataclass(frozen=True, slots=True)
class Unsuited:
    """Why a feed may not use an output: what, why it matters, and the cure; `code` is the finding's."""

    code: str
    what: str
    why: str
    cure: str


@dataclass(frozen=True, slots=True)
class Suited:
    """The moves a feed has on an output of this kind."""

    moves: tuple[MovePlan, ...]


def contacts_of(profile: BoardProfile, channel: FeedChannel) -> Contacts:
    """The times of an output: the slower of its switch and of the enable ahead of it, where it has one."""
    switch = profile.switch(channel)
    operate, release = switch.operate_ms.value, switch.release_ms.value
    if channel.enable is not None:
        ahead = profile.enable_types[next(e.type for e in profile.enable if e.name == channel.enable)]
        operate, release = max(operate, ahead.operate_ms.value), max(release, ahead.release_ms.value)
    return Contacts(
        kind=switch.kind,
        has_off=switch.kind == "pair" or channel.enable is not None,
        operate_ms=operate,
        release_ms=release,
        bounce_ms=switch.bounce_ms.value,
        dead_ms=switch.dead_ms.value,
    )


def in_range(common_mode_v: tuple[float, float] | None, need: FeedNeed) -> bool:
    """Whether a part on the board's ground stands this track, with bus wire B (DCC: the booster's ground)
    tied to it.

    DC reverses, so A swings to either side of B; a booster's bridge keeps both wires between its ground and
    supply.
    """
    if common_mode_v is None:
        return False
    low, high = (-need.volts, need.volts) if need.control == "dc" else (0.0, need.volts)
    return common_mode_v[0] <= low and high <= common_mode_v[1]


def senses(kind: SensorType, need: FeedNeed) -> bool:
    """Whether a sensor of this kind sees the current of this feed at all."""
    if kind.measures == "average" and need.control == "dcc":
        return False
    return kind.isolated or in_range(kind.common_mode_v, need)


def suits(
    need: FeedNeed, profile: BoardProfile, channel: FeedChannel, moving: Mapping[str, Moving]
) -> Suited | Unsuited:
    """Whether this feed may use this channel, ratings apart (`electrics` judges those against the fault
    current).

    `moving` holds the servo drives; a hand-thrown drive of the table has no moves: its contacts say where
    it is.
    """
    switch = profile.switch(channel)
    if need.kind is not None and need.kind != switch.kind:
        return Unsuited(
            "plan-output-kind",
            f"{need.output} asks for a {need.kind} output",
            "the layout file says so",
            f'use a board with {need.kind} outputs, or drop `output = "{need.kind}"`',
        )
    if not switch.blocks_both_ways:
        return Unsuited(
            "plan-one-way-switch",
            f"a {switch.made_of} output of {profile.name} blocks one polarity only",
            "its body diode conducts the other half: track polarity reverses on DC and alternates on DCC, so "
            "the frog would never be off",
            "use relays, or solid-state switches with two transistors back to back",
        )
    if not switch.isolated and not in_range(switch.common_mode_v, need):
        return Unsuited(
            "plan-common-mode",
            f"an output of {profile.name} shares the board's ground, and {need.output} would take it out of range",
            f"the track swings by {need.volts:g} V " + ("to either side" if need.control == "dc" else "above ground"),
            "use outputs that isolate the track from the board",
        )
    contacts = contacts_of(profile, channel)
    if not need.bonded and contacts.kind == "changeover" and not contacts.has_off:
        return Unsuited(
            "plan-bare-changeover",
            f"{need.output} feeds blades that are not bonded, and a bare changeover has no off",
            "without power the relay rests on one side; with the drive set to the other, that shorts the bus "
            "through the blade",
            "bond the blades and cut the links, or use a pair, or a changeover behind an enable",
        )
    by_hand = [name for name in need.drives if name not in moving]
    if by_hand and not need.bonded and not contacts.has_off:
        return Unsuited(
            "plan-hand-no-off",
            f"{need.output} feeds blades that are not bonded, {by_hand[0]} is thrown by hand, and a bare"
            f" {contacts.kind} output has no off",
            "nobody asks before a hand throws: the old side would stay on while the arriving blade touches the other",
            "bond the blades and cut the links, throw it by a servo, or use a pair or an output behind an enable",
        )
    if need.off_at is not None and not contacts.has_off:
        at = " and ".join(f"{drive} is {setting}" for drive, setting in need.off_at)
        return Unsuited(
            "plan-needs-off",
            f"{need.output} must be off when {at or 'its table is open'}, and a bare {contacts.kind} output has no off",
            "it would stay joined to one bus wire where no road says which, and short against a rail that a blade "
            "or a wheel joins to it",
            "use a board with pairs, or an output behind an enable",
        )
    if need.after_trip.stated and (need.after_trip.try_other or need.after_trip.retries) and not contacts.has_off:
        return Unsuited(
            "plan-trip-no-off",
            f"{need.output} is to be tried again after a trip, and a bare {contacts.kind} output has no off",
            "it never moves on a trip, for that could make the very fault: the district's supply must clear it",
            'use a board with pairs or an enable, or write on_trip = "latch"',
        )
    moves: list[MovePlan] = []
    for name in need.drives:
        drive = moving.get(name)
        if drive is None:
            continue
        for to in (0, 1):
            outcome = decide(drive.linkage, drive.motion, contacts, need.bonded, to)
            if isinstance(outcome, Refused):
                return _refused(need, name, drive, outcome)
            moves.append(MovePlan(name, to, outcome))
    return Suited(tuple(moves))


def _refused(need: FeedNeed, drive: str, moving: Moving, outcome: Refused) -> Unsuited:
    way = f"drive {drive} towards {moving.settings[outcome.to]}"
    return Unsuited(
        "plan-changeover-window",
        f"{need.output}, {way}: {outcome.reason}",
        "a feed that changes over while a blade of the other polarity touches shorts the bus",
        outcome.cure,
    )
