"""The pages of a book in their order, as blocks for the typesetter; the words are from `words`."""

from __future__ import annotations

from frogfeed.sheets.blocks import Block, chapter, image, para
from frogfeed.sheets.page_cards import CardPages
from frogfeed.sheets.page_lists import ListPages


class Pages(CardPages, ListPages):
    """The blocks of a whole book, in the order in which it is printed."""

    def blocks(self) -> list[Block]:
        """The whole book."""
        found: list[Block] = [self.title()]
        for part in (
            self.cautions,
            self.signs,
            self.layout,
            self.cards,
            self.plain,
            self.joints,
            self.buses,
            self.boards,
            self.servos,
            self.panel,
            self.tables,
            self.cuts,
            self.shopping,
            self.meter,
            self.record,
            self.faults,
            self.labels,
        ):
            found += part()
        return found

    def title(self) -> Block:
        b, say = self.book, self.say
        counts = (
            (sum(c.piece for c in b.cards), "pieces"),
            (len(b.joints), "joints"),
            (len(b.wires), "wires"),
            (len(b.boards), "boards"),
            (len(b.readings), "readings"),
        )
        colours = [f"{say('letter.' + k)}: {say.colour(c)}" for k, c in b.colours.items() if c]
        return {
            "kind": "title",
            "name": b.layout,
            "title": say("book.title"),
            "sub": say("book.sub"),
            "facts": [
                [say("book.hash"), b.layout_hash],
                *([[say("book.date"), self.date]] if self.date else []),
                [say("gauge"), f"{b.gauge} ({b.gauge_mm:.1f} mm)"],
                [say("control"), say(f"control.{b.control}")],
                [say("colours"), "; ".join(colours) or say("colour.any")],
            ],
            "counts": [[str(n), say(f"book.count.{k}")] for n, k in counts],
            "order": say("book.order"),
            "steps": [say(f"book.order.{n}") for n in range(1, 6)],
            "stale": say("book.stale"),
            "contents": say("book.contents"),
        }

    def cautions(self) -> list[Block]:
        return [
            chapter(self.say("ch.cautions")),
            {"kind": "cautions", "items": [self.say(f"cautions.{n}") for n in range(1, 9)]},
        ]

    def signs(self) -> list[Block]:
        say = self.say
        return [
            chapter(say("ch.signs"), fresh=False),
            image(self.art.signs),
            para(say("sign.names")),
            para(say("sign.hands")),
            para(say("sign.settings")),
        ]

    def layout(self) -> list[Block]:
        found: list[Block] = [chapter(self.say("ch.layout"), fresh=False), para(self.say("layout.about"))]
        found += [image(d, d.title if len(self.art.layout) > 1 else "") for d in self.art.layout]
        return [{"kind": "wide", "blocks": found}]
