"""A layout that has been read and found whole: what every later stage works from."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from frogfeed.findings.finding import Location
from frogfeed.layout.ends import KindShape, built_in_shapes
from frogfeed.layout.lines import LineItem
from frogfeed.layout.schema import LayoutFile

Path = tuple[str | int, ...]
"""Keys from the file's root to a value: ("turnout", "T1", "drive")."""


@dataclass(frozen=True, slots=True)
class Layout:
    """The validated tables, the typed lines, and where everything stands in the file.

    `locations` maps a key path to the location of its value; `text` is the file as read; `hash` the first
    16 hex digits of its SHA-256; `kinds` the outlines of all kinds of piece, the modeller's own included.
    """

    file: LayoutFile
    lines: Mapping[str, tuple[LineItem, ...]]
    locations: Mapping[Path, Location]
    text: str
    hash: str
    name: str
    kinds: Mapping[str, KindShape] = field(default_factory=built_in_shapes)

    def piece_at(self, name: str) -> Location | None:
        """Where a piece's or place's table stands in the file."""
        for table in ("turnout", "three-way", "slip", "diamond", "piece", "place"):
            found = self.locations.get((table, name))
            if found is not None:
                return found
        return None

    def at(self, *path: str | int) -> Location | None:
        """The location of the value at `path`, or of the nearest table around it."""
        for n in range(len(path), 0, -1):
            found = self.locations.get(tuple(path[:n]))
            if found is not None:
                return found
        return None
