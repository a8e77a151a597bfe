"""The layout file's schema: every table and key a person may write, with units, defaults and limits.

Plain data only: reading with located errors is in `reading`, the items of a line in `lines`.
"""

from __future__ import annotations

from enum import StrEnum
from typing import Annotated, Any, Literal

from pydantic import BaseModel, ConfigDict, Field

Name = Annotated[str, Field(pattern=r"^[A-Za-z][A-Za-z0-9_-]*$", max_length=32)]
Positive = Annotated[float, Field(strict=True, gt=0, allow_inf_nan=False)]
Volts = Annotated[float, Field(strict=True, gt=0, le=60, allow_inf_nan=False)]
"""Extra-low voltage only: above 60 V DC (IEC 61140, from memory) this is no model railway's supply."""
Amps = Annotated[float, Field(strict=True, gt=0, le=100, allow_inf_nan=False)]
Ohms = Annotated[float, Field(strict=True, ge=0, le=1000, allow_inf_nan=False)]
TripMillis = Annotated[float, Field(strict=True, gt=0, le=30_000, allow_inf_nan=False)]
TravelMillis = Annotated[float, Field(strict=True, ge=100, le=30_000, allow_inf_nan=False)]
LagMillis = Annotated[float, Field(strict=True, ge=0, le=5_000, allow_inf_nan=False)]
Retries = Annotated[int, Field(strict=True, ge=1, le=10)]
RetryMillis = Annotated[int, Field(strict=True, ge=100, le=60_000)]
SteadyMillis = Annotated[float, Field(strict=True, gt=0, le=1_000, allow_inf_nan=False)]
"""What a board's firmware takes of each."""
Length = Annotated[float, Field(strict=True, gt=0, le=1_000_000, allow_inf_nan=False)]
LengthOrZero = Annotated[float, Field(strict=True, ge=0, le=1_000_000, allow_inf_nan=False)]
Angle = Annotated[float, Field(strict=True, gt=0, lt=90, allow_inf_nan=False)]
Heading = Annotated[float, Field(strict=True, ge=-360, le=360)]
Pulse = Annotated[int, Field(strict=True, ge=300, le=2700)]
"""What any hobby servo might take; a drive's own `range_us` is narrower."""
Flag = Annotated[bool, Field(strict=True)]
Position = tuple[
    Annotated[float, Field(strict=True, allow_inf_nan=False)],
    Annotated[float, Field(strict=True, allow_inf_nan=False)],
]


class Table(BaseModel):
    """A table of the layout file: unknown keys are errors, values never change after reading."""

    model_config = ConfigDict(extra="forbid", frozen=True)


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

    code: str = Field(description="the finding to accept, by its code as `frogfeed check` prints it")
    reason: Annotated[str, Field(min_length=3)] = Field(description="why it is wanted; it is printed with the note")


class Colours(Table):
    """Wire colours by the modeller's own choice (names as in `parts.colours`)."""

    A: str | None = Field(default=None, description="colour of the wires to bus wire A")
    B: str | None = Field(default=None, description="colour of the wires to bus wire B")
    switched: str | None = Field(default=None, description="colour of the wires to frogs and other switched rails")


class Header(Table):
    """[layout]: the railway as a whole."""

    schema_version: Annotated[int, Field(alias="schema", strict=True, ge=1, le=1)] = Field(
        default=1, description="version of this file format"
    )
    name: Annotated[str, Field(min_length=1, max_length=80)] = Field(
        examples=['"Saltmarsh Quay"'], description="the railway's name, printed on every sheet"
    )
    gauge: str = Field(examples=['"OO"'], description="the track and wheel standard, by the name of the gauge")
    control: Control = Field(
        description='how trains are controlled: "dc" (plain, reversible) or "dcc" (a square wave on the track)'
    )
    colours: Colours = Field(default=Colours(), description="the colours of your own wires")
    feeds: Literal["stated", "propose"] = Field(
        default="stated",
        description='"stated": gaps and feeds stand here as built; "propose": a bare plan that frogfeed completes',
    )
    catalogue: tuple[str, ...] = Field(
        default=(), description="files with kinds of piece of your own, beside this file"
    )
    dropper_wire: str = Field(default="0.5", description='size of the droppers: mm² as "0.5", or "AWG24"')
    rail_code: int = Field(default=100, strict=True, description="height of the rail in thousandths of an inch")
    longest_conducting_vehicle_mm: Length | None = Field(
        default=None,
        description="from the first to the last wheel that conduct to each other, in one vehicle or in vehicles"
        " with a conductor between them; a reversing section must be longer",
    )


