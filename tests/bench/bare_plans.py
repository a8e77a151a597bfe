"""Random bare plans as a person would write them: pieces of every kind joined at random, no gap and no feed."""

from __future__ import annotations

import random
from dataclasses import dataclass, field

from frogfeed.layout.ends import built_in_shapes
from frogfeed.parts.gauges import NAMES as GAUGES

End = tuple[str, str]

SIDES = ("left", "right")
MAKES = (
    'make = "live-frog"\n',
    'make = "live-frog"\n',
    'make = "insulated-frog"\nfrog_number = 6\nplastic_mm = 20\n',
    'make = "insulated-frog"\nfrog_number = 6\nplastic_mm = 4\n',
)
UNCONVERTED = 'make = "live-frog"\nlinks = "in"\nblades = "contact"\nfrog = "switched"\n'
"""A live frog that hangs together with its blades, and is fed all the same: timing must be strict."""

KINDS: tuple[tuple[str, str, str], ...] = (
    *((("turnout", "turnout", ""),) * 5),
    ("turnout", "wye", 'kind = "wye"\n'),
    ("three-way", "three-way", ""),
    ("three-way", "three-way-lapped", 'kind = "three-way-lapped"\n'),
    ("three-way", "three-way-symmetric", 'kind = "three-way-symmetric"\n'),
    ("diamond", "diamond", ""),
    ("slip", "double-slip", ""),
    ("slip", "double-slip-crossing-or-slip", 'blades_move = "crossing-or-slip"\n'),
    ("slip", "single-slip-left", 'slip_road = "a.left-b.right"\n'),
    ("slip", "single-slip-right", 'slip_road = "a.right-b.left"\n'),
    ("piece", "crossover-left", 'kind = "crossover-left"\n'),
    ("piece", "crossover-right", 'kind = "crossover-right"\n'),
    ("piece", "scissors", 'kind = "scissors"\n'),
    ("piece", "traverser-3", 'kind = "traverser-3"\n'),
)
"""Table, kind as the catalogue has it, and what the table says of it."""


@dataclass
class _Writing:
    rng: random.Random
    districts: tuple[str, ...]
    tables: list[str] = field(default_factory=list)
    lines: list[list[str]] = field(default_factory=list)
    ends: list[End] = field(default_factory=list)
    drives: list[str] = field(default_factory=list)
    hands: list[str] = field(default_factory=list)
    kind_of: dict[str, str] = field(default_factory=dict)
    places: int = 0

    def piece(self, choice: tuple[str, str, str] | None = None) -> str:
        """One more piece, its ends free."""
        rng = self.rng
        table, kind, more = choice or rng.choice(KINDS)
        name = f"{kind[0].upper()}{len(self.kind_of) + 1}"
        self.kind_of[name] = kind
        facts = UNCONVERTED if kind in ("turnout", "wye") and rng.random() < 0.25 else rng.choice(MAKES)
        rows = f"[{table}.{name}]\n{more}{facts}"
        if table == "turnout":
            rows += self._drive(name)
        elif kind == "traverser-3":
            rows += f'drives = {{ position = "{name}-hand" }}\n'
            self.hands.append(f"{name}-hand")
        elif kind == "scissors" and rng.random() < 0.3:
            rows += f'drives = {{ drive_up = "{name}-hand" }}\n'
            self.hands.append(f"{name}-hand")
        self.tables.append(rows)
        self.ends += [(name, e) for e in built_in_shapes()[kind].ends]
        return name

    def _drive(self, name: str) -> str:
        rng = self.rng
        if self.drives and rng.random() < 0.2:
            shared = rng.choice(self.drives)
            turned = f'{{ name = "{shared}", left = "right", right = "left" }}'
            return f"drive = {turned}\n" if rng.random() < 0.5 else f'drive = "{shared}"\n'
        drive = f"D-{name}"
        (self.hands if rng.random() < 0.15 else self.drives).append(drive)
        return f'drive = "{drive}"\n'

    def place(self, kind: str) -> str:
        """One more place."""
        self.places += 1
        name = f"p{self.places}"
        rows = f'[place.{name}]\nkind = "{kind}"\nlength_mm = {self.rng.randrange(300, 1500, 50)}\n'
        if len(self.districts) > 1 and self.rng.random() < 0.5:
            rows += f'district = "{self.rng.choice(self.districts)}"\n'
        self.tables.append(rows)
        return name

    def join(self, a: End, b: End) -> None:
        """Two ends, with a stretch of track between them or without."""
        middle: list[str] = []
        if a[0] == b[0] or self.rng.random() < 0.6:
            middle = [self.place("section")]
        if self.rng.random() < 0.1:
            middle.append("{ mm = 120 }")
        self.lines.append([".".join(a), *middle, ".".join(b)])
        self.ends = [e for e in self.ends if e not in (a, b)]

    def stop(self, a: End) -> None:
        """An end where the railway stops."""
        self.lines.append([self.place(self.rng.choice(["buffer", "open"])), ".".join(a)])
        self.ends.remove(a)

    def balloon(self) -> None:
        """A loop that turns trains round."""
        name = self.piece(("turnout", "turnout", ""))
        self.join((name, "left"), (name, "right"))

    def triangle(self) -> None:
        """Three turnouts, each joined to the other two."""
        a, b, c = (self.piece(("turnout", "turnout", "")) for _ in range(3))
        for one, two in ((a, b), (b, c), (c, a)):
            self.join((one, "left"), (two, "right"))


def bare_plan(rng: random.Random, most_pieces: int) -> str:
    """The text of a layout file of at most so many pieces (and three more where it has a triangle)."""
    two = rng.random() < 0.3
    w = _Writing(rng, ("main", "yard") if two else ("main",))
    shape = rng.random()
    if shape < 0.2:
        w.balloon()
    elif shape < 0.3:
        w.triangle()
    for _ in range(rng.randint(0 if w.kind_of else 1, most_pieces)):
        w.piece()
    while w.ends:
        a = rng.choice(w.ends)
        others = [e for e in w.ends if e != a]
        if others and rng.random() < 0.5:
            w.join(a, rng.choice(others))
        else:
            w.stop(a)
    control = rng.choice(["dc", "dcc"])
    head = f'[layout]\nname = "Random"\ngauge = "{rng.choice(GAUGES)}"\ncontrol = "{control}"\nfeeds = "propose"\n'
    head += "longest_conducting_vehicle_mm = 150\n"
    for d in w.districts:
        head += f"\n[district.{d}]\nvolts = 12.0\ntrip_a = 2.0\nlimit_a = 4.0\n"
        if two:
            # Trains pass from one to the other, so the two must agree in some way.
            other = next(x for x in w.districts if x != d)
            head += f'in_phase = ["{other}"]\n'
    for hand in w.hands:
        w.tables.append(f'[drive.{hand}]\nkind = "hand"\n')
    for drive in w.drives:
        travel = rng.choice([800, 1000, 1400])
        w.tables.append(f'[drive.{drive}]\ntravel_ms = {travel}\nrest = "{rng.choice(["hold", "release"])}"\n')
    rows = "\n".join(f"line-{n} = [{', '.join(map(_item, items))}]" for n, items in enumerate(w.lines, 1))
    return f"{head}\n" + "\n".join(w.tables) + f"\n[lines]\n{rows}\n"


def _item(item: str) -> str:
    return item if item.startswith("{") else f'"{item}"'
