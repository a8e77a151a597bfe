"""What a page is made of, as plain data for the typesetter's template: headings, paragraphs, tables, drawings."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from frogfeed.sheets.drawing import Drawing
from frogfeed.sheets.model import Book
from frogfeed.sheets.paper import Paper
from frogfeed.sheets.words import Words
from frogfeed.track.network.conditions import When

Block = dict[str, Any]


@dataclass(frozen=True)
class Art:
    """The drawings of a book by what they show."""

    signs: Drawing
    layout: tuple[Drawing, ...]
    cards: Mapping[str, tuple[Drawing, Drawing, float]]
    boards: Mapping[str, Drawing]
    labels: tuple[Drawing, ...]
    codes: Mapping[str, Drawing]

    def all(self) -> Iterator[Drawing]:
        """Every drawing once."""
        yield self.signs
        yield from self.layout
        for above, below, _ in self.cards.values():
            yield above
            yield below
        yield from self.boards.values()
        yield from self.labels
        yield from self.codes.values()


def soft(text: str) -> str:
    """A long name with places where a line may break."""
    if len(text) <= 16 or " " in text:
        return text
    found, run = "", 0
    for c in text:
        found += c
        run = 0 if c in ".-:/" else run + 1
        if c in ".-:/" or run >= 12:
            found += "\u200b"
            run = 0
    return found


def when_text(when: When, words: Words) -> str:
    """A condition for people: "T1 left and T2 right, or ..."."""
    if when == ((),):
        return words("cond.always")
    return words("cond.or").join(
        words("cond.and").join(words("cond.is", drive=d, setting=s) for d, s in term) for term in when
    )


def table(
    columns: Sequence[str],
    widths: Sequence[float | str],
    rows: Iterable[Sequence[str]],
    mono: Sequence[int] = (),
    bold: Sequence[int] = (),
    tick: Sequence[int] = (),
    size: float = 9.0,
) -> Block:
    """A table. Widths are fractions, or "auto"; `mono` columns hold names, `tick` columns a box."""
    body = [[soft(c) if i in mono else c for i, c in enumerate(row)] for row in rows]
    return {
        "kind": "table",
        "columns": list(columns),
        "widths": [w if isinstance(w, str) else float(w) for w in widths],
        "rows": body,
        "mono": list(mono),
        "bold": list(bold),
        "tick": list(tick),
        "size": size,
    }


def chapter(text: str, fresh: bool = True) -> Block:
    return {"kind": "chapter", "text": text, "fresh": fresh}


def para(text: str) -> Block:
    return {"kind": "para", "text": text}


def sub(text: str) -> Block:
    return {"kind": "sub", "text": text}


def image(d: Drawing, caption: str = "") -> Block:
    return {"kind": "image", "name": f"{d.name}.svg", "width": d.width, "height": d.height, "caption": caption}


class Maker:
    """What all makers of pages share: the book, its drawings, the paper, the words, and the date or ""."""

    def __init__(self, book: Book, art: Art, paper: Paper, words: Words, date: str = "") -> None:
        self.book, self.art, self.paper, self.say, self.date = book, art, paper, words, date
        self.wires = {w.mark: w for w in book.wires}
        self.numbers = {c.name: c.number for c in book.cards}
