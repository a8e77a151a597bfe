"""The items of a line, from what is written to what is meant: names, ends, gaps, lengths, feeds and joiners."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any

from pydantic import BaseModel, ValidationError

from frogfeed.findings.finding import Location
from frogfeed.layout.ends import KindShape
from frogfeed.layout.lines import EndItem, FeedItem, GapItem, JoinerItem, LengthItem, LineItem, PlaceItem
from frogfeed.layout.mistakes import Mistakes, did_you_mean, listed, nearest, shown
from frogfeed.layout.positions import KeyPath
from frogfeed.layout.schema import FeedTable, GapTable, Hand, JoinerTable, LengthTable
from frogfeed.layout.schema_errors import report

BOTH = (Hand.LEFT, Hand.RIGHT)
GAPS: dict[str, tuple[Hand, ...]] = {"|": BOTH, "|left": (Hand.LEFT,), "|right": (Hand.RIGHT,)}
_HANDS: dict[Hand | None, tuple[Hand, ...]] = {None: BOTH, Hand.LEFT: (Hand.LEFT,), Hand.RIGHT: (Hand.RIGHT,)}
_TABLES: dict[str, type[BaseModel]] = {
    "feed": FeedTable, "joiner": JoinerTable, "gap": GapTable, "mm": LengthTable,
}  # fmt: skip


@dataclass(frozen=True, slots=True)
class Broken:
    """Stands where an item could not be read, so that nothing is concluded from its absence."""

    at: Location


Read = LineItem | Broken


@dataclass(frozen=True)
class Names:
    """What a line may name. `shapes` has None for a piece whose kind is not known; nothing is said of its ends.

    `doubtful` are names whose own tables are in error: to name them is no mistake.
    """

    shapes: Mapping[str, KindShape | None]
    places: frozenset[str]
    districts: frozenset[str] | None
    wires: frozenset[str] | None
    doubtful: frozenset[str]


class ItemReader:
    """Reads items of lines. `meant` gathers ends and places that a misspelt item probably meant."""

    def __init__(self, names: Names, mistakes: Mistakes) -> None:
        self.names = names
        self.mistakes = mistakes
        self.meant: set[tuple[str, str]] = set()
        self._locations = mistakes.where

    def line(self, name: str, items: Iterable[Any]) -> list[Read]:
        """One line's items, in order; what cannot be read is Broken, and has a finding."""
        found: list[Read] = []
        shapes, places = self.names.shapes, self.names.places
        locations = self._locations
        for i, raw in enumerate(items):
            path: KeyPath = ("lines", name, i)
            at = locations[path]
            if isinstance(raw, str):
                gap = GAPS.get(raw)
                if gap is not None:
                    found.append(GapItem(gap, at))
                    continue
                piece, dot, end = raw.partition(".")
                if dot:
                    shape = shapes.get(piece)
                    if shape is not None and end in shape.ends:
                        found.append(EndItem(piece, end, at))
                        continue
                elif raw in places:
                    found.append(PlaceItem(raw, at))
                    continue
                found.append(self._odd_text(raw, path, at))
            else:
                found.append(self._table(raw, path, at))
        return found

    def _odd_text(self, raw: str, path: KeyPath, at: Location) -> Read:
        piece, dot, end = raw.partition(".")
        names, mistakes = self.names, self.mistakes
        if raw.lstrip().startswith("|"):
            mistakes.add(
                "file-line-item",
                path,
                f"{shown(raw)} is no gap",
                cure='Write "|" for a gap in both rails, "|left" or "|right" for one, as seen '
                "travelling in this order.",
            )
        elif piece in names.doubtful:
            return Broken(at)
        elif not dot and raw in names.shapes:
            shape = names.shapes[raw]
            ends = listed([f'"{raw}.{e}"' for e in shape.ends], last="or") if shape else f'"{raw}.END"'
            self.meant |= {(raw, e) for e in shape.ends} if shape else set()
            mistakes.add(
                "file-unknown-end",
                path,
                f"{shown(raw)} is a {shape.title if shape else 'piece'}, and the line does not say by which end",
                why="A line lists the ends of a piece in the order in which a train meets them.",
                cure=f"Write {ends}.",
            )
        elif dot and names.shapes.get(piece) is not None:
            self._unknown_end(piece, end, path)
        elif dot and piece in names.shapes:
            return EndItem(piece, end, at)
        elif dot and piece in names.places:
            self.meant.add((piece, ""))
            mistakes.add(
                "file-unknown-end",
                path,
                f"{shown(piece)} is a place, and places have no ends to name",
                cure=f'Write "{piece}".',
            )
        elif dot:
            near = nearest(piece, names.shapes)
            if near is not None:
                self.meant.add((near, end))
            mistakes.add(
                "file-unknown-piece",
                path,
                f"there is no piece {shown(piece)}",
                cure=did_you_mean(
                    piece, names.shapes, f"Declare it: [turnout.{piece}], or whatever kind of piece it is."
                ),
                subject=piece,
            )
        else:
            self._unknown_place(raw, path)
        return Broken(at)

    def _unknown_end(self, piece: str, end: str, path: KeyPath) -> None:
        shape = self.names.shapes[piece]
        assert shape is not None
        near = nearest(end, shape.ends)
        self.meant |= {(piece, near)} if near else {(piece, e) for e in shape.ends}
        suggestion = f'Did you mean "{piece}.{near}"? ' if near else ""
        self.mistakes.add(
            "file-unknown-end",
            path,
            f"{piece} has no end {shown(end)}",
            cure=f"{suggestion}The ends of a {shape.title} are {listed(shape.ends)}.",
            subject=f"{piece}.{end}",
        )

    def _unknown_place(self, raw: str, path: KeyPath) -> None:
        near = nearest(raw, [*self.names.places, *self.names.shapes])
        if near is not None:
            self.meant.add((near, ""))
        valid = raw[:1].isalpha() and all(c.isalnum() or c in "_-" for c in raw) and raw.isascii()
        declare = "Names have letters, digits, - and _ only. Declare a place as [place.NAME]."
        if valid:
            declare = f'Declare it: [place.{raw}], with kind = "buffer", "open" or "section".'
        if near is not None:
            declare = f'Did you mean "{near}"? ' + (f"Or d{declare[1:]}" if valid else "")
        self.mistakes.add(
            "file-unknown-place",
            path,
            f"there is no place {shown(raw)}",
            why="Every name in a line is declared once, so that a slip of the pen cannot make a new track.",
            cure=declare.strip(),
            subject=raw,
        )

    def _table(self, raw: Any, path: KeyPath, at: Location) -> Read:
        if not isinstance(raw, dict):
            self.mistakes.add(
                "file-line-item",
                path,
                f"{shown(raw)} is no item of a line",
                cure='Write a name ("siding"), an end ("T1.toe"), a gap ("|"), or a table such as { mm = 900 }.',
            )
            return Broken(at)
        key = next((k for k in _TABLES if k in raw), None)
        if key is None:
            first = next(iter(raw), "")
            near = nearest(first, _TABLES)
            self.mistakes.add(
                "file-line-item",
                path,
                "this table is no item of a line",
                cure=(f'Did you mean "{near}"? ' if near else "")
                + 'Write { mm = 900 }, { feed = "main", left = "A" }, { joiner = "untrusted" } or { gap = "left" }.',
            )
            return Broken(at)
        try:
            table = _TABLES[key].model_validate(raw)
        except ValidationError as e:
            if key == "feed" and "right" in raw and "left" not in raw and raw["right"] in ("A", "B"):
                left = "B" if raw["right"] == "A" else "A"
                self.mistakes.add(
                    "file-unknown-key",
                    (*path, "right"),
                    'a feed says which bus wire the left rail takes, not "right"',
                    why="The right rail takes the other wire of the same district.",
                    cure=f'Write left = "{left}", which is the same.',
                    at_key=True,
                )
            else:
                report(e, _TABLES[key], raw, path, self.mistakes)
            return Broken(at)
        return self._typed(table, path, at)

    def _typed(self, table: BaseModel, path: KeyPath, at: Location) -> Read:
        if isinstance(table, LengthTable):
            return LengthItem(table.mm, at)
        if isinstance(table, GapTable):
            return GapItem(BOTH if table.gap == "both" else (Hand(table.gap),), at)
        if isinstance(table, JoinerTable):
            return JoinerItem(_HANDS[table.rail], at)
        assert isinstance(table, FeedTable)
        names = self.names
        if names.districts is not None and table.feed not in names.districts | names.doubtful:
            self.mistakes.add(
                "file-unknown-district",
                (*path, "feed"),
                f"there is no district {shown(table.feed)} to feed from",
                cure=did_you_mean(table.feed, sorted(names.districts)),
            )
        if table.wire is not None and names.wires is not None and table.wire not in names.wires:
            self.mistakes.add(
                "file-unknown-wire",
                (*path, "wire"),
                f"there is no wire size {shown(table.wire)}",
                cure=did_you_mean(table.wire, sorted(names.wires)),
            )
        return FeedItem(table.feed, table.left, _HANDS[table.rail], table.wire, table.mm, at)
