"""Drawings as SVG text: plain shapes and one fixed-pitch face, the same bytes for the same drawing."""

from __future__ import annotations

from html import escape

from frogfeed.sheets.drawing import MM_PER_PT, Disc, Drawing, Item, Modules, Pen, Stroke, Text

FACE = "DejaVu Sans Mono"
"""The drawing face, which the typesetter carries; a viewer without it takes another of fixed pitch."""


def number(value: float) -> str:
    """At most three decimals, no trailing zeros, no minus zero."""
    text = f"{value:.3f}".rstrip("0").rstrip(".")
    return "0" if text in ("-0", "") else text


def _grey(value: float) -> str:
    level = round(max(0.0, min(1.0, value)) * 255)
    return f"#{level:02x}{level:02x}{level:02x}"


def _paint(pen: Pen | None, fill: float | None) -> str:
    found = f' fill="{_grey(fill)}"' if fill is not None else ' fill="none"'
    if pen is None:
        return found
    found += f' stroke="{_grey(pen.grey)}" stroke-width="{number(pen.width)}"'
    if pen.dash:
        found += f' stroke-dasharray="{" ".join(number(d) for d in pen.dash)}"'
    return found


def _item(item: Item) -> str:
    match item:
        case Stroke(points, pen, closed, fill):
            path = "M" + "L".join(f"{number(x)} {number(y)}" for x, y in points) + ("Z" if closed else "")
            return f'<path d="{path}"{_paint(pen, fill)}/>'
        case Disc(x, y, r, pen, fill):
            return f'<circle cx="{number(x)}" cy="{number(y)}" r="{number(r)}"{_paint(pen, fill)}/>'
        case Modules(x, y, size, rows):
            return f'<path d="{_modules(x, y, size / len(rows), rows)}"/>'
        case Text():
            more = "" if item.anchor == "start" else f' text-anchor="{item.anchor}"'
            more += ' font-weight="bold"' if item.bold else ""
            more += ' fill="#ffffff"' if item.white else ""
            return (
                f'<text x="{number(item.x)}" y="{number(item.y)}" font-size="{number(item.pt * MM_PER_PT)}"{more}>'
                f"{escape(item.text)}</text>"
            )


def _modules(x: float, y: float, step: float, rows: tuple[str, ...]) -> str:
    """One path of a rectangle for each run of dark modules."""
    found = []
    for n, row in enumerate(rows):
        start = 0
        while (start := row.find("1", start)) >= 0:
            end = row.find("0", start)
            end = len(row) if end < 0 else end
            w = number((end - start) * step)
            found.append(f"M{number(x + start * step)} {number(y + n * step)}h{w}v{number(step)}h-{w}z")
            start = end
    return "".join(found)


def to_svg(drawing: Drawing) -> str:
    """A whole SVG document; one user unit is one millimetre."""
    w, h = number(drawing.width), number(drawing.height)
    title = f"<title>{escape(drawing.title)}</title>" if drawing.title else ""
    body = "\n".join(_item(i) for i in drawing.items)
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{w}mm" height="{h}mm" viewBox="0 0 {w} {h}" '
        f'font-family="{FACE}, monospace" stroke-linejoin="round">{title}\n{body}\n</svg>\n'
    )
