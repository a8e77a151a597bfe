"""Whether lines hold together: every end joined once, every piece left again, every gap with track on both sides."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field

from frogfeed.layout.ends import KindShape
from frogfeed.layout.line_items import BOTH, Broken, Names, Read
from frogfeed.layout.lines import EndItem, FeedItem, GapItem, JoinerItem, PlaceItem
from frogfeed.layout.mistakes import Mistakes, listed
from frogfeed.layout.positions import KeyPath
from frogfeed.layout.schema import LayoutFile, PlaceKind

Spot = PlaceItem | EndItem
End = tuple[str, str]


@dataclass(slots=True)
class _Stop:
    """A spot of a line, with its path and the items that follow it up to the next spot."""

    spot: Spot
    path: KeyPath
    after: list[tuple[KeyPath, Read]] = field(default_factory=list)


class LineChecker:
    """Checks line after line, then what no line has named. `meant` as gathered by the item reader."""

    def __init__(self, file: LayoutFile, names: Names, mistakes: Mistakes) -> None:
        self.file = file
        self.names = names
        self.mistakes = mistakes
        self.seen: dict[End, KeyPath] = {}
        self.uses: dict[str, list[KeyPath]] = {}
        self.unsure: set[str] = set()
        self.loose_reported: set[End] = set()

    def line(self, name: str, items: Sequence[Read]) -> None:
        """One line: what it joins, and where it breaks the rules of a line."""
        runs: list[list[tuple[KeyPath, Read]]] = [[]]
        for i, item in enumerate(items):
            if isinstance(item, Broken):
                runs.append([])
            else:
                runs[-1].append((("lines", name, i), item))
        for n, run in enumerate(runs):
            self._run(run, starts=n == 0, ends=n + 1 == len(runs))
        spots = sum(isinstance(i, PlaceItem | EndItem | Broken) for i in items)
        if spots < 2:
            self.mistakes.add(
                "file-line-short",
                ("lines", name),
                f"the line {name} " + ("names one thing only" if spots else "names nothing"),
                why="A line lists at least two places or ends, in the order in which a train meets them.",
                cure="Say what is joined to it, or remove the line.",
                at_key=True,
            )

    def _run(self, run: list[tuple[KeyPath, Read]], *, starts: bool, ends: bool) -> None:
        """A stretch of items without a broken one; `starts` and `ends` say whether the line does so here."""
        stops: list[_Stop] = []
        before: list[tuple[KeyPath, Read]] = []
        for path, item in run:
            if isinstance(item, PlaceItem | EndItem):
                stops.append(_Stop(item, path))
                self._count(item, path)
            elif stops:
                stops[-1].after.append((path, item))
            else:
                before.append((path, item))
        if not stops:
            return
        if starts:
            self._edge(before, stops[0].spot, "begins")
        if ends:
            self._edge(stops[-1].after, stops[-1].spot, "ends")
        arrived_through = False
        for k, stop in enumerate(stops):
            previous = stops[k - 1] if k else None
            following = stops[k + 1] if k + 1 < len(stops) else None
            begins = previous is None and starts
            finishes = following is None and ends
            goes_through = following is not None and self._same_piece(stop.spot, following.spot)
            if isinstance(stop.spot, PlaceItem):
                alone = begins and finishes
                inside = previous is not None and following is not None
                self._place(stop, edge=begins or finishes, sure=(begins or finishes or inside) and not alone)
            elif goes_through and following is not None:
                if arrived_through and previous is not None:
                    self._turned_back(stop, following)
                    goes_through = False
                else:
                    self._through(stop, following)
                    if begins:
                        self._loose(stop, "begins")
            elif arrived_through and finishes:
                self._loose(stop, "ends")
            elif not arrived_through and previous is not None and following is not None:
                self._no_exit(stop, following)
            if following is not None and not goes_through:
                self._gaps(stop.after)
            arrived_through = goes_through

    def _same_piece(self, a: Spot, b: Spot) -> bool:
        return isinstance(a, EndItem) and isinstance(b, EndItem) and a.piece == b.piece

    def _count(self, item: Spot, path: KeyPath) -> None:
        if isinstance(item, PlaceItem):
            return
        end = (item.piece, item.end)
        first = self.seen.setdefault(end, path)
        if first != path:
            self.mistakes.add(
                "file-end-twice",
                path,
                f"{item.piece}.{item.end} is joined a second time",
                why="One end of a piece meets one track only.",
                cure="Remove one of the two, or name the end that was meant"
                + (f": {_other_ends(item, self.names.shapes)}." if self.names.shapes.get(item.piece) else "."),
                subject=f"{item.piece}.{item.end}",
                related=[("joined first here", self.mistakes.where.nearest(first))],
            )

    def _shape(self, piece: str) -> KindShape | None:
        return self.names.shapes.get(piece)

    def _through(self, stop: _Stop, following: _Stop) -> None:
        a, b = stop.spot, following.spot
        assert isinstance(a, EndItem) and isinstance(b, EndItem)
        shape = self._shape(a.piece)
        if shape is None or a.end == b.end:
            return
        if frozenset((a.end, b.end)) not in shape.joined:
            self.mistakes.add(
                "file-no-road",
                following.path,
                f"no road of {a.piece} joins {a.end} to {b.end}",
                why=f"Two ends of one piece in a row mean that a train runs through it. {_roads(shape)}",
                cure="If plain track joins the two ends outside the piece, name it between them as a place;"
                " if two lines meet here, begin a new one.",
                subject=a.piece,
            )
        elif stop.after:
            path, item = stop.after[0]
            self.mistakes.add(
                "file-inside-piece",
                path,
                f"{_word(item)} stands inside {a.piece}, between its {a.end} and {b.end} ends",
                why=f"From {a.end} to {b.end} a train is on {a.piece} itself, whose own gaps and feeds follow from its"
                " make and state.",
                cure=f'Put it before "{a.piece}.{a.end}" or after "{b.piece}.{b.end}".',
                subject=a.piece,
            )

    def _turned_back(self, stop: _Stop, following: _Stop) -> None:
        b, c = stop.spot, following.spot
        assert isinstance(b, EndItem) and isinstance(c, EndItem)
        self.mistakes.add(
            "file-no-road",
            following.path,
            f"the line has just left {b.piece} by its {b.end} end, and cannot go on to {c.end}",
            why="A train that comes out of a piece meets the track beyond, not the piece again.",
            cure=f'Say what "{b.piece}.{b.end}" is joined to, and begin a new line with "{c.piece}.{c.end}".',
            subject=b.piece,
        )

    def _no_exit(self, stop: _Stop, following: _Stop) -> None:
        spot = stop.spot
        assert isinstance(spot, EndItem)
        shape = self._shape(spot.piece)
        if shape is None:
            return
        out = [e for e in shape.ends if frozenset((spot.end, e)) in shape.joined]
        there = following.spot
        there_name = there.name if isinstance(there, PlaceItem) else f"{there.piece}.{there.end}"
        named = listed([f'"{spot.piece}.{e}"' for e in out], last="or")
        self.mistakes.add(
            "file-no-exit",
            stop.path,
            f"the line enters {spot.piece} by {spot.end} and goes on to {there_name} without coming out",
            why="Two ends of one piece in a row mean through it; one end alone is where a line begins or ends.",
            cure=f'After "{spot.piece}.{spot.end}" list the end by which it is left ({named}), or end the line here'
            " and begin another.",
            subject=spot.piece,
        )

    def _loose(self, stop: _Stop, verb: str) -> None:
        spot = stop.spot
        assert isinstance(spot, EndItem)
        if (spot.piece, spot.end) in self.loose_reported:
            return
        self.loose_reported.add((spot.piece, spot.end))
        beside = "before" if verb == "begins" else "after"
        self.mistakes.add(
            "file-end-unjoined",
            stop.path,
            f"the line {verb} at {spot.piece}.{spot.end}, which nothing is joined to",
            why="Whether that track is a dead end decides what must be fed and insulated there.",
            cure=f'Name a place {beside} it: [place.NAME] with kind = "buffer" (the track stops)'
            ' or "open" (it goes on, outside this file).',
            subject=f"{spot.piece}.{spot.end}",
        )

    def _place(self, stop: _Stop, *, edge: bool, sure: bool) -> None:
        spot = stop.spot
        assert isinstance(spot, PlaceItem)
        place = self.file.place.get(spot.name)
        if not sure:
            self.unsure.add(spot.name)
        used = self.uses.setdefault(spot.name, [])
        if place is None:
            return
        if place.kind is not PlaceKind.SECTION:
            if used:
                self._place_twice(stop, used[0], f"a place of kind {place.kind} has one end, which is joined already")
            elif not edge and sure:
                self.mistakes.add(
                    "file-place-inside",
                    stop.path,
                    f"{spot.name} is of kind {place.kind}, but the line goes on beyond it",
                    why=f"A place of kind {place.kind} has one end only: it begins or ends a line.",
                    cure=f'Give it kind = "section", or end the line at "{spot.name}".',
                    subject=spot.name,
                )
            used.append(stop.path)
            return
        wanted = 1 if edge or not sure else 2
        if len(used) + wanted > 2:
            self._place_twice(stop, used[0], "a section has two ends, and both are joined already")
        used.extend([stop.path] * wanted)

    def _place_twice(self, stop: _Stop, first: KeyPath, why: str) -> None:
        spot = stop.spot
        assert isinstance(spot, PlaceItem)
        self.mistakes.add(
            "file-place-twice",
            stop.path,
            f"{spot.name} is joined once too often",
            why=why[0].upper() + why[1:] + ". Where tracks part there is a piece: a turnout, a crossing.",
            cure="Give this track a name of its own.",
            subject=spot.name,
            related=[("joined first here", self.mistakes.where.nearest(first))],
        )

    def _edge(self, items: Iterable[tuple[KeyPath, Read]], spot: Spot, verb: str) -> None:
        for path, item in items:
            if isinstance(item, GapItem | JoinerItem):
                self.mistakes.add(
                    "file-line-end",
                    path,
                    f"the line {verb} with {_word(item)}",
                    why="It needs track on both sides of it.",
                    cure="Name the place beyond it, or remove it.",
                )
            elif isinstance(spot, EndItem):
                self.mistakes.add(
                    "file-inside-piece",
                    path,
                    f"{_word(item)} stands beyond {spot.piece}.{spot.end}, inside {spot.piece}",
                    why=f"The line {verb} at this end, so nothing of it lies further on.",
                    cure=f'Put it on the other side of "{spot.piece}.{spot.end}".',
                    subject=spot.piece,
                )

    def _gaps(self, items: Iterable[tuple[KeyPath, Read]]) -> None:
        cut: dict[str, KeyPath] = {}
        for path, item in items:
            if not isinstance(item, GapItem):
                continue
            for hand in item.hands:
                first = cut.setdefault(hand, path)
                if first != path:
                    self.mistakes.add(
                        "file-gaps-adjacent",
                        path,
                        f"a second gap in the {'rails' if item.hands == BOTH else f'{hand} rail'}, with nothing named"
                        " since the first",
                        why="Between two gaps lies a stretch of rail of its own, which needs a name to be fed by.",
                        cure="Name the track between them as a place, or remove one gap.",
                        related=[("the first gap", self.mistakes.where.nearest(first))],
                    )

    def left_over(self, meant: set[End], *, complete: bool) -> None:
        """Ends and places that no line has joined. `complete` is false where some line could not be read."""
        if not complete:
            return
        pieces = self.file.pieces()
        tables = _tables(self.file)
        for name, shape in self.names.shapes.items():
            piece = pieces.get(name)
            if shape is None or piece is None or not piece.built or name in self.names.doubtful:
                continue
            loose = [e for e in shape.ends if (name, e) not in self.seen and (name, e) not in meant]
            if not loose or (name, "") in meant:
                continue
            every = len(loose) == len(shape.ends)
            join = "its ends in lines" if every else "them in a line" if len(loose) > 1 else "it in a line"
            ends = "no end" if every else listed([f"{name}.{e}" for e in loose])
            self.mistakes.add(
                "file-end-unjoined",
                (tables[name], name),
                f"no line names {name}" if every else f"{ends} {'is' if len(loose) == 1 else 'are'} in no line",
                why="An end that nothing is joined to must be declared, or a forgotten track would "
                "pass for a dead end.",
                cure=f'Join {join} to track or to a place of kind "buffer" or'
                f' "open"; or write built = false in [{tables[name]}.{name}] while it is unfinished.',
                subject=name if every else f"{name}.{loose[0]}",
            )
        for name, place in self.file.place.items():
            if not place.built or (name, "") in meant or name in self.names.doubtful or name in self.unsure:
                continue
            used = self.uses.get(name, [])
            if not used:
                self.mistakes.add(
                    "file-place-unused",
                    ("place", name),
                    f"no line names the place {name}",
                    cure="Put it in a line, or remove its table (or write built = false while it is unfinished).",
                    subject=name,
                )
            elif len(used) == 1 and place.kind is PlaceKind.SECTION:
                self.mistakes.add(
                    "file-end-unjoined",
                    used[0],
                    f"the line ends at {name}, a section whose other end is joined to nothing",
                    why="A section has two ends; one that is not joined must be declared.",
                    cure=f'Write kind = "buffer" in [place.{name}] if the track stops there, "open" '
                    f"if it goes on outside"
                    " this file; or join its other end in a line.",
                    subject=name,
                    related=[("declared here", self.mistakes.where.nearest(("place", name)))],
                )


def _tables(file: LayoutFile) -> dict[str, str]:
    """The table in which each piece is declared."""
    found: dict[str, str] = {}
    for table in ("turnout", "three_way", "slip", "diamond", "piece"):
        for name in getattr(file, table):
            found.setdefault(name, table.replace("_", "-"))
    return found


def _other_ends(item: EndItem, shapes: Mapping[str, KindShape | None]) -> str:
    shape = shapes[item.piece]
    assert shape is not None
    return listed([f"{item.piece}.{e}" for e in shape.ends if e != item.end], last="or")


def _roads(shape: KindShape) -> str:
    pairs = sorted(sorted(p, key=shape.ends.index) for p in shape.joined if len(p) == 2)
    return f"The roads of a {shape.title}: {listed([f'{a} to {b}' for a, b in pairs])}."


def _word(item: Read) -> str:
    if isinstance(item, GapItem):
        return "a gap"
    if isinstance(item, FeedItem):
        return "a feed"
    return "a joiner" if isinstance(item, JoinerItem) else "a length"
