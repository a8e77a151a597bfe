"""The catalogue: what each kind of piece is made of, read from TOML; no polarity is written in it.

A kind has roads (the rails under left and right wheels in order, with blade tips), frogs (rails that become
one section when the frog is fed through a switch), and makes (castings, factory links, plastic). Which rails
show at an end, when a blade touches, and what a frog must be fed with all follow from the roads.
"""

from __future__ import annotations

import tomllib
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from functools import cache
from importlib.resources import files
from pathlib import Path
from typing import Annotated

from pydantic import BaseModel, ConfigDict, Field, ValidationError

from frogfeed.layout.model import Layout
from frogfeed.layout.schema import Hand, Make
from frogfeed.track.network.conditions import Term, term


class BadKindError(ValueError):
    """A kind of piece that contradicts itself; the message says what and where in the kind's file."""


class _Table(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True)


class _RoadTable(_Table):
    start: Annotated[str, Field(alias="from")]
    end: Annotated[str, Field(alias="to")]
    when: dict[str, str] = {}
    left: str
    right: str


class _FrogTable(_Table):
    name: str
    rails: str
    vee: str | None = None
    points: str | None = None


class _MakeTable(_Table):
    castings: list[str] = []
    links: list[str] = []
    plastic: list[str] = []


class _VariantTable(_Table):
    drives: dict[str, list[str]]
    when: list[dict[str, str]]


class _KindTable(_Table):
    name: str
    title: str
    aliases: list[str] = []
    drives: dict[str, list[str]] = {}
    moved_by: dict[str, str] = {}
    road: Annotated[list[_RoadTable], Field(min_length=1)]
    forbidden: list[dict[str, str]] = []
    frog: list[_FrogTable] = []
    make: dict[Make, _MakeTable]
    variant: dict[str, _VariantTable] = {}


@dataclass(frozen=True, slots=True)
class Tip:
    """A blade's tip: `blade` lies against `stock` and faces the end `faces`; it touches while `when` holds."""

    blade: str
    stock: str
    faces: str
    when: Term


@dataclass(frozen=True, slots=True)
class KindRoad:
    """A movement through the piece from `start` to `end`; rails in the order in which wheels meet them."""

    start: str
    end: str
    when: Term
    left: tuple[str, ...]
    right: tuple[str, ...]

    def reversed(self) -> KindRoad:
        """The same road taken the other way."""
        return KindRoad(self.end, self.start, self.when, self.right[::-1], self.left[::-1])


@dataclass(frozen=True, slots=True)
class Frog:
    """A crossing whose rails become one section when it is fed; `vee` and `points` are rails a tread can join."""

    name: str
    rails: tuple[str, ...]
    vee: tuple[str, str] | None
    points: tuple[str, str] | None
    acute: bool


@dataclass(frozen=True, slots=True)
class MakeUp:
    """How one make leaves the factory: conductors cast in one, removable links, and plastic crossings."""

    castings: tuple[tuple[str, ...], ...]
    links: tuple[tuple[str, str], ...]
    plastic: frozenset[str]


@dataclass(frozen=True)
class Kind:
    """A kind of piece. `slots` name its drives with their settings; `ends` give (left, right) looking in."""

    name: str
    title: str
    slots: Mapping[str, tuple[str, ...]]
    roads: tuple[KindRoad, ...]
    forbidden: tuple[Term, ...]
    frogs: tuple[Frog, ...]
    makes: Mapping[Make, MakeUp]
    tips: tuple[Tip, ...]
    ends: Mapping[str, tuple[str, str]]

    def rails(self, make: Make) -> tuple[str, ...]:
        """The rails of this make (plastic is no rail), in the order in which roads meet them."""
        plastic = self.makes[make].plastic
        return tuple(
            dict.fromkeys(
                r for road in self.roads for hand in (road.left, road.right) for r in hand if r not in plastic
            )
        )