class Protection(StrEnum):
    """What a supply does when too much current flows."""

    LATCH = "latch"
    FOLDBACK = "foldback"
    RETRY = "retry"
    THERMAL = "thermal"


class OnTrip(StrEnum):
    """What a switched feed does once its own trip has turned it off."""

    LATCH = "latch"
    RETRY = "retry"
    TRY_OTHER = "try-other"


ON_TRIP = Field(
    default=None,
    description='what a switched feed does after its board has turned it off for over-current: stay off ("latch"), be'
    ' tried again ("retry"), or flip once to the other bus wire and then be tried again ("try-other"); left out, it is'
    " tried again, and a reversing section on DCC flips first",
)
RETRIES = Field(default=None, description="how often it is tried again before it stays off until it is reset; else 2")
RETRY_MS = Field(default=None, description="how long after the trip it is tried again; else 2000")


class District(Table):
    """[district.NAME]: one supply (controller or booster) and its two bus wires A and B."""

    volts: Volts | None = Field(default=None, description="voltage of the supply at full load")
    trip_a: Amps = Field(default=3.0, description="current at which the supply trips")
    trip_ms: TripMillis = Field(default=100.0, description="how long a fault lasts before the supply trips")
    limit_a: Amps | None = Field(
        default=None, description="most current the supply gives into a short, where it limits"
    )
    protection: Protection = Field(default=Protection.LATCH, description="what the supply does at too much current")
    internal_ohm: Ohms = Field(default=0.2, description="internal resistance of the supply, from its terminals")
    bus_wire: str = Field(default="1.5", description='size of the two bus wires: mm² as "1.5", or "AWG14"')
    bus_mm: LengthOrZero = Field(default=3000.0, description="length of the bus from the supply to its far end")
    load_a: Amps = Field(default=1.0, description="current of the heaviest train or trains at once")
    in_phase: tuple[Name, ...] = Field(
        default=(),
        description="districts whose rails a wheel may join for a moment: one control system, in step",
    )
    common_with: tuple[Name, ...] = Field(
        default=(), description="districts whose B wires are joined to this one's (a common return)"
    )
    on_trip: OnTrip | None = ON_TRIP
    retries: Retries | None = RETRIES
    retry_ms: RetryMillis | None = RETRY_MS
    at_mm: Position | None = Field(default=None, description="where the supply stands on the plan: x, y")


class DriveUse(Table):
    """A piece's use of a drive whose settings bear other names: piece setting = drive setting."""

    model_config = ConfigDict(extra="allow", frozen=True)
    name: Name = Field(description="the drive")


class Piece(Table):
    """What all pieces of track with rails of their own have in common."""

    kind: str | None = Field(
        default=None, description="kind of piece by the catalogue, where it is not what its table stands for"
    )
    make: Make = Field(
        default=Make.LIVE_FROG,
        description='how it left the factory: frog of metal ("live-frog") or of plastic ("insulated-frog")',
    )
    state: State | None = Field(
        default=None,
        description="what has been done to it, in one word: a shorthand for links, blades and frog",
    )
    links: Links | None = Field(default=None, description='the factory links under it: "in" or "removed"')
    blades: Blades | None = Field(
        default=None,
        description='blades feed by touching only ("contact"), or are wired to their stock rails ("bonded")',
    )
    frog: FrogFeed | None = Field(
        default=None, description='the frog is fed through a switch ("switched") or not ("unfed")'
    )
    frog_number: Positive | None = Field(
        default=None, description="frog number: length along the frog for a spread of one"
    )
    angle_deg: Angle | None = Field(default=None, description="frog angle, where no frog number is known")
    plastic_mm: Length | None = Field(
        default=None, description="length of the plastic nose, beyond the theoretical point"
    )
    built: Flag = Field(
        default=True,
        description="false leaves an unfinished piece out; its neighbours' ends are then made safe",
    )
    accept: tuple[Accept, ...] = Field(default=(), description="findings about this piece that are known and wanted")
    at_mm: Position | None = Field(default=None, description="where its toe (or middle) stands on the plan: x, y")
    heading_deg: Heading | None = Field(
        default=None,
        description="which way it points on the plan, looking in from its toe or side a: anticlockwise from the x axis",
    )
    length_mm: Length | None = Field(default=None, description="length from toe to heel, or over all")
    output: Output | None = Field(default=None, description="the kind of switched output its frog must have")
    on_trip: OnTrip | None = ON_TRIP
    retries: Retries | None = RETRIES
    retry_ms: RetryMillis | None = RETRY_MS

    @property
    def facts(self) -> tuple[Links, Blades, FrogFeed]:
        """The three facts, shorthands expanded; a fact stated by itself wins over the shorthand."""
        links, blades, frog = STATE_FACTS[self.state or State.AS_MADE]
        return self.links or links, self.blades or blades, self.frog or frog


