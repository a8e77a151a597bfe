"""Layouts for tests: from TOML text through the reader, or random ones straight from validated tables."""

from __future__ import annotations

import random
from typing import Any

from frogfeed.findings.finding import Finding, Location, Severity
from frogfeed.layout.lines import EndItem, FeedItem, GapItem, JoinerItem, LineItem, PlaceItem
from frogfeed.layout.model import Layout
from frogfeed.layout.reading import read_layout_text
from frogfeed.layout.schema import Hand, LayoutFile, Side
from frogfeed.track.assembly.assemble import assemble
from frogfeed.track.explain.findings import track_findings
from frogfeed.track.pieces.catalogue import built_in

HEAD = '[layout]\nname = "Test"\ngauge = "OO"\ncontrol = "dc"\n[district.main]\n'
BOTH = (Hand.LEFT, Hand.RIGHT)
NOWHERE = Location("test.toml", 1, 1)
PLASTIC = 'make = "insulated-frog"\nstate = "bonded"\n'
"""How a turnout is made that needs no gap and no switched feed, and is there only to set a road."""

PASSING_BALLOON = """
[turnout.T]
state = "isolated-frog"
[turnout.U]
state = "isolated-frog"
[turnout.V]
state = "isolated-frog"
[turnout.W]
state = "isolated-frog"
[place.far]
length_mm = 1500
[place.near]
length_mm = 900
{stops}
[lines]
main = ["p", "W.toe"]
siding = ["q", "W.left"]
on = ["W.right", "T.toe"]
out = ["T.left", "U.toe"]
far = ["U.left", "far", "V.right"]
near = ["U.right", "near", "V.left"]
back = ["V.toe", "T.right"]
"""


def layout(body: str, head: str = HEAD) -> Layout:
    """A layout of one district, read from TOML text."""
    return read_layout_text(head + body, "test.toml")


def findings(body: str, head: str = HEAD) -> list[Finding]:
    """All that is found on the rails of such a layout."""
    x = layout(body, head)
    return list(track_findings(x, assemble(x)))


def worth_knowing(body: str, head: str = HEAD) -> set[str]:
    """The codes of all errors and warnings."""
    return {f.code for f in findings(body, head) if f.severity is not Severity.NOTE}


def stops(*names: str) -> str:
    """Buffer stops."""
    return "".join(f'[place.{n}]\nkind = "buffer"\n' for n in names)


def turnouts(*names: str, made: str = 'state = "isolated-frog"\n') -> str:
    """Turnouts that are all made alike."""
    return "".join(f"[turnout.{n}]\n{made}" for n in names)


def between(crossing: str, q: str = "A") -> str:
    """Two tracks, P and Q, over a piece X; turnouts P and Q, at left, lead from the west to its side a.

    The left rail of track P is on wire A, that of track Q on `q`.
    """
    p, q = (f'{{ feed = "main", left = "{wire}" }}' for wire in ("A", q))
    return (
        turnouts("P", "Q", made=PLASTIC)
        + crossing
        + stops("p1", "p2", "p3", "q1", "q2", "q3")
        + f'[lines]\np = ["p1", {p}, "P.toe"]\np-spur = ["P.right", "p2"]\n'
        f'q = ["q1", {q}, "Q.toe"]\nq-spur = ["Q.right", "q2"]\n'
        'p-in = ["P.left", "|right", "X.a.left"]\nq-in = ["Q.left", "|left", "X.a.right"]\n'
        f'p-out = ["X.b.left", "|left", {p}, "p3"]\nq-out = ["X.b.right", "|right", {q}, "q3"]\n'
    )


