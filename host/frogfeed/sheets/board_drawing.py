"""A board's wiring picture: its terminals in use, the pins behind them, and the wires that go into them."""

from __future__ import annotations

from collections.abc import Mapping

from frogfeed.sheets.card_drawing import WIRE_PENS
from frogfeed.sheets.drawing import LEAST_PT, Anchor, Box, Drawing, Pen, Sketch, text_width
from frogfeed.sheets.model import BoardSheet, TerminalRow, Wire
from frogfeed.sheets.words import Words

STEP = 6.0
HEAD = 14.0
LEFT = ("servo", "contact", "button", "lamp")
"""Uses of terminals that are drawn on the left."""


def board_drawing(board: BoardSheet, wires: Mapping[str, Wire], width: float, words: Words) -> Drawing:
    """Servos, contacts, buttons and lamps on the left, supplies and switched outputs on the right."""
    left = [t for t in board.terminals if t.use in LEFT]
    right = [t for t in board.terminals if t.use not in LEFT]
    height = HEAD + STEP * (max(len(left), len(right), 2) + 1)
    body = Box(width * 0.27, 1.0, width * 0.66, height - 1.0)
    sketch = Sketch()
    sketch.rect(body, Pen(0.5))
    middle = (body.x0 + body.x1) / 2
    sketch.text(middle, 6.0, board.name, anchor="middle", bold=True, pt=11.0, part="board")
    sketch.text(middle, 10.5, board.profile, anchor="middle", part="board")
    sketch.line((body.x0, HEAD - 1.0), (body.x1, HEAD - 1.0), pen=Pen(0.2))
    for rows, x, out in ((left, body.x0, -1.0), (right, body.x1, 1.0)):
        for n, t in enumerate(rows):
            _terminal(sketch, t, wires[t.wire], x, HEAD + STEP * (n + 0.75), out, width, words)
    return sketch.done(f"board-{board.name}", width, height, f"{board.name}: {board.title}")


def _terminal(
    sketch: Sketch, t: TerminalRow, wire: Wire, x: float, y: float, out: float, sketch_width: float, words: Words
) -> None:
    sketch.rect(Box(x - 1.3, y - 1.3, x + 1.3, y + 1.3), Pen(0.3), 1.0)
    sketch.line((x - 0.8, y + 0.8), (x + 0.8, y - 0.8), pen=Pen(0.25))
    end = x + out * 9.0
    sketch.line((x + out * 1.3, y), (end, y), pen=WIRE_PENS.get(wire.letter, Pen(0.35)))
    inside: Anchor
    outside: Anchor
    inside, outside = ("end", "start") if out > 0 else ("start", "end")
    sketch.text(x - out * 2.2, y + 1.0, t.terminal, anchor=inside, bold=True, part=f"terminal:{t.terminal}")
    if t.pin:
        sketch.text(x - out * 14.0, y + 1.0, t.pin, anchor=inside, part=f"pin:{t.terminal}")
    colour = f" {words.colour(wire.colour)}" if wire.colour else ""
    mark = f"{t.wire}{' ' + wire.letter if wire.letter else ''}{colour}"
    at = end + out * 0.8
    chars = int((sketch_width - at if out > 0 else at) / text_width("m", LEAST_PT))
    name = t.goes_to if len(t.goes_to) <= chars else t.goes_to[: chars - 1] + "…"
    if len(mark) + 1 + len(name) <= chars:
        text = f"{mark} {name}" if out > 0 else f"{name} {mark}"
        sketch.text(at, y + 1.0, text, anchor=outside, part=f"wire:{t.wire}")
    else:
        sketch.text(at, y - 0.45, mark, anchor=outside, part=f"wire:{t.wire}")
        sketch.text(at, y + 2.4, name, anchor=outside, part=f"goes:{t.wire}")