DriveRef = Name | DriveUse


class Turnout(Piece):
    """[turnout.NAME]: one toe, a left and a right leg, one drive."""

    drive: DriveRef | None = Field(
        default=None,
        description="the drive that throws it; left out, it has one of its own that bears its name",
    )
    normal: Hand = Field(
        default=Hand.LEFT,
        description='the setting you call normal; the sheets draw its leg straight, so a left-hand turnout is "right"',
    )


class ThreeWay(Piece):
    """[three-way.NAME]: one toe, three legs, two drives."""

    drive_left: DriveRef | None = Field(default=None, description="the drive of the left pair of blades")
    drive_right: DriveRef | None = Field(default=None, description="the drive of the right pair of blades")


class Crossing(Piece):
    """What diamonds and slips have in common: two tracks that cross, both of which may be set at once."""

    selector: DriveRef | None = Field(
        default=None,
        description='a drive (such as a switch on the panel, kind = "hand") that says which track is in use while both'
        " are set: left the one from a.left, right the one from a.right",
    )


class Diamond(Crossing):
    """[diamond.NAME]: two tracks that cross; no drive of its own."""


class SlipBlades(StrEnum):
    """How the blades of one end of a slip move together."""

    SAME_WAY = "same-way"
    CROSSING_OR_SLIP = "crossing-or-slip"


class Slip(Crossing):
    """[slip.NAME]: a diamond with one or two slip roads; a drive at each side."""

    slip_road: Literal["a.left-b.right", "a.right-b.left"] | None = Field(
        default=None,
        description="for a single slip: which ends its slip road joins; left out, it is a double slip",
    )
    blades_move: SlipBlades = Field(
        default=SlipBlades.SAME_WAY,
        description="one tie bar works all four blades of an end the same way, or sets crossing or slip",
    )
    drive_a: DriveRef | None = Field(default=None, description="the drive at side a")
    drive_b: DriveRef | None = Field(default=None, description="the drive at side b")


class OwnPiece(Piece):
    """[piece.NAME]: a piece of a kind from the modeller's own catalogue file."""

    kind: str = Field(description="kind of piece, by the catalogue")
    drives: dict[str, DriveRef] = Field(default={}, description="its drives, by the names the kind gives them")


class PlaceKind(StrEnum):
    """What a named stretch of plain track is."""

    BUFFER = "buffer"
    OPEN = "open"
    SECTION = "section"


class Place(Table):
    """[place.NAME]: a stretch of plain track with a name: a buffer stop, an open end, a section."""

    kind: PlaceKind = Field(
        default=PlaceKind.SECTION,
        description='"section" has two ends; "buffer" (the track stops) and "open" (it goes on outside this file)'
        " have one",
    )
    district: Name | None = Field(default=None, description="the district it belongs to, where no feed says so")
    length_mm: Length | None = Field(default=None, description="length of its track")
    feed: Literal["switched"] | None = Field(
        default=None,
        description='"switched": live only as the turnouts around it are set, through a switched feed',
    )
    takes_in: tuple[Name, ...] = Field(
        default=(),
        description="pieces and places that its switched feed feeds as well, up to the gaps beyond them: a turnout of a"
        " triangle with its tail",
    )
    selector: DriveRef | None = Field(
        default=None,
        description='a drive (such as a switch on the panel, kind = "hand") that says which side a switched section'
        " follows while it is set to both: left the side of the end that a line names first, right the other",
    )
    built: Flag = Field(default=True, description="false leaves an unfinished place out")
    accept: tuple[Accept, ...] = Field(default=(), description="findings about this place that are known and wanted")
    at_mm: Position | None = Field(default=None, description="where its middle lies on the plan: x, y")
    on_trip: OnTrip | None = ON_TRIP
    retries: Retries | None = RETRIES
    retry_ms: RetryMillis | None = RETRY_MS


