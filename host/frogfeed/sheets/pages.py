"""The pages as blocks for the typesetter: headings, paragraphs, tables, drawings, cards. All words come from `words`."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from frogfeed.sheets import lists
from frogfeed.sheets.drawing import Drawing
from frogfeed.sheets.model import Book, Card, Reading, Wire, WireKind
from frogfeed.sheets.paper import Paper
from frogfeed.sheets.steps import step_text
from frogfeed.sheets.words import Words
from frogfeed.track.conditions import When

Block = dict[str, Any]

FEW = 12
"""Columns up to which a card's settings stand one below the other; more rails stand one below the other instead."""


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
    columns: Sequence[str], widths: Sequence[float | str], rows: Iterable[Sequence[str]], mono: Sequence[int] = (),
    bold: Sequence[int] = (), tick: Sequence[int] = (), size: float = 9.0,
) -> Block:  # fmt: skip
    """A table. Widths are fractions, or "auto"; `mono` columns hold names, `tick` columns a box."""
    body = [[soft(c) if i in mono else c for i, c in enumerate(row)] for row in rows]
    return {
        "kind": "table", "columns": list(columns), "widths": [w if isinstance(w, str) else float(w) for w in widths],
        "rows": body, "mono": list(mono), "bold": list(bold), "tick": list(tick), "size": size,
    }  # fmt: skip


def chapter(text: str, fresh: bool = True) -> Block:
    return {"kind": "chapter", "text": text, "fresh": fresh}


def para(text: str) -> Block:
    return {"kind": "para", "text": text}


def sub(text: str) -> Block:
    return {"kind": "sub", "text": text}


def image(d: Drawing, caption: str = "") -> Block:
    return {"kind": "image", "name": f"{d.name}.svg", "width": d.width, "height": d.height, "caption": caption}


