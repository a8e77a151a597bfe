"""Wire colours by name, with the letter codes of IEC 60757 (from memory) and a value for the screen.

Green-and-yellow is left out on purpose: it is kept for protective earth (IEC 60445), never a track wire.
"""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Colour:
    """A wire colour: its name in the layout file, its letter code, and six hex digits for drawing."""

    name: str
    code: str
    rgb: str


COLOURS: tuple[Colour, ...] = (
    Colour("black", "BK", "1a1a1a"),
    Colour("brown", "BN", "7a4a21"),
    Colour("red", "RD", "c62828"),
    Colour("orange", "OG", "e07b00"),
    Colour("yellow", "YE", "d9b400"),
    Colour("green", "GN", "2e7d32"),
    Colour("blue", "BU", "1f5fbf"),
    Colour("violet", "VT", "7b3fa0"),
    Colour("grey", "GY", "808080"),
    Colour("white", "WH", "f4f4f4"),
    Colour("pink", "PK", "e58bab"),
    Colour("turquoise", "TQ", "1aa6a6"),
)

NAMES: tuple[str, ...] = tuple(c.name for c in COLOURS)
"""Every colour name that a layout file may use."""

BY_NAME: dict[str, Colour] = {c.name: c for c in COLOURS}


def colour(name: str) -> Colour:
    """The colour of this name. Raises KeyError where there is none."""
    return BY_NAME[name]