def random_layout(rng: random.Random, most_drives: int, switched: float = 0.2) -> Layout:
    """Random pieces of random make and state, their ends joined at random, with random gaps and feeds.

    `switched`: how likely a place is to be a switched section.
    """
    tables: dict[str, Any] = {
        "layout": {"name": "Random", "gauge": "OO", "control": "dc"},
        "district": {"main": {}, "yard": {}} if rng.random() < 0.15 else {"main": {}},
        "place": {},
    }
    ends: list[LineItem] = []
    drives = 0
    shared: list[str] = []
    hand_drives: dict[str, Any] = {}
    while drives < most_drives:
        table, kind, slots = rng.choice(
            [("turnout", "turnout", 1)] * 5
            + [
                ("three-way", "three-way", 2),
                ("three-way", "three-way-lapped", 2),
                ("slip", "double-slip", 2),
            ]
            + [("slip", "single-slip-left", 2), ("diamond", "diamond", 0)]
        )
        name = f"{kind[0].upper()}{len(ends)}"
        piece: dict[str, Any] = {"make": rng.choice(["live-frog", "insulated-frog"])}
        if kind == "single-slip-left":
            piece["slip_road"] = "a.left-b.right"
        elif table in ("three-way",):
            piece["kind"] = kind
        piece["links"] = rng.choice(["in", "removed"])
        piece["blades"] = rng.choice(["contact", "contact", "bonded"])
        piece["frog"] = rng.choice(["unfed", "switched"])
        if rng.random() < 0.9 and piece["links"] == "in" and piece["blades"] == "bonded":
            # Bonded blades with the links in are a short for good: kept, but rare.
            piece["links"] = "removed"
        if table == "turnout" and shared and rng.random() < 0.15:
            piece["drive"] = rng.choice(shared)
        else:
            drives += slots
            if table == "turnout":
                piece["drive"] = f"D{name}"
                shared.append(f"D{name}")
        if table in ("slip", "diamond") and rng.random() < 0.2:
            piece["selector"] = f"S{name}"
            hand_drives[piece["selector"]] = {"kind": "hand"}
        tables.setdefault(table, {})[name] = piece
        ends += [EndItem(name, e, NOWHERE) for e in built_in()[kind].ends]
        if slots == 0:
            drives += rng.choice([0, 1])
    rng.shuffle(ends)
    lines: dict[str, tuple[LineItem, ...]] = {}
    districts = list(tables["district"])
    taken: set[str] = set()
    while ends:
        first = ends.pop()
        line: list[LineItem] = [first]
        name = f"P{len(lines)}"
        # Two ends of one piece in a row would mean through it, so such a pair gets a place instead.
        if ends and rng.random() < 0.6 and getattr(ends[-1], "piece", "") != getattr(first, "piece", ""):
            second = ends.pop()
            if rng.random() < 0.25:
                tables["place"][name] = _place(rng, "section", [first, second], hand_drives, taken, switched)
                line += [*_between(rng, districts), PlaceItem(name, NOWHERE)]
            line += [*_between(rng, districts), second]
        else:
            tables["place"][name] = _place(rng, "buffer", [first], hand_drives, taken, switched)
            line += [*_between(rng, districts), PlaceItem(name, NOWHERE)]
        lines[f"L{len(lines)}"] = tuple(line)
    if shared or hand_drives:
        tables["drive"] = {d: {} for d in shared} | hand_drives
    return Layout(LayoutFile.model_validate(tables), lines, {}, "", "0" * 16, "random.toml")


def _place(
    rng: random.Random,
    kind: str,
    beside: list[LineItem],
    drives: dict[str, Any],
    taken: set[str],
    switched: float,
) -> dict[str, Any]:
    """A place; now and then a switched section, which may take in what it touches and have a selector."""
    place: dict[str, Any] = {"kind": kind}
    if rng.random() < switched:
        place["feed"] = "switched"
        pieces = sorted({i.piece for i in beside if isinstance(i, EndItem)} - taken)
        place["takes_in"] = [p for p in pieces if rng.random() < 0.5]
        taken.update(place["takes_in"])
        if rng.random() < 0.3:
            place["selector"] = f"S{len(drives)}"
            drives[place["selector"]] = {"kind": "hand"}
    return place


def _between(rng: random.Random, districts: list[str]) -> list[LineItem]:
    def feed() -> list[LineItem]:
        if rng.random() < thin:
            return []
        hands = BOTH if rng.random() < 0.8 else (rng.choice(BOTH),)
        return [FeedItem(rng.choice(districts), Side.A if rng.random() < 0.8 else Side.B, hands, None, None, NOWHERE)]

    thin = rng.choice([0.6, 0.8, 0.9])
    roll = rng.random()
    middle: list[LineItem] = []
    if roll < 0.6:
        middle = [GapItem(BOTH if rng.random() < 0.7 else (rng.choice(BOTH),), NOWHERE)]
    elif roll < 0.7:
        middle = [JoinerItem(BOTH, NOWHERE)]
    return [*feed(), *middle, *feed()]