class Pages:
    """Builds the blocks of a book."""

    def __init__(self, book: Book, art: Art, paper: Paper, words: Words, date: str) -> None:
        self.book, self.art, self.paper, self.say, self.date = book, art, paper, words, date
        self.wires = {w.mark: w for w in book.wires}
        self.numbers = {c.name: c.number for c in book.cards}

    def blocks(self) -> list[Block]:
        """The whole book."""
        found: list[Block] = [self.title()]
        for part in (
            self.cautions, self.signs, self.layout, self.cards, self.plain, self.joints, self.buses, self.boards, self.servos,
            self.tables, self.cuts, self.shopping, self.meter, self.record, self.faults, self.labels,
        ):  # fmt: skip
            found += part()
        return found

    def title(self) -> Block:
        b, say = self.book, self.say
        counts = (
            (sum(c.piece for c in b.cards), "pieces"), (len(b.joints), "joints"), (len(b.wires), "wires"),
            (len(b.boards), "boards"), (len(b.readings), "readings"),
        )  # fmt: skip
        colours = [f"{say('letter.' + k)}: {say.colour(c)}" for k, c in b.colours.items() if c]
        return {
            "kind": "title", "name": b.layout, "title": say("book.title"), "sub": say("book.sub"),
            "facts": [
                [say("book.hash"), b.layout_hash], *([[say("book.date"), self.date]] if self.date else []),
                [say("gauge"), f"{b.gauge} ({b.gauge_mm:.1f} mm)"], [say("control"), say(f"control.{b.control}")],
                [say("colours"), "; ".join(colours) or say("colour.any")],
            ],
            "counts": [[str(n), say(f"book.count.{k}")] for n, k in counts],
            "order": say("book.order"), "steps": [say(f"book.order.{n}") for n in range(1, 6)],
            "stale": say("book.stale"), "contents": say("book.contents"),
        }  # fmt: skip

    def cautions(self) -> list[Block]:
        return [
            chapter(self.say("ch.cautions")),
            {"kind": "cautions", "items": [self.say(f"cautions.{n}") for n in range(1, 9)]},
        ]

    def signs(self) -> list[Block]:
        say = self.say
        return [
            chapter(say("ch.signs"), fresh=False), image(self.art.signs), para(say("sign.names")), para(say("sign.hands")),
            para(say("sign.settings")),
        ]  # fmt: skip

    def layout(self) -> list[Block]:
        found: list[Block] = [chapter(self.say("ch.layout"), fresh=False), para(self.say("layout.about"))]
        found += [image(d, d.title if len(self.art.layout) > 1 else "") for d in self.art.layout]
        return [{"kind": "wide", "blocks": found}]

    # --- cards

    def cards(self) -> list[Block]:
        found: list[Block] = []
        for n, card in enumerate([c for c in self.book.cards if c.piece]):
            found += self.card(card, first=n == 0)
        return found

    def title_of(self, card: Card) -> str:
        if card.kind == "turnout" and card.straight:
            away = "right" if card.straight == "left" else "left"
            return self.say("title.hand", hand=self.say(f"hand.{away}").capitalize())
        if card.kind == "wye":
            return self.say("title.wye").capitalize()
        return card.title.capitalize()

    def card(self, card: Card, first: bool = False) -> list[Block]:
        """One card's blocks."""
        say = self.say
        above, below, times = self.art.cards[card.name]
        facts: list[list[str]] = []
        assert card.make is not None
        facts.append([say("card.facts"), say(f"make.{card.make.value}")])
        if card.frog_number is not None:
            degrees = math.degrees(2 * math.atan(0.5 / card.frog_number))
            facts.append([say("card.frog"), say("card.one_in", n=f"{card.frog_number:g}", deg=f"{degrees:.1f}")])
        else:
            facts.append([say("card.frog"), say("card.one_in.assumed", n="6")])
        if card.facts is not None:
            links, blades, frog = card.facts
            state = "; ".join((say(f"facts.links.{links}"), say(f"facts.blades.{blades}"), say(f"facts.frog.{frog}")))
            facts.append([say("card.state"), state])
        for c in card.channels:
            label = say("card.drive") if c.kind in ("servo", "contact") else say("card.feed")
            kind = say(f"use.{c.kind}") if c.kind in ("servo", "contact") else say(f"output.{c.kind}")
            facts.append([label, f"{c.thing} → {c.board} {c.name}, {kind}"])
        found: list[Block] = [
            {
                "kind": "card", "name": card.name, "what": self.title_of(card), "number": f"{say('card')} {card.number}",
                "facts": facts, "code": f"code-{card.name}.svg", "chapter": say("ch.cards") if first else "",
            },
            image(above, say("view.above") + ". " + say("view.scale", times=f"{times:.1f}")),
            image(below, say("view.below")),
            sub(say("card.steps")),
        ]  # fmt: skip
        if card.steps:
            found.append(self._steps(card))
        else:
            found.append(para(say("card.nothing")))
        found += self._settings(card)
        mine = [r for r in self.book.readings if any(p.partition(".")[0] == card.name for p in (r.probe_a, r.probe_b))]
        if mine:
            found.append(sub(say("card.readings")))
            found.append(self._readings(mine, short=True))
        found.append({"kind": "signed", "labels": [say("card.done"), say("card.dated")]})
        return found

    def _steps(self, card: Card) -> Block:
        say = self.say
        rows = []
        for s in card.steps:
            text = step_text(s, self.wires, say)
            if s.elsewhere:
                text += " (" + say("card.elsewhere", card=f"{say('card.ref', number=self.numbers[s.elsewhere])}, {s.elsewhere}") + ".)"
            rows.append((str(s.number), "", text, s.mark))
        return table((say("col.no"), say("col.done"), say("col.what"), say("col.mark")), ("auto", "auto", 1.0, "auto"), rows,
                     mono=(3,), bold=(0,), tick=(1,))  # fmt: skip

    def _settings(self, card: Card) -> list[Block]:
        say = self.say
        if not card.settings:
            return []
        wires = {w for s in card.settings for ws in s.rails.values() for w in ws}
        wires |= {w for s in card.settings for w in s.feeds.values() if w}
        plain = len({w.rpartition(".")[0] for w in wires}) <= 1

        def short(wire: str) -> str:
            return wire.rpartition(".")[2] if plain else wire

        heads = [", ".join(say("cond.is", drive=d, setting=v) for d, v in s.term) or say("cond.always") for s in card.settings]
        columns: list[tuple[str, list[str]]] = [
            (say("card.road"), [", ".join(s.roads) or say("card.no_road" if s.forbidden else "card.none") for s in card.settings])
        ]
        if any(s.touching for s in card.settings):
            touch = [", ".join(f"{b.partition('.')[2]}→{a.partition('.')[2]}" for a, b in s.touching) for s in card.settings]
            columns.append((say("card.blade"), [t or "–" for t in touch]))
        for output in card.settings[0].feeds:
            carried = [s.feeds[output] for s in card.settings]
            columns.append((f"{output} {say('card.coil')}", [short(w) if w else say("card.off") for w in carried]))
        for rail in card.settings[0].rails:
            columns.append(
                (rail.partition(".")[2], [" + ".join(short(w) for w in s.rails[rail]) or "–" for s in card.settings])
            )
        districts = sorted({w.rpartition(".")[0] for w in wires})
        about = say("card.settings.about")
        if plain and districts and len(self.book.districts) > 1:
            about += " " + say("layout.district", name=districts[0]).capitalize() + "."
        if len(columns) <= FEW:
            made = table(
                (say("card.set"), *(c for c, _ in columns)), ("auto", *("auto" for _ in columns)),
                [(head, *(values[i] for _, values in columns)) for i, head in enumerate(heads)], bold=(0,), size=8.5,
            )  # fmt: skip
        else:
            made = table(("", *heads), ("auto", *(1.0 for _ in heads)), [(c, *values) for c, values in columns], bold=(0,), size=8.5)
        return [sub(say("card.settings")), para(about), made]

    # --- lists

    def plain(self) -> list[Block]:
        say = self.say
        rows = []
        for card in self.book.cards:
            if card.piece:
                continue
            for s in card.steps:
                text = step_text(s, self.wires, say)
                if s.elsewhere:
                    text += " (" + say("card.elsewhere", card=s.elsewhere) + ".)"
                rows.append((card.name if s.number == 1 else "", str(s.number), "", text, s.mark))
        if not rows:
            return []
        return [
            chapter(say("ch.plain")),
            table(("", say("col.no"), say("col.done"), say("col.what"), say("col.mark")), ("auto", "auto", "auto", 1.0, "auto"),
                  rows, mono=(0, 4), tick=(2,)),
        ]  # fmt: skip

    def joints(self) -> list[Block]:
        say = self.say
        rows = []
        for j in self.book.joints:
            kinds = [say("joiner.insulated") if not r.conducts else say("joiner.metal") if r.trusted else say("joiner.untrusted")
                     for r in j.rails]  # fmt: skip
            left, right = j.rails
            rows.append((
                j.mark, f"{j.a[0]}.{j.a[1]}", f"{j.b[0]}.{j.b[1]}", f"{left.a} | {left.b}", kinds[0],
                f"{right.a} | {right.b}", kinds[1], j.card,
            ))  # fmt: skip
        return [
            chapter(say("ch.joints")), para(say("joints.about")),
            table(
                (say("col.mark"), say("col.from"), say("col.to"), f"{say('hand.left').capitalize()} {say('col.rail').lower()}",
                 say("col.joiner"), f"{say('hand.right').capitalize()} {say('col.rail').lower()}", say("col.joiner"), say("col.card")),
                ("auto", 1.0, 1.0, 1.35, 0.75, 1.35, 0.75, 0.7), rows, mono=(0, 1, 2, 3, 5, 7), bold=(0,), size=8.0,
            ),
        ]  # fmt: skip

    def _wire_row(self, w: Wire) -> tuple[str, ...]:
        colour = self.say.colour(w.colour) if w.colour else ""
        mm = lists.cut_mm(w)
        return (w.mark, w.start, w.end, f"{w.letter} {colour}".strip(), lists.size_text(w.size),
                f"{mm:g} mm" if mm is not None else self.say("measure"), w.card, "")  # fmt: skip

    def _wire_table(self, wires: Sequence[Wire]) -> Block:
        say = self.say
        heads = (say("col.mark"), say("col.from"), say("col.to"), say("col.wire"), say("col.size"), say("col.length"),
                 say("col.card"), say("col.done"))  # fmt: skip
        return table(heads, ("auto", 1.3, 1.1, "auto", "auto", "auto", 0.9, "auto"), [self._wire_row(w) for w in wires],
                     mono=(0, 1, 2, 6), bold=(0,), tick=(7,), size=8.5)  # fmt: skip

    def buses(self) -> list[Block]:
        say = self.say
        found = [chapter(say("ch.bus")), para(say("bus.about"))]
        for district in self.book.districts:
            for side in ("A", "B"):
                bus = f"{district}.{side}"
                here = [w for w in self.book.wires if bus in (w.start, w.end)]
                colour = self.book.colours.get(side)
                found.append(sub(f"{bus}{': ' + say.colour(colour) if colour else ''}"))
                found.append(self._wire_table(here) if here else para(say("bus.none")))
        return found

    def boards(self) -> list[Block]:
        say = self.say
        found: list[Block] = []
        for n, b in enumerate(self.book.boards):
            if n == 0:
                found += [chapter(say("ch.boards")), para(say("board.about"))]
            name = f"{b.name}: {b.title}" + (f", USB {b.serial}" if b.serial else "")
            found += [sub(name), image(self.art.boards[b.name])]
            if b.held_off:
                found.append(para(say("board.held") + " " + "; ".join(f"{chip}: {what}" for chip, what in b.held_off) + "."))
            rows = [(t.terminal, t.pin, say(f"use.{t.use}"), t.wire, t.goes_to, "") for t in b.terminals]
            found.append(
                table((say("col.terminal"), say("col.pin"), say("col.use"), say("col.mark"), say("col.goes"), say("col.done")),
                      (0.6, 0.8, 1.0, "auto", 1.2, "auto"), rows, mono=(0, 1, 3, 4), bold=(0,), tick=(5,))
            )  # fmt: skip
            wires = [w for w in self.book.wires if w.board == b.name and w.kind is not WireKind.SUPPLY]
            if wires:
                found.append(self._wire_table(wires))
        return found

    def servos(self) -> list[Block]:
        say = self.say
        if not self.book.drives:
            return []
        rows = []
        for d in self.book.drives:
            for i, setting in enumerate(d.settings):
                first = i == 0
                rows.append((
                    d.drive if first else "", " ".join(d.pieces) if first else "", f"{d.board} {d.channel}" if first else "",
                    setting, str(d.pulse_us[i]) if d.pulse_us else (say("board.by_hand") if first else ""), "",
                    f"{d.travel_ms:g} ms" if first and d.travel_ms else "", f"{d.throw_mm:.1f} mm" if first and d.throw_mm else "",
                    d.home or "" if first else "",
                ))  # fmt: skip
        found = [
            chapter(say("ch.servos")), para(say("servo.about")),
            table((say("col.drive"), say("col.throws"), say("col.channel"), say("card.set"), say("col.pulse"), say("col.trim"),
                   say("col.travel"), say("col.throw"), say("col.home")),
                  (1.0, 1.0, 0.8, 0.7, "auto", 0.8, "auto", "auto", 0.6), rows, mono=(0, 1, 2), size=8.5),
        ]  # fmt: skip
        if self.book.moves:
            moves = [
                (m.output, f"{m.drive} → {m.to}", f"{m.off_ms:.0f}", f"{m.open_ms:.0f}", f"{m.on_ms:.0f}", f"{m.done_ms:.0f}",
                 f"{m.stretch_ms:.0f}" if m.stretch_ms is not None else "–")
                for m in self.book.moves
            ]  # fmt: skip
            found += [
                para(say("moves.about")),
                table((say("col.output"), say("col.drive"), say("col.off"), say("col.open"), say("col.on"), say("col.rest"),
                       say("col.stretch")), (1.0, 1.4, *["auto"] * 5), moves, mono=(0, 1), size=8.5),
            ]  # fmt: skip
        return found

    def tables(self) -> list[Block]:
        say = self.say
        if not self.book.tables:
            return []
        where = {w.start: w for w in self.book.wires if w.kind is WireKind.FEED}
        rows = [
            (t.rail, where[t.rail].end if t.rail in where else "", when_text(t.when, say), t.wire) for t in self.book.tables
        ]
        return [
            chapter(say("ch.tables"), fresh=False), para(say("tables.about")),
            table((say("col.rail"), say("col.terminal"), say("col.when"), say("col.carries")), (0.8, 0.9, 2.2, 0.8), rows,
                  mono=(0, 1, 3), bold=(0,), size=8.5),
        ]  # fmt: skip

    def cuts(self) -> list[Block]:
        say = self.say
        rows = []
        for c in self.book.cuts:
            colour = say.colour(c.colour) if c.colour else ""
            rows.append((c.what, f"{c.letter} {colour}".strip(), lists.size_text(c.size),
                         f"{c.mm:g} mm" if c.mm is not None else say("measure"), str(c.count), " ".join(c.marks), ""))  # fmt: skip
        about = say("cut.about", dropper=f"{lists.DROPPER_MM:g}", bond=f"{lists.BOND_MM:g}", loose=f"{lists.LOOSE_MM:g}")
        return [
            chapter(say("ch.cut")), para(about),
            table((say("col.what"), say("col.wire"), say("col.size"), say("col.length"), say("col.count"), say("col.marks"),
                   say("col.done")), (0.8, 0.7, 1.0, "auto", "auto", 1.9, "auto"), rows, bold=(4,), tick=(6,), size=8.5),
        ]  # fmt: skip

    def shopping(self) -> list[Block]:
        say = self.say
        rows = []
        for n in self.book.needs:
            amount = f"{n.count} {n.unit}" if n.count is not None else f"{n.metres:.1f} {n.unit}"
            rows.append((n.what, n.about, amount, f"+ {n.spare:g}" if n.spare else "", ""))
        return [
            chapter(say("ch.shop"), fresh=False), para(say("shop.about")),
            table((say("col.what"), say("col.about"), say("col.count"), say("col.spare"), say("col.done")),
                  (1.3, 2.0, "auto", "auto", "auto"), rows, tick=(4,)),
        ]  # fmt: skip

    def _readings(self, readings: Sequence[Reading], short: bool = False) -> Block:
        say = self.say
        rows, last = [], None
        for r in readings:
            here = ", ".join(say("cond.is", drive=d, setting=s) for d, s in r.settings) or say("meter.first")
            state = say("meter.closed") if r.closed else say("meter.open")
            row = [str(r.number), here if here != last else "", r.probe_a, r.probe_b, state, ""]
            if not short:
                row.append(r.reason)
            rows.append(row)
            last = here
        heads = [say("col.no"), say("card.set"), say("col.probe_a"), say("col.probe_b"), say("col.reads"), say("col.done")]
        widths: list[float | str] = ["auto", 1.0, 0.9, 0.9, "auto", "auto"]
        if not short:
            heads.append(say("meter.reason"))
            widths.append(1.7)
        return table(heads, widths, rows, mono=(2, 3), bold=(4,), tick=(5,), size=8.5)

    def meter(self) -> list[Block]:
        say, about = self.say, self.book.readings_about
        if not self.book.readings:
            return []
        count = len(self.book.readings)
        proof = say("meter.proof.least") if about["least"] == count else say("meter.proof.bound", least=about["least"])
        found = [
            chapter(say("ch.meter")), para(say("meter.about", count=count, covered=about["covered"], proof=proof)),
            para(say("meter.how")), self._readings(self.book.readings),
        ]  # fmt: skip
        for key in ("hidden", "alike"):
            if about[key]:
                found.append(para(say(f"meter.{key}", count=about[key])))
        return found

    def record(self) -> list[Block]:
        say = self.say
        rows = [(str(n), "", say(f"record.{n}", hash=self.book.layout_hash), "", "") for n in range(1, 11)]
        found = [
            chapter(say("ch.record")), para(say("record.about")),
            table((say("col.no"), say("col.done"), say("col.what"), say("record.value"), say("record.sign")),
                  ("auto", "auto", 2.4, 0.8, 0.5), rows, tick=(1,)),
        ]  # fmt: skip
        pieces = [c for c in self.book.cards if c.piece]
        found += [
            sub(say("record.turnouts")),
            table(("", say("col.drive"), say("record.trim"), say("record.thrown"), say("record.run"), say("record.sign")),
                  (1.0, 1.4, "auto", "auto", "auto", 0.8), [(c.name, " ".join(c.drives), "", "", "", "") for c in pieces],
                  mono=(0, 1), tick=(2, 3, 4)),
        ]  # fmt: skip
        return found

    def faults(self) -> list[Block]:
        say = self.say
        hold = " / ".join(sorted({b.hold for b in self.book.boards if b.hold})) or "–"
        rows = [(say(f"faults.{n}"), say(f"faults.{n}.a", hold=hold)) for n in range(1, 12)]
        found = [
            chapter(say("ch.faults")), para(say("faults.about")),
            table((say("faults.symptom"), say("faults.check")), (1.0, 2.4), rows, bold=(0,)),
        ]  # fmt: skip
        ways = list(self._ways())
        if ways:
            found += [
                sub(say("faults.ways")), para(say("faults.ways.about")),
                table((say("col.rail"), say("col.when"), say("faults.way")), (0.6, 1.3, 2.4), ways, bold=(0,), size=8.5),
            ]  # fmt: skip
        return found

    def _ways(self) -> Iterator[tuple[str, str, str]]:
        supplies: dict[tuple[str, str], list[Wire]] = {}
        for w in self.book.wires:
            if w.kind is WireKind.SUPPLY and w.board is not None:
                supplies.setdefault((w.board, w.start), []).append(w)
        feeds = {w.start: w for w in self.book.wires if w.kind is WireKind.FEED}
        for t in self.book.tables:
            feed = feeds.get(t.rail)
            if feed is None or feed.board is None:
                continue
            near = supplies.get((feed.board, t.wire), [])
            own = [w for w in near if w.channel == feed.channel] or [w for w in near if w.channel in self._groups(feed)]
            way = [t.wire]
            if own:
                way += [own[0].mark, own[0].end]
            way += [feed.end, feed.mark, t.rail]
            yield t.rail, when_text(t.when, self.say), " → ".join(way)

    def _groups(self, feed: Wire) -> set[str | None]:
        return {self.book.groups.get((feed.board or "", feed.channel or ""))}

    def labels(self) -> list[Block]:
        if not self.art.labels:
            return []
        about = self.say("labels.about", sheet=self.paper.labels.title)
        return [
            chapter(self.say("ch.labels")), para(about),
            {"kind": "full", "names": [f"{d.name}.svg" for d in self.art.labels]},
        ]  # fmt: skip