class DriveKind(StrEnum):
    """What moves the blades."""

    SERVO = "servo"
    HAND = "hand"


class Drive(Table):
    """[drive.NAME]: a servo with its linkage, or a hand-thrown turnout with position contacts."""

    kind: DriveKind = Field(default=DriveKind.SERVO, description="a servo, or thrown by hand with position contacts")
    pulse_us: dict[str, Pulse] | None = Field(default=None, description="the servo's pulse at each setting")
    range_us: tuple[Pulse, Pulse] = Field(default=(700, 2300), description="shortest and longest pulse the servo takes")
    us_per_degree: Positive = Field(default=10.0, description="pulse for one degree of the horn")
    travel_ms: TravelMillis = Field(default=1000.0, description="time for a throw from end to end")
    lag_ms: LagMillis = Field(
        default=120.0, description="how far the servo runs behind its pulse, with the time it takes to settle"
    )
    horn_mm: Length = Field(default=10.0, description="radius at which the wire sits on the horn")
    ratio: Positive = Field(default=1.0, description="movement of the tie bar for one millimetre at the horn")
    blade_throw_mm: Length | None = Field(
        default=None, description="the blades' throw at the tie bar; left out, the gauge's"
    )
    lost_motion_mm: LengthOrZero = Field(default=0.5, description="play and spring between horn and tie bar")
    contact_clearance_mm: Length = Field(
        default=0.3, description="how far from the stock rail a blade may still touch it"
    )
    rest: Literal["hold", "release"] = Field(
        default="release", description='after a throw the pulse stays on ("hold") or ends ("release")'
    )
    home: str | None = Field(
        default=None,
        description="the setting it has when you leave the railway; changeovers rest on its side",
    )
    contacts: Literal["both", "single"] = Field(
        default="both",
        description='position contacts of a hand-thrown turnout: one at each setting ("both") or one alone ("single")',
    )
    debounce_ms: SteadyMillis = Field(default=20.0, description="how long a position contact must be steady")
    at_mm: Position | None = Field(default=None, description="where it stands under the baseboard: x, y")


class Board(Table):
    """[board.NAME]: one microcontroller board: its profile, USB serial number and insisted channels."""

    profile: str = Field(examples=['"direct-relay"'], description="what kind of board: the name of its profile")
    serial: str | None = Field(default=None, description="its USB serial number, which tells two boards apart")
    channels: dict[str, str] = Field(
        default={}, description="channels you insist on: drive or switched feed = channel of the profile"
    )
    at_mm: Position | None = Field(default=None, description="where it stands under the baseboard: x, y")


class StoredRoute(Table):
    """[route.NAME]: settings of several drives, stored under a name for buttons and lamps of the panel."""

    set: dict[str, str] | None = Field(
        default=None,
        examples=['{ T1 = "left", T2 = "right" }'],
        description="the drives with their settings, in the order in which they are thrown",
    )
    start: Name | None = Field(
        default=None, alias="from", description="in place of `set`: the place or piece where a train begins"
    )
    to: Name | None = Field(
        default=None, description="and the one where it ends; the drives on the way and their settings are worked out"
    )
    via: tuple[Name, ...] = Field(
        default=(), description="places or pieces that it runs over in between, where several ways lead there"
    )


class Button(Table):
    """[button.NAME]: a push button on the panel. It does exactly one thing."""

    drive: Name | None = Field(default=None, description="throws this drive: there and back, or to the setting in `to`")
    to: str | None = Field(default=None, description="the setting to throw `drive` to, whatever it is at")
    pair: dict[str, str] | None = Field(
        default=None,
        examples=['{ T1 = "left", T2 = "right" }'],
        description="throws two or more drives to these settings, or all of them back if they are there already",
    )
    route: Name | None = Field(default=None, description="lays this stored route")
    does: Literal["all-off", "reset"] | None = Field(
        default=None,
        description='"all-off" turns all switched feeds of its board off; "reset" clears their trips and all-off',
    )
    board: Name | None = Field(
        default=None, description="the board it is wired to; left out, the board of its drives, or the only one"
    )
    at_mm: Position | None = Field(default=None, description="where it stands on the plan: x, y")


