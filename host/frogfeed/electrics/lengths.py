"""How long each rail is, in mm: from the lengths that a layout states, or from what is usual."""

from __future__ import annotations

from frogfeed.electrics import practice
from frogfeed.layout.model import Layout
from frogfeed.layout.schema import Piece
from frogfeed.parts import gauges
from frogfeed.track.network.model import RailNetwork


def piece_length_mm(layout: Layout, piece: Piece) -> float:
    """A piece from end to end: as stated, else (frog number + 6) gauges."""
    if piece.length_mm is not None:
        return piece.length_mm
    number = piece.frog_number or practice.FROG_NUMBER.value
    return gauges.gauge(layout.file.layout.gauge).gauge.value * (number + practice.PIECE_GAUGES.value)


def rail_lengths(layout: Layout, network: RailNetwork) -> dict[str, float]:
    """Every rail's length. A road's length is shared evenly by the rails under one wheel; a rail takes
    its most.
    """
    whole = {name: piece_length_mm(layout, p) for name, p in layout.file.pieces().items()}
    whole |= {name: place.length_mm or practice.PLACE_MM.value for name, place in layout.file.place.items()}
    found: dict[str, float] = {}
    for road in network.roads:
        for hand in (road.left, road.right):
            for rail in hand:
                share = whole[road.piece] / len(hand)
                found[rail] = max(found.get(rail, 0.0), share)
    return found


def facing_pairs(left: tuple[str, ...], right: tuple[str, ...]) -> list[tuple[str, str]]:
    """The pairs of rails under the two wheels of one axle along a road, each hand shared evenly by its
    rails.
    """
    pairs: list[tuple[str, str]] = []
    i = j = 0
    while i < len(left) and j < len(right):
        pairs.append((left[i], right[j]))
        here, there = (i + 1) * len(right), (j + 1) * len(left)
        if here <= there:
            i += 1
        if there <= here:
            j += 1
    return pairs
