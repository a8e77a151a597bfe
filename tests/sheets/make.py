"""Books and drawings for tests: of the shipped layouts, and of ladders of any length."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

from frogfeed.demo.railway import demo_file
from frogfeed.layout.drives import drive_uses
from frogfeed.layout.model import Layout
from frogfeed.layout.reading import read_layout, read_layout_text
from frogfeed.plan.model import Plan
from frogfeed.plan.planner import make_plan
from frogfeed.sheets.blocks import Art
from frogfeed.sheets.book import build_book
from frogfeed.sheets.make import draw_all
from frogfeed.sheets.model import Book
from frogfeed.sheets.paper import PAPERS
from frogfeed.sheets.words import Words
from frogfeed.track.assembly.assemble import assemble
from frogfeed.track.meter.readings import MeterPlan
from frogfeed.track.network.model import RailNetwork
from frogfeed.track.pieces.catalogue import kinds_of

SHIPPED = ("saltmarsh-quay.toml", "herring-quay-yard.toml", "lone-turnout.toml")
NO_METER = MeterPlan((), 0, (), (), 0)


@dataclass(frozen=True)
class Made:
    """A layout with everything up to its book; the readings are left out where they take long."""

    layout: Layout
    network: RailNetwork
    plan: Plan
    book: Book

    @property
    def kinds(self):
        return kinds_of(self.layout)

    @property
    def uses(self):
        return drive_uses(self.layout.file, self.layout.kinds)


def made(layout: Layout, meter: MeterPlan | None = NO_METER) -> Made:
    """The book of a layout."""
    network = assemble(layout)
    plan = make_plan(layout, network)
    return Made(layout, network, plan, build_book(layout, network, plan, meter=meter))


@cache
def shipped(name: str) -> Made:
    """The book of a layout that frogfeed ships, without meter readings."""
    return made(read_layout(demo_file(name)))


@cache
def art(name: str, paper: str = "a4") -> Art:
    """All drawings of a shipped layout."""
    m = shipped(name)
    return draw_all(m.layout, m.network, m.book, PAPERS[paper], Words())


def one(table: str, body: str, ends: str, name: str = "T1") -> Layout:
    """A layout of one piece with every end joined to a fed place; `ends` lists its ends."""
    head = '[layout]\nname = "One"\ngauge = "OO"\ncontrol = "dc"\n[district.main]\n'
    text = [head, f"[{table}.{name}]", body, "[lines]"]
    for n, end in enumerate(ends.split()):
        own = {"toe": ' { feed = "main", left = "A" },', "a.left": ' { feed = "main", left = "A", rail = "left" },',
               "a.right": ' { feed = "main", left = "A", rail = "right" },'}  # fmt: skip
        if end in own:
            text.append(f'l{n} = ["p{n}", {{ feed = "main", left = "A" }}, "|",{own[end]} "{name}.{end}"]')
        else:
            text.append(f'l{n} = ["{name}.{end}", "|", {{ feed = "main", left = "A" }}, "p{n}"]')
    text.append("[place]")
    text += [f'p{n} = {{ kind = "buffer" }}' for n, _ in enumerate(ends.split())]
    return read_layout_text("\n".join(text) + "\n", "one.toml")


def ladder(count: int) -> Layout:
    """`count` turnouts one after the other, each with a siding, on as many boards as they need."""
    text = ['[layout]\nname = "Ladder"\ngauge = "N"\ncontrol = "dcc"\n[district.main]']
    lines = ['lead = ["lead", { feed = "main", left = "A" }, "T1.toe"]']
    places = ['lead = { kind = "open" }', 'end = { kind = "buffer" }']
    for n in range(1, count + 1):
        text.append(f'[turnout.T{n}]\nmake = "live-frog"\nstate = "isolated-frog"\nfrog_number = 8')
        onward = f"T{n + 1}.toe" if n < count else "end"
        lines.append(f'on{n} = ["T{n}.left", "|", {{ feed = "main", left = "A" }}, "{onward}"]')
        lines.append(f'off{n} = ["T{n}.right", "|", {{ feed = "main", left = "A" }}, "s{n}"]')
        places.append(f's{n} = {{ kind = "buffer" }}')
    boards = [f'[board.B{n}]\nprofile = "expander"\nserial = "L{n}"' for n in range(1, -(-count // 16) + 1)]
    return read_layout_text("\n".join([*text, "[lines]", *lines, "[place]", *places, *boards]) + "\n", "ladder.toml")
