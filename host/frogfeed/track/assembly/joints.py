"""From the lines of a layout to joints: which ends meet, which rails conduct there, which droppers go where."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from frogfeed.findings.finding import Location
from frogfeed.layout.lines import EndItem, FeedItem, GapItem, JoinerItem, LengthItem, LineItem, PlaceItem
from frogfeed.layout.model import Layout
from frogfeed.layout.schema import Hand
from frogfeed.track.feeds.sides import EndFeed
from frogfeed.track.network.model import End, Feed, Joint, other

EndRails = Mapping[End, tuple[str, str]]
"""(piece, end) -> its (left, right) rails as seen looking in."""


@dataclass(frozen=True, slots=True)
class Joined:
    """All lines walked: joints, droppers, and what the droppers say of the ends they stand at."""

    joints: tuple[Joint, ...]
    feeds: tuple[Feed, ...]
    end_feeds: tuple[EndFeed, ...]


@dataclass(slots=True)
class _Stop:
    """One place or piece along a line: the end by which the line comes in and the end by which it goes out."""

    enter: End | None
    leave: End | None
    at: Location
    after: list[LineItem]
    index: int = 0


def _stops(items: Iterable[LineItem], free: dict[str, list[str]]) -> tuple[list[_Stop], list[LineItem]]:
    """The stops of one line in order, and the items before the first; `free` are the unused ends of places."""
    stops: list[_Stop] = []
    before: list[LineItem] = []
    nodes = [i for i in items if isinstance(i, PlaceItem | EndItem)]
    last = nodes[-1] if nodes else None
    for index, item in enumerate(items):
        if isinstance(item, PlaceItem):
            left = free.setdefault(item.name, ["a", "b"])
            enter = None
            if stops:
                enter = (item.name, left.pop(0))
            leave = (item.name, left.pop()) if item is not last and left else None
            stops.append(_Stop(enter, leave, item.at, [], index))
        elif isinstance(item, EndItem):
            previous = stops[-1] if stops else None
            if (
                previous is not None
                and previous.leave is None
                and not previous.after
                and previous.enter is not None
                and previous.enter[0] == item.piece
            ):
                previous.leave, previous.index = (item.piece, item.end), index
            elif previous is None or previous.leave is None:
                # At the start of a line an end is left by; the next stop may show that it was entered instead.
                stops.append(_Stop(None, (item.piece, item.end), item.at, [], index))
            elif previous.enter is None and previous.leave[0] == item.piece and not previous.after:
                previous.enter, previous.leave, previous.index = previous.leave, (item.piece, item.end), index
            else:
                stops.append(_Stop((item.piece, item.end), None, item.at, [], index))
        elif stops:
            stops[-1].after.append(item)
        else:
            before.append(item)
    return stops, before


def walk_lines(layout: Layout, rails: EndRails, absent: frozenset[str], ends: dict[str, list[str]]) -> Joined:
    """Walk every line; `absent` are pieces and places that are not built, whose joints are left out.

    `ends` receives, for each place, the ends that no line has used.
    """
    joints: list[Joint] = []
    feeds: list[Feed] = []
    end_feeds: list[EndFeed] = []

    def dropper(item: FeedItem, end: End, outward: bool) -> None:
        if end[0] in absent:
            return
        looking_left, looking_right = rails[end]
        left_rail, right_rail = (looking_right, looking_left) if outward else (looking_left, looking_right)
        for hand, rail, side in (
            (Hand.LEFT, left_rail, item.left),
            (Hand.RIGHT, right_rail, other(item.left)),
        ):
            if hand in item.hands:
                feeds.append(Feed(rail, f"{item.district}.{side}", item.wire, item.mm, item.at))
        end_feeds.append(EndFeed(end, item.district, other(item.left) if outward else item.left))

    for line, items in layout.lines.items():
        stops, before = _stops(items, ends)
        for item in before:
            if isinstance(item, FeedItem) and stops and (first := stops[0].enter or stops[0].leave):
                dropper(item, first, outward=first == stops[0].leave)
        for here, there in zip(stops, [*stops[1:], None], strict=True):
            a = here.leave or here.enter
            if a is None:
                continue
            b = there.enter or there.leave if there is not None else None
            gaps: set[Hand] = set()
            untrusted: set[Hand] = set()
            mm = 0.0
            for item in here.after:
                if isinstance(item, GapItem):
                    gaps |= set(item.hands)
                elif isinstance(item, JoinerItem):
                    untrusted |= set(item.hands)
                elif isinstance(item, LengthItem):
                    mm += item.mm
                elif isinstance(item, FeedItem):
                    beyond = gaps or untrusted or a[0] in absent
                    if b is not None and beyond and b[0] not in absent:
                        dropper(item, b, outward=False)
                    else:
                        dropper(item, a, outward=True)
            if b is None or a[0] in absent or b[0] in absent:
                continue
            right_out, left_out = rails[a]
            left_in, right_in = rails[b]
            joints.append(
                Joint(
                    a,
                    b,
                    (left_out, left_in),
                    (right_out, right_in),
                    frozenset(gaps),
                    frozenset(untrusted - gaps),
                    mm,
                    line,
                    here.index,
                    here.at,
                )
            )
    return Joined(tuple(joints), tuple(feeds), tuple(end_feeds))
