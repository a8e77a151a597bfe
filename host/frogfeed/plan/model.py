"""What a plan is: channels by board, decision tables, changeover moves, and how good the assignment is."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

from frogfeed.findings.finding import Finding, Location
from frogfeed.parts.boards import (
    BoardProfile,
    Chip,
    FeedChannel,
    InputChannel,
    LampChannel,
    SensorChannel,
    ServoChannel,
    Trip,
)
from frogfeed.throw.linkage import Linkage
from frogfeed.throw.motion import Motion
from frogfeed.throw.window import Window
from frogfeed.track.network.conditions import Term, When

Place = tuple[float, float]
"""A position on the baseboard, in mm."""

Moves = tuple[tuple[str, str], ...]
"""(drive, setting) pairs in the order in which they are thrown."""


@dataclass(frozen=True, slots=True)
class DriveNeed:
    """A drive that needs a servo channel, or (hand-thrown) an input for each position contact."""

    name: str
    settings: tuple[str, ...]
    hand: bool
    contacts: tuple[str, ...]
    place: Place | None
    at: Location | None


@dataclass(frozen=True, slots=True)
class AfterTrip:
    """What a feed does once its own trip has turned it off.

    `stated` says that the file asks for it, at `at`; retries only make sense on an output that has an off.
    """

    try_other: bool = False
    retries: int = 2
    retry_ms: int = 2000
    stated: bool = False
    at: Location | None = None


@dataclass(frozen=True, slots=True)
class FeedNeed:
    """A switched output: its table as disjoint rows (term, side "A" or "B"), and what limits the choice of
    channel.

    `kind` is the modeller's own wish or None; `rails` are fed together; `volts` the district's supply.
    `off_at` is a combination of settings at which no row holds, so that the output must be off; None where
    every combination that can come about has its row. `wires` are the bus wires that the rows name.
    """

    output: str
    rails: tuple[str, ...]
    piece: str
    district: str
    rows: tuple[tuple[Term, Literal["A", "B"]], ...]
    drives: tuple[str, ...]
    bonded: bool
    undecided: When
    kind: Literal["pair", "changeover", "latching"] | None
    place: Place | None
    at: Location | None
    control: Literal["dc", "dcc"] = "dc"
    volts: float = 12.0
    off_at: Term | None = None
    wires: tuple[str, ...] = ()
    after_trip: AfterTrip = AfterTrip()


@dataclass(frozen=True, slots=True)
class ButtonNeed:
    """A panel button that needs an input: `name` is "button.NAME".

    "set" throws `moves`, "toggle" throws there or back; both need every drive on the button's board. `route` is the
    stored route's name where they are one's. `board` is the modeller's own wish or None.
    """

    name: str
    does: Literal["set", "toggle", "all_off", "reset"]
    moves: Moves
    route: str | None
    board: str | None
    place: Place | None
    at: Location | None


@dataclass(frozen=True, slots=True)
class LampNeed:
    """A panel lamp that needs an output: `name` is "lamp.NAME".

    "set" is lit while all `moves` are so, "fault" at a fault of `feed` (None: of any feed of its board).
    """

    name: str
    shows: Literal["set", "fault", "all_off"]
    moves: Moves
    feed: str | None
    route: str | None
    board: str | None
    place: Place | None
    at: Location | None


@dataclass(frozen=True, slots=True)
class DrivePlan:
    """A drive on its board. `channel` is None for a hand-thrown one, `linkage` and `motion` then too."""

    need: DriveNeed
    channel: ServoChannel | None
    inputs: tuple[InputChannel, ...]
    linkage: Linkage | None
    motion: Motion | None
    home: int | None
    release_at_rest: bool
    debounce_ms: int


@dataclass(frozen=True, slots=True)
class MovePlan:
    """When a feed changes over on the way of one drive to one of its settings (an index)."""

    drive: str
    to: int
    window: Window


@dataclass(frozen=True, slots=True)
class FeedPlan:
    """A switched output on its channel. `rest` is the bus wire on a changeover's normally-closed side."""

    need: FeedNeed
    channel: FeedChannel
    moves: tuple[MovePlan, ...]
    rest: Literal["A", "B"] | None
    sensor: SensorChannel | None
    trip: Trip | None


