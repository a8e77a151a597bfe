"""The legend: every sign of the drawings with its meaning."""

from __future__ import annotations

import math
import textwrap
from collections.abc import Callable, Iterable
from dataclasses import replace

from frogfeed.sheets.card_drawing import CROSSING, RAIL, THIN, WIRE_PENS
from frogfeed.sheets.drawing import Box, Disc, Drawing, Item, Pen, Sketch, Stroke, bow
from frogfeed.sheets.words import Words

SignMaker = Callable[[Sketch], None]


def signs(words: Words, width: float) -> Drawing:
    """The legend: every sign with its meaning, in two columns."""
    rows = list(_sign_rows())
    step, column = 8.6, width / 2
    half = math.ceil(len(rows) / 2)
    sketch = Sketch()
    for n, (key, make) in enumerate(rows):
        x, y = (n // half) * column + 2.0, (n % half) * step + 5.0
        part = Sketch()
        make(part)
        sketch.items += [_moved(i, x, y) for i in part.items]
        for m, line in enumerate(_wrapped(words(key), int((column - 28) / 1.7))):
            sketch.text(x + 23.0, y + 1.0 + m * 3.3, line, part=key)
    return sketch.done("signs", width, half * step + 4.0)


def _wrapped(text: str, width: int) -> list[str]:
    return textwrap.wrap(text, width)


def _moved(item: Item, dx: float, dy: float) -> Item:
    match item:
        case Stroke(points, pen, closed, fill):
            return Stroke(tuple((x + dx, y + dy) for x, y in points), pen, closed, fill)
        case Disc(x, y, r, pen, fill):
            return Disc(x + dx, y + dy, r, pen, fill)
        case _:
            return replace(item, x=item.x + dx, y=item.y + dy)


def _sign_rows() -> Iterable[tuple[str, SignMaker]]:
    def rail(s: Sketch) -> None:
        s.line((0, 0), (18, 0), pen=RAIL)

    def frog(s: Sketch) -> None:
        s.line((0, 0), (18, 0), pen=Pen(1.7))
        s.line((0, 0), (18, 0), pen=Pen(0.75, (0.9, 0.7), 1.0))

    def unfed(s: Sketch) -> None:
        s.line((0, 0), (18, 0), pen=CROSSING)

    def plastic(s: Sketch) -> None:
        for y in (0.45, -0.45):
            s.line((0, y), (18, y), pen=Pen(0.2))

    def blade(s: Sketch) -> None:
        s.line((0, -2.0), (18, -2.0), pen=RAIL)
        s.line((0, 2.2), (18, 2.2), pen=RAIL)
        s.line((1, -1.5), (18, -0.5), pen=RAIL)
        s.line((1, 0.6), (18, 1.1), pen=RAIL)

    def gap(s: Sketch) -> None:
        s.line((0, 0), (8.5, 0), pen=RAIL)
        s.line((9.5, 0), (18, 0), pen=RAIL)
        for x in (8.6, 9.4):
            s.line((x, -1.5), (x, 1.5), pen=Pen(0.45))

    def metal(s: Sketch) -> None:
        s.line((0, 0), (18, 0), pen=RAIL)
        s.rect(Box(7.3, -0.75, 10.7, 0.75), THIN, 0.0)

    def untrusted(s: Sketch) -> None:
        s.line((0, 0), (18, 0), pen=RAIL)
        s.rect(Box(7.3, -0.75, 10.7, 0.75), THIN, 1.0)
        s.line((7.3, 0.75), (10.7, -0.75), pen=THIN)

    def link(cut: bool) -> SignMaker:
        def make(s: Sketch) -> None:
            s.line((0, 1), (8, 1), pen=RAIL)
            s.line((10, 1), (18, 1), pen=RAIL)
            line = bow((6, 1), (12, 1), 1.7)
            s.line(*line, pen=Pen(0.4, (0.8, 0.6)) if cut else Pen(0.4))
            if cut:
                x, y = line[6]
                for d in (1.1, -1.1):
                    s.line((x - 1.1, y - d), (x + 1.1, y + d), pen=Pen(0.5))

        return make

    def bond(s: Sketch) -> None:
        s.line((0, -2), (18, -2), pen=RAIL)
        s.line((0, 2), (18, 2), pen=RAIL)
        s.line((9, -2), (9, 2), pen=Pen(0.55))
        for y in (-2, 2):
            s.rect(Box(8.25, y - 0.75, 9.75, y + 0.75), None, 0.0)

    def dropper(letter: str) -> SignMaker:
        def make(s: Sketch) -> None:
            s.line((0, -1.5), (18, -1.5), pen=RAIL)
            s.items.append(Disc(4, -1.5, 0.75, None, 0.0))
            s.line((4, -1.5), (4, 2), (18, 2), pen=WIRE_PENS[letter])

        return make

    def ring(s: Sketch) -> None:
        s.items.append(Disc(9, 0, 2.1, Pen(0.3), 1.0))
        s.text(9, 1.0, "7", anchor="middle", bold=True)

    yield "sign.rail", rail
    yield "sign.frog", frog
    yield "sign.frog.unfed", unfed
    yield "sign.plastic", plastic
    yield "sign.blade", blade
    yield "sign.gap", gap
    yield "sign.metal", metal
    yield "sign.untrusted", untrusted
    yield "sign.cut", link(True)
    yield "sign.keep", link(False)
    yield "sign.bond", bond
    yield "sign.drop.A", dropper("A")
    yield "sign.drop.B", dropper("B")
    yield "sign.drop.F", dropper("F")
    yield "sign.step", ring
