"""The outline of each kind of piece that a reader of layout files must know: ends, drive slots and roads.

Read from the catalogue's own files (the built-in ones, or a modeller's), so a kind has its ends in one place only. What
lies between the ends (rails, blades, frogs) is the business of `track`, which reads the same files in full.
"""

from __future__ import annotations

import tomllib
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from functools import cache
from importlib.resources import files
from pathlib import Path
from types import MappingProxyType
from typing import Any

from frogfeed.layout.schema import Diamond, OwnPiece, Piece, Slip, SlipBlades, ThreeWay, Turnout


@dataclass(frozen=True, slots=True)
class KindShape:
    """A kind's outline. `slots` are its drives with their settings; `joined` the pairs of ends that a road joins."""

    name: str
    title: str
    ends: tuple[str, ...]
    slots: Mapping[str, tuple[str, ...]]
    joined: frozenset[frozenset[str]]
    makes: frozenset[str]
    frogs: tuple[str, ...]


KindReader = Callable[[Path], Mapping[str, KindShape]]
"""Reads one catalogue file of a modeller's own; raises OSError or ValueError with a text for a person."""


def shapes_of(text: str) -> dict[str, KindShape]:
    """The outlines in one catalogue file, aliases and variants included.

    Raises ValueError where the text is no TOML or lacks what an outline needs.
    """
    data = tomllib.loads(text)
    try:
        name: str = data["name"]
        roads: list[dict[str, Any]] = data["road"]
        plain = KindShape(
            name=name,
            title=data.get("title", name),
            ends=tuple(dict.fromkeys(end for key in ("from", "to") for road in roads for end in [road[key]])),
            slots=_slots(data.get("drives", {})),
            joined=frozenset(frozenset((road["from"], road["to"])) for road in roads),
            makes=frozenset(data["make"]),
            frogs=tuple(frog["name"] for frog in data.get("frog", [])),
        )
        shapes = {name: plain} | {alias: replace(plain, name=alias) for alias in data.get("aliases", [])}
        for variant, table in data.get("variant", {}).items():
            shapes[variant] = replace(plain, name=variant, slots=_slots(table["drives"]))
    except KeyError as e:
        raise ValueError(f"key {e.args[0]!r} is missing") from e
    except (TypeError, AttributeError) as e:
        raise ValueError(f"not in the form of a catalogue file ({e})") from e
    return shapes


def _slots(table: Mapping[str, list[str]]) -> Mapping[str, tuple[str, ...]]:
    return MappingProxyType({slot: tuple(settings) for slot, settings in table.items()})


def read_shapes(path: Path) -> dict[str, KindShape]:
    """The outlines in a modeller's own catalogue file. Raises OSError or ValueError."""
    return shapes_of(path.read_text(encoding="utf-8"))


@cache
def built_in_shapes() -> Mapping[str, KindShape]:
    """The outlines of the kinds that frogfeed ships, by name."""
    shapes: dict[str, KindShape] = {}
    kinds = files("frogfeed").joinpath("track").joinpath("pieces").joinpath("kinds")
    for entry in sorted(kinds.iterdir(), key=lambda e: e.name):
        if entry.name.endswith(".toml"):
            shapes |= shapes_of(entry.read_text(encoding="utf-8"))
    return MappingProxyType(shapes)


_SINGLE_SLIPS = {"a.left-b.right": "single-slip-left", "a.right-b.left": "single-slip-right"}


def kind_name(piece: Piece) -> str:
    """The catalogue's name for a piece's kind: as stated, or what its table stands for."""
    if piece.kind is not None:
        return piece.kind
    if isinstance(piece, ThreeWay):
        return "three-way"
    if isinstance(piece, Diamond):
        return "diamond"
    if isinstance(piece, Slip):
        plain = "double-slip" if piece.slip_road is None else _SINGLE_SLIPS[piece.slip_road]
        return plain + ("-crossing-or-slip" if piece.blades_move is SlipBlades.CROSSING_OR_SLIP else "")
    return "turnout"


def fits_table(shape: KindShape, piece: Piece) -> bool:
    """Whether a kind may stand in the table of this piece: it has the ends and drive slots that the table is for."""
    if isinstance(piece, OwnPiece):
        return True
    ends, slots = _TABLES[type(piece)]
    return set(shape.ends) == ends and set(shape.slots) == slots


_CROSSING_ENDS = {"a.left", "a.right", "b.left", "b.right"}
_TABLES: dict[type[Piece], tuple[set[str], set[str]]] = {
    Turnout: ({"toe", "left", "right"}, {"drive"}),
    ThreeWay: ({"toe", "left", "middle", "right"}, {"drive_left", "drive_right"}),
    Slip: (_CROSSING_ENDS, {"drive_a", "drive_b"}),
    Diamond: (_CROSSING_ENDS, set()),
}
