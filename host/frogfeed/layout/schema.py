"""The layout file's schema: every table and key a person may write, with units, defaults and limits.

Plain data only: reading with located errors is in `reading`, the items of a line in `lines`.
"""

from __future__ import annotations

from enum import StrEnum
from typing import Annotated, Any, Literal

from pydantic import BaseModel, ConfigDict, Field

Name = Annotated[str, Field(pattern=r"^[A-Za-z][A-Za-z0-9_-]*$", max_length=32)]
Positive = Annotated[float, Field(strict=True, gt=0, allow_inf_nan=False)]
NotNegative = Annotated[float, Field(strict=True, ge=0, allow_inf_nan=False)]
Pulse = Annotated[int, Field(strict=True, ge=300, le=2700)]
Flag = Annotated[bool, Field(strict=True)]
Position = tuple[
    Annotated[float, Field(strict=True, allow_inf_nan=False)],
    Annotated[float, Field(strict=True, allow_inf_nan=False)],
]


class Table(BaseModel):
    """A table of the layout file: unknown keys are errors, values never change after reading."""

    model_config = ConfigDict(extra="forbid", frozen=True, populate_by_name=True)


class Control(StrEnum):
    """How trains are controlled: plain DC, or a DCC square wave."""

    DC = "dc"
    DCC = "dcc"


class Make(StrEnum):
    """How a piece left the factory: its frog of metal, joined to the blades, or of plastic."""

    LIVE_FROG = "live-frog"
    INSULATED_FROG = "insulated-frog"


class Links(StrEnum):
    """Whether the factory links under the piece are still in."""

    IN = "in"
    REMOVED = "removed"


class Blades(StrEnum):
    """Whether blades feed only by touching a stock rail, or are bonded to it for good."""

    CONTACT = "contact"
    BONDED = "bonded"


class FrogFeed(StrEnum):
    """Whether the frog is fed through a switched feed."""

    UNFED = "unfed"
    SWITCHED = "switched"


class State(StrEnum):
    """Shorthands for links, blades and frog together."""

    AS_MADE = "as-made"
    BONDED = "bonded"
    ISOLATED_FROG = "isolated-frog"


STATE_FACTS: dict[State, tuple[Links, Blades, FrogFeed]] = {
    State.AS_MADE: (Links.IN, Blades.CONTACT, FrogFeed.UNFED),
    State.BONDED: (Links.IN, Blades.BONDED, FrogFeed.UNFED),
    State.ISOLATED_FROG: (Links.REMOVED, Blades.BONDED, FrogFeed.SWITCHED),
}


class Output(StrEnum):
    """Kinds of switched output a board may have; what "off" means differs (docs/reference/boards.md)."""

    PAIR = "pair"
    CHANGEOVER = "changeover"
    LATCHING = "latching"


class Side(StrEnum):
    """Bus wire A or B of a district."""

    A = "A"
    B = "B"


class Hand(StrEnum):
    """A rail of a track, seen in a stated direction of travel."""

    LEFT = "left"
    RIGHT = "right"

    @property
    def other(self) -> Hand:
        return Hand.RIGHT if self is Hand.LEFT else Hand.LEFT


class Accept(Table):
    """One finding the modeller knows and wants: it becomes a note. Never a short."""

    code: str
    reason: Annotated[str, Field(min_length=3)]


class Colours(Table):
    """Wire colours by the modeller's own choice (names as in `parts.colours`)."""

    A: str | None = None
    B: str | None = None
    switched: str | None = None


class Header(Table):
    """[layout]: the railway as a whole."""

    schema_version: Annotated[int, Field(alias="schema", strict=True, ge=1, le=1)] = 1
    name: Annotated[str, Field(min_length=1, max_length=80)]
    gauge: str
    control: Control
    colours: Colours = Colours()
    feeds: Literal["stated", "propose"] = "stated"
    catalogue: tuple[str, ...] = ()
    dropper_wire: str = "0.5"
    rail_code: int = Field(default=100, strict=True)
    longest_conducting_vehicle_mm: Positive | None = None


class Protection(StrEnum):
    """What a supply does when too much current flows."""

    LATCH = "latch"
    FOLDBACK = "foldback"
    RETRY = "retry"
    THERMAL = "thermal"


class District(Table):
    """[district.NAME]: one supply (controller or booster) and its two bus wires A and B."""

    volts: Positive | None = None
    trip_a: Positive = 3.0
    trip_ms: Positive = 100.0
    limit_a: Positive | None = None
    protection: Protection = Protection.LATCH
    internal_ohm: NotNegative = 0.2
    bus_wire: str = "1.5"
    bus_mm: NotNegative = 3000.0
    load_a: Positive = 1.0
    in_phase: tuple[Name, ...] = ()
    common_with: tuple[Name, ...] = ()
    at_mm: Position | None = None


class DriveUse(Table):
    """A piece's use of a drive whose settings bear other names: piece setting = drive setting."""

    model_config = ConfigDict(extra="allow", frozen=True)
    name: Name