class PanelLamp(Table):
    """[lamp.NAME]: a lamp (LED) on the panel. It shows exactly one thing."""

    drive: Name | None = Field(
        default=None, description="shows that this drive is at `setting`: lit there, blinking on the way there"
    )
    setting: str | None = Field(default=None, description="that setting")
    route: Name | None = Field(default=None, description="shows that this stored route is laid")
    shows: Literal["fault", "all-off"] | None = Field(
        default=None,
        description='"fault" blinks while a switched feed is off for a fault, and flickers where a button was refused;'
        ' "all-off" is lit while all is off',
    )
    feed: str | None = Field(
        default=None, description="the one feed whose fault it shows: T1.F, or a place's name; else any of its board's"
    )
    board: Name | None = Field(
        default=None, description="the board it is wired to; left out, the board of its drives or feed, or the only one"
    )
    at_mm: Position | None = Field(default=None, description="where it stands on the plan: x, y")


class LengthTable(Table):
    """`{ mm = 900 }` in a line: a length of plain track."""

    mm: Length = Field(description="length of the track here")


class FeedTable(Table):
    """`{ feed = "main", left = "A" }` in a line: droppers from a district's bus to the rails."""

    feed: Name = Field(description="the district")
    left: Side = Field(
        description="the bus wire of the left rail, as seen travelling in the listed order; the right rail has"
        " the other"
    )
    rail: Hand | None = Field(default=None, description="only this rail has a dropper")
    wire: str | None = Field(default=None, description="size of the dropper")
    mm: LengthOrZero | None = Field(default=None, description="length of the dropper")


class JoinerTable(Table):
    """`{ joiner = "untrusted" }` in a line: a metal joiner that is not trusted to conduct."""

    joiner: Literal["untrusted"] = Field(description="a joiner that is not trusted to conduct")
    rail: Hand | None = Field(default=None, description="in this rail only")


class GapTable(Table):
    """`{ gap = "left" }` in a line: insulated joiners, or cuts, in one rail or both."""

    gap: Literal["both", "left", "right"] = Field(
        description='in which rails: "both", "left" or "right", as seen travelling in the listed order'
    )


LineItems = tuple[Any, ...]
"""As written; `layout.line_items` turns each into a typed item of `layout.lines`."""


class LayoutFile(BaseModel):
    """The whole file, as written, after validation of every table by itself."""

    model_config = ConfigDict(extra="forbid", frozen=True)

    layout: Header = Field(description="the railway as a whole")
    district: dict[Name, District] = Field(description="supplies, each with its two bus wires")
    turnout: dict[Name, Turnout] = Field(default={}, description="turnouts (points), wyes included")
    three_way: Annotated[dict[Name, ThreeWay], Field(alias="three-way")] = Field(
        default={}, description="three-way turnouts"
    )
    slip: dict[Name, Slip] = Field(default={}, description="single and double slips")
    diamond: dict[Name, Diamond] = Field(default={}, description="diamond crossings")
    piece: dict[Name, OwnPiece] = Field(default={}, description="pieces of kinds of your own")
    place: dict[Name, Place] = Field(
        default={}, description="named stretches of plain track, buffer stops and open ends"
    )
    lines: dict[Name, LineItems] = Field(
        default={}, description="what is joined to what, in the order in which a train meets it"
    )
    drive: dict[Name, Drive] = Field(default={}, description="servos and hand-thrown turnouts")
    board: dict[Name, Board] = Field(default={}, description="microcontroller boards")
    route: dict[Name, StoredRoute] = Field(
        default={}, description="stored routes: drives and settings that one button lays"
    )
    button: dict[Name, Button] = Field(default={}, description="push buttons of a panel")
    lamp: dict[Name, PanelLamp] = Field(default={}, description="lamps of a panel")

    def pieces(self) -> dict[str, Piece]:
        """All pieces with rails of their own by name, in the file's order of tables."""
        return {**self.turnout, **self.three_way, **self.slip, **self.diamond, **self.piece}

    def members(self) -> dict[str, Piece | Place]:
        """All pieces and places by name."""
        return {**self.pieces(), **self.place}
