"""What a board says, as typed records. Names and meanings are those of the firmware's table of methods."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from frogboard import methods

__all__ = [
    "BoardState",
    "DriveState",
    "Event",
    "FeedState",
    "Hello",
    "InputState",
    "LinkCounters",
    "LoopState",
    "Measurement",
    "Notification",
    "SensorState",
    "Trim",
    "notification_of",
]


@dataclass(frozen=True, slots=True)
class Hello:
    """Who a board is and what it holds; None where it holds no settings. Hashes are lower hex digits.

    `id` is the chip's unique id (the USB serial number is the same); `settings` the CRC-32 computed by the
    board from the bytes it holds; `reason` says why there are no settings in force.
    """

    protocol: int
    methods: str
    firmware: str
    id: str
    board: str | None
    layout: str | None
    layout_hash: str | None
    settings: str | None
    profile: str | None
    control: str | None
    reason: str | None
    tick_ms: int
    max_line: int
    chunk: int
    reset: str
    up_ms: int
    packs: bool = False

    @staticmethod
    def of(result: Mapping[str, Any]) -> Hello:
        """From a hello's result; keys that a newer board adds are left out."""
        return Hello(
            protocol=_whole(result, "protocol"),
            methods=str(result.get("methods", "")),
            firmware=str(result.get("firmware", "")),
            id=str(result.get("id", "")),
            board=_text(result, "board"),
            layout=_text(result, "layout"),
            layout_hash=_text(result, "layout_hash"),
            settings=_text(result, "settings"),
            profile=_text(result, "profile"),
            control=_text(result, "control"),
            reason=_text(result, "reason"),
            tick_ms=_whole(result, "tick_ms"),
            max_line=_whole(result, "max_line"),
            chunk=_whole(result, "chunk"),
            reset=str(result.get("reset", "")),
            up_ms=_whole(result, "up_ms"),
            packs=result.get("packs") is True,
        )


@dataclass(frozen=True, slots=True)
class LoopState:
    """The board itself: moves under way and waiting, the link's and the control loop's counters."""

    name: str = ""
    moving: int = 0
    queued: int = 0
    all_off: bool = False
    lines: int = 0
    bad_lines: int = 0
    dropped: int = 0
    late: int = 0
    worst_us: int = 0

    @staticmethod
    def of(item: Mapping[str, Any]) -> LoopState:
        """From an entry of the part `board`."""
        return LoopState(
            name=str(item.get("name") or ""),
            moving=_whole(item, "moving"),
            queued=_whole(item, "queued"),
            all_off=bool(item.get("all_off")),
            lines=_whole(item, "lines"),
            bad_lines=_whole(item, "bad_lines"),
            dropped=_whole(item, "dropped"),
            late=_whole(item, "late"),
            worst_us=_whole(item, "worst_us"),
        )


@dataclass(frozen=True, slots=True)
class DriveState:
    """A drive: `at` the setting it is known to be at, `to` where it is going; None: not known, nowhere."""

    name: str
    at: str | None = None
    to: str | None = None
    moving: bool = False
    pulse_us: int = 0
    stalled: bool = False

    @staticmethod
    def of(item: Mapping[str, Any]) -> DriveState:
        """From an entry of the part `drives`."""
        return DriveState(
            name=str(item["name"]),
            at=_text(item, "at"),
            to=_text(item, "to"),
            moving=bool(item.get("moving")),
            pulse_us=_whole(item, "pulse_us"),
            stalled=bool(item.get("stalled")),
        )


@dataclass(frozen=True, slots=True)
class FeedState:
    """A feed. `told` and `want`: "A", "B" or "off" (`told` also "moving"); `fault`: why it is off."""

    name: str
    told: str = "off"
    want: str = "off"
    fault: str | None = None
    trips: int = 0

    @staticmethod
    def of(item: Mapping[str, Any]) -> FeedState:
        """From an entry of the part `feeds`."""
        return FeedState(
            name=str(item["name"]),
            told=str(item.get("is", "off")),
            want=str(item.get("want", "off")),
            fault=_text(item, "fault"),
            trips=_whole(item, "trips"),
        )


