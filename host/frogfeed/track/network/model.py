"""The rail network: every rail of a layout and what joins it to others, for all drive settings at once."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import StrEnum

from frogfeed.findings.finding import Location
from frogfeed.layout.schema import Hand, Side
from frogfeed.track.network.conditions import When


class BondKind(StrEnum):
    """Why two rails always conduct."""

    JOINER = "joiner"
    UNTRUSTED = "untrusted joiner"
    CASTING = "one casting"
    LINK = "factory link"
    BLADE = "blade bond"
    FROG = "frog bond"
    SECTION = "section bond"
    COMMON = "common"


class BridgeKind(StrEnum):
    """Where a wheel joins two rails."""

    JOINT = "gapped joint"
    VEE = "vee"
    OBTUSE = "obtuse point"
    INTERNAL = "internal gap"
    BLADE = "open blade"


End = tuple[str, str]
"""(piece or place, end)."""


def other(side: Side) -> Side:
    """The other bus wire."""
    return Side.B if side is Side.A else Side.A


@dataclass(frozen=True, slots=True)
class EndSide:
    """What an end should carry: the district, the wire of its left rail looking in, and the gaps to its dropper.

    Gaps as `feeds.sides` counts them: those of both rails of a joint more than any number of those in one.
    """

    district: str
    left: Side
    gaps: int

    def wire(self, hand: Hand) -> str:
        """The bus wire of the rail of this hand, looking in."""
        side = self.left if hand is Hand.LEFT else other(self.left)
        return f"{self.district}.{side}"

    def turned(self) -> EndSide:
        """The same rails seen from the opposite direction."""
        return EndSide(self.district, other(self.left), self.gaps)


@dataclass(frozen=True, slots=True)
class Wire:
    """A bus wire: one a district and side. Named `main.A`."""

    name: str
    district: str
    side: Side


@dataclass(frozen=True, slots=True)
class Bond:
    """Two rails that always conduct."""

    a: str
    b: str
    kind: BondKind
    at: Location | None


@dataclass(frozen=True, slots=True)
class Contact:
    """A blade that touches a rail at some settings."""

    a: str
    b: str
    when: When
    at: Location | None


@dataclass(frozen=True, slots=True)
class Feed:
    """A dropper from a bus wire to a rail. `mm` and `size` are None where the layout states none."""

    rail: str
    wire: str
    size: str | None
    mm: float | None
    at: Location | None


@dataclass(frozen=True, slots=True)
class TableRow:
    """One row of a decision table: where `when` holds, the output joins the rail to `wire`."""

    when: When
    wire: str


@dataclass(frozen=True, slots=True)
class SwitchedFeed:
    """A rail fed through a switched output. Rows are disjoint; where none holds the output is off.

    `output` names the output ("T1.F"); two rails of one section ("loop.R1", "loop.R2") are two entries.
    `drives` are the drives the table needs; `undecided` the settings in which two roads of different polarity
    are both set.
    `bonded_blades` says that no blade can carry the switched conductor to a stock rail.
    """

    rail: str
    output: str
    piece: str
    district: str
    rows: tuple[TableRow, ...]
    drives: tuple[str, ...]
    bonded_blades: bool
    undecided: When = ()
    at: Location | None = None


@dataclass(frozen=True, slots=True)
class Bridge:
    """Two rails that a wheel joins when a train takes a road, at a gap or beside a vee."""

    a: str
    b: str
    when: When
    kind: BridgeKind
    at: Location | None


@dataclass(frozen=True, slots=True)
class Road:
    """A movement through one piece: the rails under its left and right wheels, in order, seen from `start`."""

    piece: str
    start: str
    end: str
    when: When
    left: tuple[str, ...]
    right: tuple[str, ...]

    @property
    def name(self) -> str:
        return f"{self.piece}:{self.start}-{self.end}"


@dataclass(frozen=True, slots=True)
class Joint:
    """Two ends of pieces or places that meet, with the rails that face each other across the joint.

    `left` and `right` pair the rails as seen travelling from `a` to `b`; a hand in `gaps` does not conduct.
    `index` is the place in the line's items of the one that names end `a`.
    """

    a: End
    b: End
    left: tuple[str, str]
    right: tuple[str, str]
    gaps: frozenset[Hand]
    untrusted: frozenset[Hand]
    mm: float
    line: str
    index: int
    at: Location


@dataclass(frozen=True, slots=True)
class PieceEnds:
    """Which rails show at each end of a piece: end -> (left, right) as seen looking in."""

    kind: str
    ends: Mapping[str, tuple[str, str]]
    at: Location | None


@dataclass(frozen=True, slots=True)
class Section:
    """Rails to be fed as one through a switched output; `bonded` where no blade contact can carry them elsewhere."""

    output: str
    piece: str
    rails: tuple[str, ...]
    bonded: bool
    at: Location | None


@dataclass(frozen=True, slots=True)
class SectionEnd:
    """An end inside the switched section of a place; `first` is the hand, looking in, of the place's first rail."""

    place: str
    first: Hand


@dataclass(frozen=True)
class RailNetwork:
    """Everything the solver, the electrics, the bench and the sheets know of the rails.

    `section_of` says to which switched section an end belongs; `apart` what a place takes in that does not
    touch it.
    """

    drives: Mapping[str, tuple[str, ...]]
    rails: tuple[str, ...]
    wires: Mapping[str, Wire]
    bonds: tuple[Bond, ...]
    contacts: tuple[Contact, ...]
    feeds: tuple[Feed, ...]
    switched: tuple[SwitchedFeed, ...]
    bridges: tuple[Bridge, ...]
    roads: tuple[Road, ...]
    joints: tuple[Joint, ...]
    pieces: Mapping[str, PieceEnds]
    forbidden: When = ()
    plastic: tuple[tuple[str, str], ...] = ()
    in_phase: frozenset[frozenset[str]] = field(default=frozenset())
    piece_of: Mapping[str, str] = field(default_factory=dict)
    sides: Mapping[End, EndSide] = field(default_factory=dict)
    commons: frozenset[frozenset[str]] = field(default=frozenset())
    cut_links: tuple[tuple[str, str], ...] = ()
    sections: tuple[Section, ...] = ()
    section_of: Mapping[End, SectionEnd] = field(default_factory=dict)
    apart: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
