"""What the book says, as typed data: cards with their steps, wires, joints, lists, readings. No page, no drawing.

Marks: joints are J1, J2, ... in the network's order; wires W1, W2, ...; a step is its card's name and number ("T1/5").
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum

from frogfeed.layout.schema import Blades, FrogFeed, Hand, Links, Make
from frogfeed.plan.makeup import Step
from frogfeed.track.network.conditions import When


class WireKind(StrEnum):
    """What a numbered wire is for."""

    DROPPER = "dropper"
    FEED = "feed"
    SUPPLY = "supply"
    SERVO = "servo"
    CONTACT = "contact"
    BUTTON = "button"
    LAMP = "lamp"


@dataclass(frozen=True, slots=True)
class Wire:
    """One wire (a servo's lead counts as one) from `start` to `end`: rails, bus wires or board terminals.

    `letter` is A or B for a wire of a bus, F for a switched feed, "" otherwise; `mm` is None where it must be
    measured on the railway. `thing` is what the plan calls it: an output, a drive, a contact, a button or
    lamp; "" for droppers.
    """

    mark: str
    kind: WireKind
    start: str
    end: str
    letter: str
    colour: str | None
    size: str
    mm: float | None
    card: str
    board: str | None = None
    channel: str | None = None
    thing: str = ""


@dataclass(frozen=True, slots=True)
class JointRail:
    """One rail of a joint: the rails that meet, and what joiner holds them."""

    hand: Hand
    a: str
    b: str
    conducts: bool
    trusted: bool


@dataclass(frozen=True, slots=True)
class JointRow:
    """A joint: two ends that meet; hands as seen travelling from `a` to `b`. `card` is where it is made."""

    mark: str
    a: tuple[str, str]
    b: tuple[str, str]
    rails: tuple[JointRail, JointRail]
    line: str
    card: str


@dataclass(frozen=True, slots=True)
class CardStep:
    """A numbered step of a card: one or two steps of the plan's make-up that are done in one go.

    `mark` is the joint or the wire it makes. `elsewhere` names the card on which the same joint stands first.
    `end` is the end near which a dropper is soldered.
    """

    number: int
    does: tuple[Step, ...]
    mark: str = ""
    elsewhere: str = ""
    end: str = ""


@dataclass(frozen=True, slots=True)
class Setting:
    """One way to set a piece: (drive, setting) pairs, the roads that are set, and what blades touch (rail, rail).

    `feeds` gives each switched output its bus wire or None for off; `rails` the bus wires each rail reaches.
    """

    term: tuple[tuple[str, str], ...]
    roads: tuple[str, ...]
    touching: tuple[tuple[str, str], ...]
    feeds: Mapping[str, str | None]
    rails: Mapping[str, tuple[str, ...]]
    forbidden: bool = False


@dataclass(frozen=True, slots=True)
class Channel:
    """A channel that serves this card: what it is for, and where it is."""

    thing: str
    board: str
    name: str
    kind: str


@dataclass(frozen=True)
class Card:
    """One piece or one stretch of plain track. `kind` is the catalogue's name, `make` None for a place.

    `drives` move it; `follows` are its neighbours' drives that also decide what its frogs carry.
    """

    name: str
    number: int
    kind: str
    title: str
    make: Make | None
    facts: tuple[Links, Blades, FrogFeed] | None
    frog_number: float | None
    straight: str
    drives: tuple[str, ...]
    follows: tuple[str, ...]
    steps: tuple[CardStep, ...]
    settings: tuple[Setting, ...]
    channels: tuple[Channel, ...]

    @property
    def piece(self) -> bool:
        """Whether it is a piece of track with rails of its own names, not plain track."""
        return self.make is not None


@dataclass(frozen=True, slots=True)
class TerminalRow:
    """One terminal of a board: its name, the pin behind it, the wire in it and that wire's other end."""

    terminal: str
    pin: str
    use: str
    wire: str
    goes_to: str


@dataclass(frozen=True, slots=True)
class BoardSheet:
    """One board with its terminals in order, the parts that hold its outputs off, and the button for a plain prompt."""

    name: str
    profile: str
    title: str
    serial: str | None
    terminals: tuple[TerminalRow, ...]
    held_off: tuple[tuple[str, str], ...]
    hold: str | None = None


@dataclass(frozen=True, slots=True)
class TableRow:
    """One row of a switched output's table as the book prints it."""

    output: str
    rail: str
    when: When
    wire: str


@dataclass(frozen=True, slots=True)
class MoveRow:
    """One throw of a drive and one feed that changes over with it; times in ms from the first command."""

    drive: str
    to: str
    output: str
    off_ms: float
    open_ms: float
    on_ms: float
    done_ms: float
    stretch_ms: float | None


@dataclass(frozen=True, slots=True)
class DriveRow:
    """One drive: its channel, pulses by setting, time for a throw, and where it rests."""

    drive: str
    pieces: tuple[str, ...]
    board: str
    channel: str
    settings: tuple[str, ...]
    pulse_us: tuple[int, ...]
    travel_ms: float | None
    throw_mm: float | None
    home: str | None
    hand: bool


@dataclass(frozen=True, slots=True)
class PanelRow:
    """One button or lamp of the panel: its terminal and wire, and `what` of the plan it does or shows.

    `what` is "set", "toggle", "all_off" or "reset" for a button, "set", "fault" or "all_off" for a lamp; `name` is
    "button.NAME" or "lamp.NAME".
    """

    name: str
    lamp: bool
    board: str
    terminal: str
    wire: str
    what: str
    moves: tuple[tuple[str, str], ...]
    route: str | None
    feed: str | None


@dataclass(frozen=True, slots=True)
class CutRow:
    """Wires to cut: how many of one colour, size and length, and which."""

    colour: str | None
    letter: str
    size: str
    mm: float | None
    count: int
    marks: tuple[str, ...]
    what: str


@dataclass(frozen=True, slots=True)
class Need:
    """One line of the shopping list: `count` pieces or `metres`, and the spare on top."""

    what: str
    about: str
    count: int | None
    metres: float | None
    spare: float
    unit: str


@dataclass(frozen=True, slots=True)
class Reading:
    """One continuity reading with all supplies off: settings that differ from the first ones, two probe points."""

    number: int
    settings: tuple[tuple[str, str], ...]
    probe_a: str
    probe_b: str
    closed: bool
    reason: str


@dataclass(frozen=True, slots=True)
class LabelRow:
    """One wire label: what is printed and what its square code says."""

    mark: str
    top: str
    bottom: str
    code: str
    card: str


@dataclass(frozen=True)
class Book:
    """Everything that is printed. `groups` gives (board, channel) the enable that its output lies behind."""

    layout: str
    layout_hash: str
    control: str
    gauge: str
    gauge_mm: float
    colours: Mapping[str, str | None]
    districts: tuple[str, ...]
    cards: tuple[Card, ...]
    joints: tuple[JointRow, ...]
    wires: tuple[Wire, ...]
    tables: tuple[TableRow, ...]
    boards: tuple[BoardSheet, ...]
    drives: tuple[DriveRow, ...]
    moves: tuple[MoveRow, ...]
    cuts: tuple[CutRow, ...]
    needs: tuple[Need, ...]
    readings: tuple[Reading, ...]
    readings_about: Mapping[str, int]
    labels: tuple[LabelRow, ...]
    groups: Mapping[tuple[str, str], str]
    notes: tuple[str, ...] = ()
    panel: tuple[PanelRow, ...] = ()

    def wire(self, mark: str) -> Wire:
        """The wire of this mark. Raises KeyError where there is none."""
        for w in self.wires:
            if w.mark == mark:
                return w
        raise KeyError(mark)

    def card(self, name: str) -> Card:
        """The card of this piece or place. Raises KeyError where there is none."""
        for c in self.cards:
            if c.name == name:
                return c
        raise KeyError(name)