@dataclass(frozen=True, slots=True)
class InputState:
    """An input, debounced: `on` while closed or pressed."""

    name: str
    on: bool


@dataclass(frozen=True, slots=True)
class SensorState:
    """A sensor's last measurement in mA; None where it does not answer."""

    name: str
    ma: int | None


@dataclass(frozen=True, slots=True)
class Trim:
    """A servo's end in force where it differs from the settings. `pulse_us` in microseconds."""

    drive: str
    setting: str
    pulse_us: int


@dataclass(frozen=True, slots=True)
class BoardState:
    """All that a board tells of itself, in the order of its settings."""

    board: LoopState
    drives: tuple[DriveState, ...] = ()
    feeds: tuple[FeedState, ...] = ()
    inputs: tuple[InputState, ...] = ()
    sensors: tuple[SensorState, ...] = ()
    trims: tuple[Trim, ...] = ()

    def drive(self, name: str) -> DriveState | None:
        """The drive of that name, or None."""
        return next((drive for drive in self.drives if drive.name == name), None)

    @staticmethod
    def of(parts: Mapping[str, Sequence[Mapping[str, Any]]]) -> BoardState:
        """From the entries of all parts."""
        board = parts.get("board", ())
        return BoardState(
            board=LoopState.of(board[0]) if board else LoopState(),
            drives=tuple(DriveState.of(item) for item in parts.get("drives", ())),
            feeds=tuple(FeedState.of(item) for item in parts.get("feeds", ())),
            inputs=tuple(InputState(str(item["name"]), bool(item["on"])) for item in parts.get("inputs", ())),
            sensors=tuple(SensorState(str(item["name"]), item.get("ma")) for item in parts.get("sensors", ())),
            trims=tuple(
                Trim(str(item["drive"]), str(item["setting"]), int(item["pulse_us"])) for item in parts.get("trims", ())
            ),
        )


@dataclass(frozen=True, slots=True)
class Event:
    """Something happened on the board at `ms` of its own time. `facts` depends on `kind`."""

    seq: int
    ms: int
    kind: str
    facts: Mapping[str, Any] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Measurement:
    """Currents in mA of the sensors from number `start` on; None where one does not answer."""

    seq: int
    ms: int
    start: int
    ma: tuple[int | None, ...]


Notification = Event | Measurement


@dataclass(slots=True)
class LinkCounters:
    """What the laptop's end of a link has seen since it was made."""

    sent: int = 0
    received: int = 0
    bad_lines: int = 0
    """lines with a wrong or missing CRC: noise, boot text, halves"""
    resent: int = 0
    stale: int = 0
    """answers to requests that were given up"""
    missed: int = 0
    """notifications that the sequence numbers say were lost"""
    overflowed: int = 0
    """notifications dropped here because nobody took them"""
    reconnects: int = 0


def _whole(item: Mapping[str, Any], key: str) -> int:
    value = item.get(key, 0)
    return value if isinstance(value, int) else 0


def _text(item: Mapping[str, Any], key: str) -> str | None:
    value = item.get(key)
    return None if value is None else str(value)


def notification_of(message: Mapping[str, Any]) -> Notification | None:
    """The event or measurement in a message without an id; None if it is neither."""
    params = message.get("params")
    if not isinstance(params, dict) or not isinstance(params.get("seq"), int):
        return None
    seq, ms = params["seq"], params.get("ms", 0)
    if not isinstance(ms, int):
        return None
    if message["method"] == methods.EVENT_METHOD:
        facts = {key: value for key, value in params.items() if key not in ("seq", "ms", "kind")}
        return Event(seq, ms, str(params.get("kind", "")), facts)
    if message["method"] == methods.MEASURE_METHOD and isinstance(params.get("ma"), list):
        return Measurement(seq, ms, int(params.get("start", 0)), tuple(params["ma"]))
    return None
