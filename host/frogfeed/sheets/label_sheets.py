"""Pages of wire labels at the places where a label sheet has them: each wire twice, for its two ends."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from frogfeed.sheets.codes import square_code
from frogfeed.sheets.drawing import LEAST_PT, Drawing, Sketch, line_height, text_width
from frogfeed.sheets.model import LabelRow
from frogfeed.sheets.paper import Paper

PAD = 1.4
MARK_PT = 10.0


def label_sheets(rows: Sequence[LabelRow], paper: Paper) -> tuple[Drawing, ...]:
    """As many sheets as it takes, each the size of the paper."""
    sheet = paper.labels
    all_rows = [r for r in rows for _ in range(2)]
    found = []
    for n in range(0, len(all_rows), sheet.count):
        sketch = Sketch()
        for i, row in enumerate(all_rows[n : n + sheet.count]):
            x = sheet.left + (i % sheet.columns) * sheet.pitch_x
            y = sheet.top + (i // sheet.columns) * sheet.pitch_y
            _label(sketch, row, x, y, sheet.width, sheet.height)
        found.append(sketch.done(f"labels-{n // sheet.count + 1}", paper.width, paper.height))
    return tuple(found)


def _label(sketch: Sketch, row: LabelRow, x: float, y: float, width: float, height: float) -> None:
    code = min(height - 2 * PAD, 17.5)
    sketch.items.append(square_code(row.code, x + PAD * 0.6, y + (height - code) / 2, code))
    left = x + PAD * 0.6 + code + 0.6
    room = x + width - PAD * 0.6 - left
    chars = max(4, int(room / text_width("m", LEAST_PT)))
    step = line_height(LEAST_PT) + 0.15
    space = int((height - 2 * PAD - line_height(MARK_PT)) / step)
    lines = list(_fitted(row.top, chars, space - space // 2)) + list(_fitted("→" + row.bottom, chars, space // 2))
    top = y + (height - line_height(MARK_PT) - step * len(lines)) / 2
    sketch.text(left, top + 0.76 * line_height(MARK_PT), row.mark, bold=True, pt=MARK_PT, part=f"label:{row.mark}")
    for n, line in enumerate(lines):
        base = top + line_height(MARK_PT) + step * n + 0.76 * line_height(LEAST_PT)
        sketch.text(left, base, line, part=f"label:{row.mark}")


def _fitted(text: str, chars: int, lines: int) -> Iterable[str]:
    """A name in at most so many lines; what does not fit ends in "…" (the code holds it whole)."""
    for n in range(lines):
        if len(text) <= chars:
            yield text
            return
        if n == lines - 1:
            yield text[: chars - 1] + "…"
            return
        cut = max((text.rfind(c, 0, chars) for c in ".-:"), default=-1)
        at = cut + 1 if cut >= chars // 2 else chars
        yield text[:at]
        text = text[at:]