@dataclass(frozen=True, slots=True)
class ButtonPlan:
    """A button on its input."""

    need: ButtonNeed
    channel: InputChannel


@dataclass(frozen=True, slots=True)
class LampPlan:
    """A lamp on its output."""

    need: LampNeed
    channel: LampChannel


@dataclass(frozen=True, slots=True)
class BoardPlan:
    """Everything on one board, in the order in which its settings document lists it."""

    name: str
    profile: BoardProfile
    serial: str | None
    implied: bool
    place: Place | None
    drives: tuple[DrivePlan, ...]
    feeds: tuple[FeedPlan, ...]
    wire_mm: float
    buttons: tuple[ButtonPlan, ...] = ()
    lamps: tuple[LampPlan, ...] = ()

    @property
    def chips(self) -> tuple[Chip, ...]:
        """The chips that are fitted: the profile's, optional ones only where a channel in use is on them."""
        used = {d.channel.chip for d in self.drives if d.channel is not None}
        used |= {p.chip for f in self.feeds for p in f.channel.pins}
        used |= {i.pin.chip for d in self.drives for i in d.inputs}
        used |= {b.channel.pin.chip for b in self.buttons} | {lamp.channel.pin.chip for lamp in self.lamps}
        return tuple(c for c in self.profile.chips if not c.optional or c.name in used)

    def chip_index(self, name: str) -> int:
        """The place of a chip in `chips`."""
        return [c.name for c in self.chips].index(name)

    def drive_index(self, name: str) -> int:
        """The place of a drive in `drives`. Raises ValueError where the board has no such drive."""
        return [d.need.name for d in self.drives].index(name)


@dataclass(frozen=True, slots=True)
class Optimum:
    """How good the assignment is: its cost, the proven bound, and the gap between them as a fraction.

    The cost is wire in mm, with a stated surcharge for a feed on an output that has no off of its own.
    """

    cost: float
    bound: float
    gap: float
    wire_mm: float
    moved: int
    seconds: float


@dataclass(frozen=True, slots=True)
class Plan:
    """The whole plan. `findings` are notes and warnings; errors refuse a plan."""

    layout: str
    layout_hash: str
    control: Literal["dc", "dcc"]
    boards: tuple[BoardPlan, ...]
    optimum: Optimum
    findings: tuple[Finding, ...]

    def board(self, name: str) -> BoardPlan:
        """The board of this name. Raises KeyError where there is none."""
        for b in self.boards:
            if b.name == name:
                return b
        raise KeyError(name)

    def channels(self) -> Mapping[str, tuple[str, str]]:
        """Everything assigned: drive, output, position contact ("T4.left"), button ("button.B") or lamp ("lamp.L") ->
        (board, channel).
        """
        found: dict[str, tuple[str, str]] = {}
        for b in self.boards:
            for d in b.drives:
                if d.channel is not None:
                    found[d.need.name] = (b.name, d.channel.name)
                for contact, i in zip(d.need.contacts, d.inputs, strict=True):
                    found[contact] = (b.name, i.name)
            for f in b.feeds:
                found[f.need.output] = (b.name, f.channel.name)
            for button in b.buttons:
                found[button.need.name] = (b.name, button.channel.name)
            for lamp in b.lamps:
                found[lamp.need.name] = (b.name, lamp.channel.name)
        return found


class PlanRefusedError(Exception):
    """No plan; `findings` say which limit binds, where, and what would free it."""

    def __init__(self, findings: tuple[Finding, ...]) -> None:
        super().__init__("; ".join(f.what for f in findings))
        self.findings = findings
