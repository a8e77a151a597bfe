"""The items of a line, typed: places, piece ends, gaps, lengths, feeds and joiners.

Left and right are always as seen travelling in the order in which the line is listed.
"""

from __future__ import annotations

from dataclasses import dataclass

from frogfeed.findings.finding import Location
from frogfeed.layout.schema import Hand, Side


@dataclass(frozen=True, slots=True)
class PlaceItem:
    """A named stretch of plain track."""

    name: str
    at: Location


@dataclass(frozen=True, slots=True)
class EndItem:
    """An end of a piece. Two ends of one piece in a row mean a train passes through it."""

    piece: str
    end: str
    at: Location


@dataclass(frozen=True, slots=True)
class GapItem:
    """Insulated joiners or cuts in the rails of these hands."""

    hands: tuple[Hand, ...]
    at: Location


@dataclass(frozen=True, slots=True)
class LengthItem:
    """A length of plain track."""

    mm: float
    at: Location


@dataclass(frozen=True, slots=True)
class FeedItem:
    """Droppers here, from a district's bus: `left` says which bus wire the left rail takes.

    `hands` are the rails that have a dropper (both unless stated); `wire` a conductor size of
    `parts.wires` or None for the layout's default; `mm` the dropper's length or None.
    """

    district: str
    left: Side
    hands: tuple[Hand, ...]
    wire: str | None
    mm: float | None
    at: Location


@dataclass(frozen=True, slots=True)
class JoinerItem:
    """A metal joiner that the modeller does not trust to conduct."""

    hands: tuple[Hand, ...]
    at: Location


LineItem = PlaceItem | EndItem | GapItem | LengthItem | FeedItem | JoinerItem
