"""Write the sheets: one PDF book, and every card and drawing by itself as PDF and SVG."""

from __future__ import annotations

import datetime
from collections.abc import Mapping
from pathlib import Path

from frogfeed.layout.atomic import replace_file
from frogfeed.layout.model import Layout
from frogfeed.plan.model import Plan
from frogfeed.sheets.blocks import Art
from frogfeed.sheets.board_drawing import board_drawing
from frogfeed.sheets.book import Progress, build_book, quiet
from frogfeed.sheets.card_drawing import card_views
from frogfeed.sheets.codes import square_code
from frogfeed.sheets.drawing import Drawing, Sketch
from frogfeed.sheets.label_sheets import label_sheets
from frogfeed.sheets.layout_drawing import layout_drawings
from frogfeed.sheets.model import Book, Card
from frogfeed.sheets.pages import Pages
from frogfeed.sheets.paper import A4, Paper
from frogfeed.sheets.render import pdf
from frogfeed.sheets.signs import signs
from frogfeed.sheets.svg import to_svg
from frogfeed.sheets.words import Words
from frogfeed.track.meter.readings import MeterPlan
from frogfeed.track.network.model import RailNetwork
from frogfeed.track.pieces.catalogue import Kind, kinds_of

CODE_MM = 19.0


def draw_all(
    layout: Layout, network: RailNetwork, book: Book, paper: Paper, words: Words, progress: Progress = quiet
) -> Art:
    """Every drawing of a book."""
    kinds = kinds_of(layout)
    wires = {w.mark: w for w in book.wires}
    progress("layout drawing", 0.32)
    wide = paper.height - 2 * paper.margin
    tall = paper.width - 2 * paper.margin - 26.0
    sheets = layout_drawings(layout, network, book, kinds, wide, tall, words)
    cards: dict[str, tuple[Drawing, Drawing, float]] = {}
    pieces = [c for c in book.cards if c.piece]
    for n, card in enumerate(pieces):
        progress(card.name, 0.4 + 0.4 * n / max(1, len(pieces)))
        views = card_views(card, _kind(kinds, card), book.gauge_mm, wires, paper.inner_width, words)
        cards[card.name] = (views.above, views.below, views.times)
    return Art(
        signs(words, paper.inner_width),
        sheets,
        cards,
        {b.name: board_drawing(b, wires, paper.inner_width, words) for b in book.boards},
        label_sheets(book.labels, paper),
        {c.name: _code(book, c, words) for c in pieces},
    )


def _kind(kinds: Mapping[str, Kind], card: Card) -> Kind:
    return kinds[card.kind]


def _code(book: Book, card: Card, words: Words) -> Drawing:
    feeds = " ".join(f"{c.thing}={c.board}:{c.name}" for c in card.channels)
    text = f"{card.name} {words('card.ref', number=card.number)}\n{feeds}\n{book.layout} {book.layout_hash[:8]}"
    return Sketch([square_code(text, 0.0, 0.0, CODE_MM)]).done(f"code-{card.name}", CODE_MM, CODE_MM)


def make_book(
    layout: Layout,
    network: RailNetwork,
    plan: Plan,
    out_dir: Path,
    paper: Paper = A4,
    progress: Progress = quiet,
    *,
    date: datetime.date | None = None,
    words: Words | None = None,
    meter: MeterPlan | None = None,
) -> list[Path]:
    """Write `book.pdf`, `labels.pdf`, `cards/NAME.pdf` and `drawings/NAME.svg`; the paths written, book first.

    `date` is printed and put in the files; left out, it is taken from nothing but the layout, so that the same layout
    gives the same bytes. Raises OSError where the folder cannot be written.
    """
    say = words or Words()
    day = date or fixed_date(layout)
    book = build_book(layout, network, plan, say, meter, progress)
    art = draw_all(layout, network, book, paper, say, progress)
    pages = Pages(book, art, paper, say, day.isoformat() if date is not None else "")
    meta = {
        "title": f"{book.layout}: {say('book.title')}",
        "author": "frogfeed",
        "name": book.layout,
        "hash": book.layout_hash,
        "date": day.isoformat() if date is not None else "",
        "lang": say.language,
        "caution": say("cautions.short"),
        "page": say("book.page", page="{page}", pages="{pages}"),
    }
    progress("book", 0.82)
    out_dir.mkdir(parents=True, exist_ok=True)
    written = [out_dir / "book.pdf"]
    replace_file(written[0], pdf(pages.blocks(), art.all(), meta, paper, day))
    progress("single sheets", 0.92)
    for folder in ("cards", "drawings"):
        (out_dir / folder).mkdir(exist_ok=True)
    for card in [c for c in book.cards if c.piece]:
        above, below, _ = art.cards[card.name]
        path = out_dir / "cards" / f"{card.name}.pdf"
        replace_file(path, pdf(pages.card(card), (above, below, art.codes[card.name]), meta, paper, day))
        written.append(path)
    if art.labels:
        path = out_dir / "labels.pdf"
        names = [f"{d.name}.svg" for d in art.labels]
        replace_file(path, pdf([{"kind": "full", "names": names}], art.labels, meta, paper, day))
        written.append(path)
    for d in art.all():
        if d.name.startswith(("code-", "labels-")):
            continue
        path = out_dir / "drawings" / f"{d.name}.svg"
        replace_file(path, to_svg(d).encode())
        written.append(path)
    progress("done", 1.0)
    return written


def fixed_date(layout: Layout) -> datetime.date:
    """A date that depends on the layout alone, for files that state no day."""
    return datetime.date(2000, 1, 1) + datetime.timedelta(days=int(layout.hash[:4], 16) % 9000)