def _parse_rails(text: str, start: str, end: str) -> tuple[tuple[str, ...], list[tuple[str, str, str]]]:
    """The rails of a road string, and (blade, stock, faced end) for each tip in it."""
    words = text.split()
    if not words:
        raise BadKindError(f"road {start} to {end}: a hand without any rail")
    rails = tuple(w.strip("<>") for w in words)
    tips: list[tuple[str, str, str]] = []
    for i, word in enumerate(words):
        if word.startswith(">"):
            if i == 0:
                raise BadKindError(f"{text!r}: {word} has no rail before its tip")
            tips.append((rails[i], rails[i - 1], start))
        if word.endswith("<"):
            if i + 1 == len(words):
                raise BadKindError(f"{text!r}: {word} has no rail beyond its tip")
            tips.append((rails[i], rails[i + 1], end))
    return rails, tips


def _touches(
    tip: tuple[str, str, str],
    uses: Mapping[tuple[str, str, str], list[int]],
    roads: tuple[KindRoad, ...],
    moved_by: Mapping[str, str],
) -> Term:
    """When a tip touches: what the roads over it share, in the drives that part them from a road that stays.

    A kind may say which drive moves a blade (by blade, or by the end its tip faces) where roads leave it open.
    """
    blade, stock, end = tip
    over = [roads[i] for i in uses[tip]]
    shared = set(over[0].when).intersection(*(set(r.when) for r in over[1:]))
    parted: set[str] = set()
    for road in roads:
        for r in (road, road.reversed()):
            if r.start != end:
                continue
            for hand in (r.left, r.right):
                if stock not in hand or blade in hand:
                    continue
                following = hand[hand.index(stock) + 1 :][:1]
                if following and (following[0], stock, end) in uses:
                    continue
                other = dict(r.when)
                parted |= {slot for slot, setting in shared if other.get(slot) != setting}
    by = moved_by.get(blade) or moved_by.get(end)
    if by is not None:
        parted = {by}
    found = tuple(sorted((slot, s) for slot, s in shared if slot in parted))
    if not found and any(r.when for r in over):
        raise BadKindError(
            f"blade {blade} at {stock}: no drive parts the roads that use it from those that stay on {stock}"
        )
    return found


def _build(table: _KindTable, name: str, drives: Mapping[str, list[str]], whens: list[dict[str, str]]) -> Kind:
    slots = {slot: tuple(settings) for slot, settings in drives.items()}
    roads: list[KindRoad] = []
    uses: dict[tuple[str, str, str], list[int]] = {}
    for i, (row, when) in enumerate(zip(table.road, whens, strict=True)):
        for slot, setting in when.items():
            if setting not in slots.get(slot, ()):
                raise BadKindError(f"road {row.start} to {row.end}: drive {slot!r} has no setting {setting!r}")
        left, left_tips = _parse_rails(row.left, row.start, row.end)
        right, right_tips = _parse_rails(row.right, row.start, row.end)
        roads.append(KindRoad(row.start, row.end, term(when), left, right))
        for t in left_tips + right_tips:
            uses.setdefault(t, []).append(i)
    all_roads = tuple(roads)
    ends: dict[str, tuple[str, str]] = {}
    for road in all_roads:
        for r in (road, road.reversed()):
            shown = (r.left[0], r.right[0])
            if ends.setdefault(r.start, shown) != shown:
                raise BadKindError(f"end {r.start}: one road shows rails {ends[r.start]}, another {shown}")
    known = {rail for r in all_roads for rail in (*r.left, *r.right)}
    tips = tuple(Tip(b, s, e, _touches((b, s, e), uses, all_roads, table.moved_by)) for b, s, e in uses)
    frogs = tuple(_frog(f, all_roads, known) for f in table.frog)
    makes: dict[Make, MakeUp] = {}
    for make, m in table.make.items():
        for group in (*m.castings, *m.links, *m.plastic):
            if unknown := set(group.split()) - known:
                raise BadKindError(f"make {make}: no road has a rail {sorted(unknown)[0]!r}")
        links = [tuple(g.split()) for g in m.links]
        if any(len(pair) != 2 for pair in links):
            raise BadKindError(f"make {make}: a link joins two rails")
        makes[make] = MakeUp(
            tuple(tuple(g.split()) for g in m.castings),
            tuple((p[0], p[1]) for p in links),
            frozenset(m.plastic),
        )
    for never in table.forbidden:
        for slot, setting in never.items():
            if setting not in slots.get(slot, ()):
                raise BadKindError(f"forbidden: drive {slot!r} has no setting {setting!r}")
    forbidden = tuple(term(t) for t in table.forbidden)
    return Kind(name, table.title, slots, all_roads, forbidden, frogs, makes, tips, ends)


