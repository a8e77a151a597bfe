"""Changes to the text of a layout file: gaps, droppers and the facts of a piece. Comments and order stay.

Pure: text in, text out. Every change is read back, and must be the change that was meant and no other.
"""

from __future__ import annotations

import itertools
import tomllib
from typing import Any

import tomlkit
from tomlkit.exceptions import TOMLKitError

from frogfeed.console.refusals import RefusedError
from frogfeed.layout.lines import EndItem, FeedItem, GapItem, LineItem, PlaceItem
from frogfeed.layout.model import Layout
from frogfeed.track.network.model import Joint

TABLES = ("turnout", "three-way", "slip", "diamond", "piece")


def set_piece(layout: Layout, piece: str, key: str, value: str | None) -> str:
    """State a fact about a piece; None takes the key away, so that its default holds."""
    plain = tomllib.loads(layout.text)
    table = next((t for t in TABLES if piece in plain.get(t, {})), None)
    if table is None:
        raise RefusedError(f"there is no piece called {piece}", cure="choose one on the drawing")
    document = tomlkit.parse(layout.text)
    here: Any = document[table]
    if value is None:
        here[piece].pop(key, None)
        plain[table][piece].pop(key, None)
    else:
        here[piece][key] = value
        plain[table][piece][key] = value
    return _sealed(document, plain)


def set_gap(layout: Layout, joint: Joint, gap: str) -> str:
    """Insulate a joint in "both" rails, the "left" or "right" one (as its line lists it), or "none"."""
    first, last = _between(layout, joint)
    items = layout.lines[joint.line]
    old = [i for i in range(first + 1, last) if isinstance(items[i], GapItem)]
    new: list[Any] = [] if gap == "none" else ["|" if gap == "both" else f"|{gap}"]
    at = old[0] if old else first + 1 if isinstance(items[first], EndItem) else last
    return _splice(layout, joint.line, old, at, new)


def feeds_at(layout: Layout, joint: Joint) -> dict[str, dict[str, str] | None]:
    """The droppers stated at a joint: "before" and "after" its gap, each with district, left and rail, or None."""
    first, last = _between(layout, joint)
    found: dict[str, dict[str, str] | None] = {"before": None, "after": None}
    gap = next((i for i in range(first + 1, last) if isinstance(layout.lines[joint.line][i], GapItem)), None)
    for i in range(first + 1, last):
        item = layout.lines[joint.line][i]
        if isinstance(item, FeedItem):
            rail = "both" if len(item.hands) > 1 else str(item.hands[0])
            side = "before" if gap is None or i < gap else "after"
            found[side] = {"district": item.district, "left": str(item.left), "rail": rail}
    return found


def set_feed(layout: Layout, joint: Joint, side: str, district: str | None, left: str, rail: str) -> str:
    """Droppers at a joint: `side` "before" its gap (or right after its first end) or "after"; None takes them away."""
    if district is not None and district not in layout.file.district:
        raise RefusedError(f"there is no district called {district}", cure="choose one that the file declares")
    first, last = _between(layout, joint)
    items = layout.lines[joint.line]
    gaps = [i for i in range(first + 1, last) if isinstance(items[i], GapItem)]
    low, high = (
        (first + 1, gaps[0] if gaps else last) if side == "before" else ((gaps[-1] + 1) if gaps else first + 1, last)
    )
    old = [i for i in range(low, high) if isinstance(items[i], FeedItem)]
    new: list[Any] = []
    if district is not None:
        table = tomlkit.inline_table()
        table.update({"feed": district, "left": left, **({"rail": rail} if rail != "both" else {})})
        new = [table]
    return _splice(layout, joint.line, old, low if side == "before" else high - len([i for i in old if i < high]), new)


def _between(layout: Layout, joint: Joint) -> tuple[int, int]:
    """The places in the line's list of the two ends that the joint joins."""
    items = layout.lines.get(joint.line, ())
    stops = [i for i, item in enumerate(items) if isinstance(item, PlaceItem | EndItem)]
    for a, b in itertools.pairwise(stops):
        if _is(items[a], joint.a) and _is(items[b], joint.b):
            return a, b
    raise RefusedError(
        f"the joint between {joint.a[0]} and {joint.b[0]} is not where it was in line {joint.line}",
        "the layout was changed meanwhile",
        "choose the joint on the drawing as it is now",
    )


def _is(item: LineItem, end: tuple[str, str]) -> bool:
    if isinstance(item, EndItem):
        return (item.piece, item.end) == end
    return isinstance(item, PlaceItem) and item.name == end[0]


def _splice(layout: Layout, line: str, old: list[int], at: int, new: list[Any]) -> str:
    document = tomlkit.parse(layout.text)
    plain = tomllib.loads(layout.text)
    array: Any = document["lines"][line]
    for target in (array, plain["lines"][line]):
        for i in reversed(old):
            del target[i]
        for item in new:
            place = at - sum(1 for i in old if i < at)
            target.insert(place, item if target is array else getattr(item, "unwrap", lambda item=item: item)())
    return _sealed(document, plain)


def _sealed(document: tomlkit.TOMLDocument, plain: dict[str, Any]) -> str:
    try:
        text = tomlkit.dumps(document)
        same = tomllib.loads(text) == plain
    except (ValueError, TOMLKitError):
        same = False
    if not same:
        raise RefusedError(
            "this change does not fit into the file as it is laid out",
            "its lists or tables are written in a way that cannot be changed in place",
            "make the change in an editor",
        )
    return text