class Piece(Table):
    """What all pieces of track with rails of their own have in common."""

    kind: str | None = None
    make: Make = Make.LIVE_FROG
    state: State | None = None
    links: Links | None = None
    blades: Blades | None = None
    frog: FrogFeed | None = None
    frog_number: Positive | None = None
    angle_deg: Positive | None = None
    plastic_mm: Positive | None = None
    built: Flag = True
    accept: tuple[Accept, ...] = ()
    at_mm: Position | None = None
    heading_deg: Annotated[float, Field(strict=True)] | None = None
    length_mm: Positive | None = None
    output: Output | None = None

    @property
    def facts(self) -> tuple[Links, Blades, FrogFeed]:
        """The three facts, shorthands expanded; a fact stated by itself wins over the shorthand."""
        links, blades, frog = STATE_FACTS[self.state or State.AS_MADE]
        return self.links or links, self.blades or blades, self.frog or frog


DriveRef = Name | DriveUse


class Turnout(Piece):
    """[turnout.NAME]: one toe, a left and a right leg, one drive."""

    drive: DriveRef | None = None
    normal: Hand = Hand.LEFT


class ThreeWay(Piece):
    """[three-way.NAME]: one toe, three legs, two drives."""

    drive_left: DriveRef | None = None
    drive_right: DriveRef | None = None


class Diamond(Piece):
    """[diamond.NAME]: two tracks that cross; no drive."""


class SlipBlades(StrEnum):
    """How the blades of one end of a slip move together."""

    SAME_WAY = "same-way"
    CROSSING_OR_SLIP = "crossing-or-slip"


class Slip(Piece):
    """[slip.NAME]: a diamond with one or two slip roads; a drive at each side."""

    slip_road: Literal["a.left-b.right", "a.right-b.left"] | None = None
    blades_move: SlipBlades = SlipBlades.SAME_WAY
    drive_a: DriveRef | None = None
    drive_b: DriveRef | None = None


class OwnPiece(Piece):
    """[piece.NAME]: a piece of a kind from the modeller's own catalogue file."""

    kind: str
    drives: dict[str, DriveRef] = {}


class PlaceKind(StrEnum):
    """What a named stretch of plain track is."""

    BUFFER = "buffer"
    OPEN = "open"
    SECTION = "section"


class Place(Table):
    """[place.NAME]: a stretch of plain track with a name: a buffer stop, an open end, a section."""

    kind: PlaceKind = PlaceKind.SECTION
    district: Name | None = None
    length_mm: Positive | None = None
    feed: Literal["switched"] | None = None
    built: Flag = True
    accept: tuple[Accept, ...] = ()
    at_mm: Position | None = None


class DriveKind(StrEnum):
    """What moves the blades."""

    SERVO = "servo"
    HAND = "hand"


class Drive(Table):
    """[drive.NAME]: a servo with its linkage, or a hand-thrown turnout with position contacts."""

    kind: DriveKind = DriveKind.SERVO
    pulse_us: dict[str, Pulse] | None = None
    range_us: tuple[Pulse, Pulse] = (700, 2300)
    us_per_degree: Positive = 10.0
    travel_ms: Positive = 1000.0
    lag_ms: NotNegative = 120.0
    horn_mm: Positive = 10.0
    ratio: Positive = 1.0
    blade_throw_mm: Positive | None = None
    lost_motion_mm: NotNegative = 0.5
    contact_clearance_mm: Positive = 0.3
    rest: Literal["hold", "release"] = "release"
    home: str | None = None
    contacts: Literal["both", "single"] = "both"
    debounce_ms: Positive = 20.0
    at_mm: Position | None = None


class Board(Table):
    """[board.NAME]: one microcontroller board: its profile, USB serial number and insisted channels."""

    profile: str
    serial: str | None = None
    channels: dict[str, str] = {}
    at_mm: Position | None = None


class LengthTable(Table):
    """`{ mm = 900 }` in a line: a length of plain track."""

    mm: Positive


class FeedTable(Table):
    """`{ feed = "main", left = "A" }` in a line: droppers from a district's bus to the rails."""

    feed: Name
    left: Side
    rail: Hand | None = None
    wire: str | None = None
    mm: NotNegative | None = None


class JoinerTable(Table):
    """`{ joiner = "untrusted" }` in a line: a metal joiner that is not trusted to conduct."""

    joiner: Literal["untrusted"]
    rail: Hand | None = None


class GapTable(Table):
    """`{ gap = "left" }` in a line: insulated joiners, or cuts, in one rail or both."""

    gap: Literal["both", "left", "right"]


LineItems = tuple[Any, ...]
"""As written; `layout.line_items` turns each into a typed item of `layout.lines`."""


class LayoutFile(BaseModel):
    """The whole file, as written, after validation of every table by itself."""

    model_config = ConfigDict(extra="forbid", frozen=True, populate_by_name=True)

    layout: Header
    district: dict[Name, District]
    turnout: dict[Name, Turnout] = {}
    three_way: Annotated[dict[Name, ThreeWay], Field(alias="three-way")] = {}
    slip: dict[Name, Slip] = {}
    diamond: dict[Name, Diamond] = {}
    piece: dict[Name, OwnPiece] = {}
    place: dict[Name, Place] = {}
    lines: dict[Name, LineItems] = {}
    drive: dict[Name, Drive] = {}
    board: dict[Name, Board] = {}

    def pieces(self) -> dict[str, Piece]:
        """All pieces with rails of their own by name, in the file's order of tables."""
        return {**self.turnout, **self.three_way, **self.slip, **self.diamond, **self.piece}