def _pair(text: str | None) -> tuple[str, str] | None:
    if text is None:
        return None
    words = text.split()
    if len(words) != 2:
        raise BadKindError(f"{text!r}: two rails are wanted here")
    return words[0], words[1]


def _frog(table: _FrogTable, roads: Iterable[KindRoad], known: set[str]) -> Frog:
    rails = tuple(table.rails.split())
    if not rails:
        raise BadKindError(f"frog {table.name}: it has no rails")
    named = {*rails, *(table.vee or "").split(), *(table.points or "").split()}
    if unknown := named - known:
        raise BadKindError(f"frog {table.name}: no road has a rail {sorted(unknown)[0]!r}")
    hands = {h for r in roads for h, rs in ((Hand.LEFT, r.left), (Hand.RIGHT, r.right)) if rails[0] in rs}
    return Frog(table.name, rails, _pair(table.vee), _pair(table.points), acute=len(hands) == 2)


def read_kinds(text: str, source: str) -> dict[str, Kind]:
    """The kinds that one catalogue file defines, variants and aliases included.

    Raises BadKindError with the file's name where the file is no kind or contradicts itself.
    """
    try:
        table = _KindTable.model_validate(tomllib.loads(text))
        plain = _build(table, table.name, table.drives, [r.when for r in table.road])
        kinds = {table.name: plain}
        kinds |= {alias: replace(plain, name=alias) for alias in table.aliases}
        for name, v in table.variant.items():
            if len(v.when) != len(table.road):
                raise BadKindError(f"variant {name}: {len(v.when)} conditions for {len(table.road)} roads")
            kinds[name] = _build(table, name, v.drives, v.when)
    except tomllib.TOMLDecodeError as e:
        raise BadKindError(f"{source}: not TOML: {e}") from e
    except ValidationError as e:
        first = e.errors()[0]
        raise BadKindError(f"{source}: {'.'.join(str(p) for p in first['loc'])}: {first['msg']}") from e
    except (BadKindError, ValueError) as e:
        raise BadKindError(f"{source}: {e}") from e
    return kinds


@cache
def built_in() -> Mapping[str, Kind]:
    """The kinds that frogfeed ships, by name."""
    kinds: dict[str, Kind] = {}
    for entry in sorted(files("frogfeed.track.pieces").joinpath("kinds").iterdir(), key=lambda e: e.name):
        if entry.name.endswith(".toml"):
            kinds |= read_kinds(entry.read_text(encoding="utf-8"), entry.name)
    return kinds


def with_own(paths: Iterable[Path]) -> Mapping[str, Kind]:
    """The built-in kinds and those of a modeller's own files; a name taken twice is refused."""
    kinds = dict(built_in())
    for path in paths:
        for name, kind in read_kinds(path.read_text(encoding="utf-8"), str(path)).items():
            if name in kinds:
                raise BadKindError(f"{path}: a kind named {name!r} exists already; give yours another name")
            kinds[name] = kind
    return kinds


def kinds_of(layout: Layout) -> Mapping[str, Kind]:
    """The kinds a layout may use: the built-in ones, and those of its own catalogue files beside it."""
    return with_own(Path(layout.name).parent / own for own in layout.file.layout.catalogue)
