"""Line items back to the plain values a layout file holds."""

from __future__ import annotations

from collections.abc import Iterable

from frogfeed.layout.lines import EndItem, FeedItem, GapItem, JoinerItem, LengthItem, LineItem, PlaceItem
from frogfeed.layout.schema import Hand

ItemValue = str | dict[str, str | float]


def item_values(items: Iterable[LineItem]) -> list[ItemValue]:
    """The items of a line as they stand in the file."""
    return [_value(i) for i in items]


def _value(item: LineItem) -> ItemValue:
    match item:
        case PlaceItem(name=name):
            return name
        case EndItem(piece=piece, end=end):
            return f"{piece}.{end}"
        case GapItem(hands=hands):
            return "|" if len(hands) == 2 else f"|{hands[0].value}"
        case LengthItem(mm=mm):
            return {"mm": mm}
        case JoinerItem(hands=hands):
            return {"joiner": "untrusted", **_rail(hands)}
        case FeedItem():
            value: dict[str, str | float] = {"feed": item.district, "left": item.left.value, **_rail(item.hands)}
            if item.wire is not None:
                value["wire"] = item.wire
            if item.mm is not None:
                value["mm"] = item.mm
            return value


def _rail(hands: tuple[Hand, ...]) -> dict[str, str]:
    return {} if len(hands) == 2 else {"rail": hands[0].value}
