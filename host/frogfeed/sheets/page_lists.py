"""The pages of the lists: plain track, joints, wiring, boards, servos, cutting, shopping, meter, record, faults."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from frogfeed.sheets import lists
from frogfeed.sheets.blocks import Block, Maker, chapter, image, para, sub, table, when_text
from frogfeed.sheets.model import PanelRow, Wire, WireKind
from frogfeed.sheets.steps import step_text


class ListPages(Maker):
    """Every list of the book."""

    @property
    def long(self) -> bool:
        """Whether every list begins on a page of its own."""
        return len(self.book.wires) > 16

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
            table(
                ("", say("col.no"), say("col.done"), say("col.what"), say("col.mark")),
                ("auto", "auto", "auto", 1.0, "auto"),
                rows,
                mono=(0, 4),
                tick=(2,),
            ),
        ]

    def joints(self) -> list[Block]:
        say = self.say
        rows = []
        for j in self.book.joints:
            kinds = [
                say("joiner.insulated")
                if not r.conducts
                else say("joiner.metal")
                if r.trusted
                else say("joiner.untrusted")
                for r in j.rails
            ]
            left, right = j.rails
            rows.append(
                (
                    j.mark,
                    f"{j.a[0]}.{j.a[1]}",
                    f"{j.b[0]}.{j.b[1]}",
                    f"{left.a} | {left.b}",
                    kinds[0],
                    f"{right.a} | {right.b}",
                    kinds[1],
                    j.card,
                )
            )
        return [
            chapter(say("ch.joints"), self.long),
            para(say("joints.about")),
            table(
                (
                    say("col.mark"),
                    say("col.from"),
                    say("col.to"),
                    f"{say('hand.left').capitalize()} {say('col.rail').lower()}",
                    say("col.joiner"),
                    f"{say('hand.right').capitalize()} {say('col.rail').lower()}",
                    say("col.joiner"),
                    say("col.card"),
                ),
                ("auto", 1.0, 1.0, 1.35, 0.75, 1.35, 0.75, 0.7),
                rows,
                mono=(0, 1, 2, 3, 5, 7),
                bold=(0,),
                size=8.0,
            ),
        ]

    def _wire_row(self, w: Wire) -> tuple[str, ...]:
        colour = self.say.colour(w.colour) if w.colour else ""
        mm = lists.cut_mm(w)
        return (
            w.mark,
            w.start,
            w.end,
            f"{w.letter} {colour}".strip(),
            lists.size_text(w.size),
            f"{mm:g} mm" if mm is not None else self.say("measure"),
            w.card,
            "",
        )

    def _wire_table(self, wires: Sequence[Wire]) -> Block:
        say = self.say
        heads = (
            say("col.mark"),
            say("col.from"),
            say("col.to"),
            say("col.wire"),
            say("col.size"),
            say("col.length"),
            say("col.card"),
            say("col.done"),
        )
        return table(
            heads,
            ("auto", 1.3, 1.1, "auto", "auto", "auto", 0.9, "auto"),
            [self._wire_row(w) for w in wires],
            mono=(0, 1, 2, 6),
            bold=(0,),
            tick=(7,),
            size=8.5,
        )

    def buses(self) -> list[Block]:
        say = self.say
        found = [chapter(say("ch.bus"), self.long), para(say("bus.about"))]
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
                found.append(
                    para(say("board.held") + " " + "; ".join(f"{chip}: {what}" for chip, what in b.held_off) + ".")
                )
            rows = [(t.terminal, t.pin, say(f"use.{t.use}"), t.wire, t.goes_to, "") for t in b.terminals]
            found.append(
                table(
                    (
                        say("col.terminal"),
                        say("col.pin"),
                        say("col.use"),
                        say("col.mark"),
                        say("col.goes"),
                        say("col.done"),
                    ),
                    (0.6, 0.8, 1.0, "auto", 1.2, "auto"),
                    rows,
                    mono=(0, 1, 3, 4),
                    bold=(0,),
                    tick=(5,),
                )
            )
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
                rows.append(
                    (
                        d.drive if first else "",
                        " ".join(d.pieces) if first else "",
                        f"{d.board} {d.channel}" if first else "",
                        setting,
                        str(d.pulse_us[i]) if d.pulse_us else (say("board.by_hand") if first else ""),
                        "",
                        f"{d.travel_ms:g} ms" if first and d.travel_ms else "",
                        f"{d.throw_mm:.1f} mm" if first and d.throw_mm else "",
                        d.home or "" if first else "",
                    )
                )
        found = [
            chapter(say("ch.servos"), self.long),
            para(say("servo.about")),
            table(
                (
                    say("col.drive"),
                    say("col.throws"),
                    say("col.channel"),
                    say("card.set"),
                    say("col.pulse"),
                    say("col.trim"),
                    say("col.travel"),
                    say("col.throw"),
                    say("col.home"),
                ),
                (1.0, 1.0, 0.8, 0.7, "auto", 0.8, "auto", "auto", 0.6),
                rows,
                mono=(0, 1, 2),
                size=8.5,
            ),
        ]
        if self.book.moves:
            moves = [
                (
                    m.output,
                    f"{m.drive} → {m.to}",
                    f"{m.off_ms:.0f}",
                    f"{m.open_ms:.0f}",
                    f"{m.on_ms:.0f}",
                    f"{m.done_ms:.0f}",
                    f"{m.stretch_ms:.0f}" if m.stretch_ms is not None and m.stretch_ms > 0 else "–",
                )
                for m in self.book.moves
            ]
            found += [
                para(say("moves.about")),
                table(
                    (
                        say("col.output"),
                        say("col.drive"),
                        say("col.off"),
                        say("col.open"),
                        say("col.on"),
                        say("col.rest"),
                        say("col.stretch"),
                    ),
                    (1.0, 1.4, *["auto"] * 5),
                    moves,
                    mono=(0, 1),
                    size=8.5,
                ),
            ]
        return found

    def panel(self) -> list[Block]:
        say = self.say
        if not self.book.panel:
            return []
        rows = [(p.name, f"{p.board}:{p.terminal}", p.wire, self._panel_text(p)) for p in self.book.panel]
        return [
            chapter(say("ch.panel"), fresh=False),
            para(say("panel.about")),
            table(
                (say("col.thing"), say("col.terminal"), say("col.mark"), say("col.does")),
                (0.9, 0.7, "auto", 2.2),
                rows,
                mono=(0, 1, 2),
                bold=(0,),
                size=8.5,
            ),
        ]

    def _panel_text(self, p: PanelRow, *, to_try: bool = False) -> str:
        """What a button does or a lamp shows, or how to try that it does."""
        say = self.say
        settings = say("cond.and").join(say("cond.is", drive=d, setting=s) for d, s in p.moves)
        what = "route" if p.route is not None else p.what
        of = f"{'lamp' if p.lamp else 'button'}.{what}"
        key = f"record.panel.{of}" if to_try else f"panel.{of}"
        return say(key, name=p.name, route=p.route or "", settings=settings, feed=p.feed or say("panel.any"))

    def tables(self) -> list[Block]:
        say = self.say
        if not self.book.tables:
            return []
        where = {w.start: w for w in self.book.wires if w.kind is WireKind.FEED}
        rows = [
            (t.rail, where[t.rail].end if t.rail in where else "", when_text(t.when, say), t.wire)
            for t in self.book.tables
        ]
        found = [
            chapter(say("ch.tables"), fresh=False),
            para(say("tables.about")),
            table(
                (say("col.rail"), say("col.terminal"), say("col.when"), say("col.carries")),
                (0.8, 0.9, 2.2, 0.8),
                rows,
                mono=(0, 1, 3),
                bold=(0,),
                size=8.5,
            ),
        ]
        if self._reversing():
            found.append(para(say(f"tables.reversing.{self.book.control}")))
        if self.book.notes:
            found += [sub(say("tables.notes")), *(para(note) for note in self.book.notes)]
        return found

    def _reversing(self) -> bool:
        """Whether a stretch of plain track takes either polarity: a reversing section."""
        plain = {c.name for c in self.book.cards if not c.piece}
        wires: dict[str, set[str]] = {}
        for t in self.book.tables:
            if t.rail.partition(".")[0] in plain:
                wires.setdefault(t.rail, set()).add(t.wire)
        return any(len(w) > 1 for w in wires.values())

    def cuts(self) -> list[Block]:
        say = self.say
        rows = []
        for c in self.book.cuts:
            colour = say.colour(c.colour) if c.colour else ""
            rows.append(
                (
                    c.what,
                    f"{c.letter} {colour}".strip(),
                    lists.size_text(c.size),
                    f"{c.mm:g} mm" if c.mm is not None else say("measure"),
                    str(c.count),
                    " ".join(c.marks),
                    "",
                )
            )
        about = say(
            "cut.about", dropper=f"{lists.DROPPER_MM:g}", bond=f"{lists.BOND_MM:g}", loose=f"{lists.LOOSE_MM:g}"
        )
        return [
            chapter(say("ch.cut"), self.long),
            para(about),
            table(
                (
                    say("col.what"),
                    say("col.wire"),
                    say("col.size"),
                    say("col.length"),
                    say("col.count"),
                    say("col.marks"),
                    say("col.done"),
                ),
                (0.8, 0.7, 1.0, "auto", "auto", 1.9, "auto"),
                rows,
                bold=(4,),
                tick=(6,),
                size=8.5,
            ),
        ]

    def shopping(self) -> list[Block]:
        say = self.say
        rows = []
        for n in self.book.needs:
            amount = f"{n.count} {n.unit}" if n.count is not None else f"{n.metres:.1f} {n.unit}" if n.metres else "–"
            rows.append((n.what, n.about, amount, f"+ {n.spare:g}" if n.spare else "", ""))
        return [
            chapter(say("ch.shop"), fresh=False),
            para(say("shop.about")),
            table(
                (say("col.what"), say("col.about"), say("col.count"), say("col.spare"), say("col.done")),
                (1.3, 2.0, "auto", "auto", "auto"),
                rows,
                tick=(4,),
            ),
        ]

    def readings_table(self) -> Block:
        say = self.say
        rows, last = [], None
        for r in self.book.readings:
            here = ", ".join(say("cond.is", drive=d, setting=s) for d, s in r.settings) or say("meter.first")
            state = say("meter.closed") if r.closed else say("meter.open")
            rows.append((str(r.number), here if here != last else "", r.probe_a, r.probe_b, state, "", r.reason))
            last = here
        keys = ("col.no", "card.set", "col.probe_a", "col.probe_b", "col.reads", "col.done", "meter.reason")
        widths: tuple[float | str, ...] = ("auto", 1.0, 0.9, 0.9, "auto", "auto", 1.7)
        return table([say(k) for k in keys], widths, rows, mono=(2, 3), bold=(4,), tick=(5,), size=8.5)

    def meter(self) -> list[Block]:
        say, about = self.say, self.book.readings_about
        if not self.book.readings:
            return []
        count = len(self.book.readings)
        proof = say("meter.proof.least") if about["least"] == count else say("meter.proof.bound", least=about["least"])
        found = [
            chapter(say("ch.meter")),
            para(say("meter.about", count=count, covered=about["covered"], proof=proof)),
            para(say("meter.how")),
            self.readings_table(),
        ]
        for key in ("hidden", "alike"):
            if about[key]:
                found.append(para(say(f"meter.{key}", count=about[key])))
        return found

    def record(self) -> list[Block]:
        say = self.say
        rows = [(str(n), "", say(f"record.{n}", hash=self.book.layout_hash), "", "") for n in range(1, 11)]
        found = [
            chapter(say("ch.record"), self.long),
            para(say("record.about")),
            table(
                (say("col.no"), say("col.done"), say("col.what"), say("record.value"), say("record.sign")),
                ("auto", "auto", 2.4, 0.8, 0.5),
                rows,
                tick=(1,),
            ),
        ]
        pieces = [c for c in self.book.cards if c.piece]
        found += [
            sub(say("record.turnouts")),
            table(
                ("", say("col.drive"), say("record.trim"), say("record.thrown"), say("record.run"), say("record.sign")),
                (1.0, 1.4, "auto", "auto", "auto", 0.8),
                [(c.name, " ".join(c.drives), "", "", "", "") for c in pieces],
                mono=(0, 1),
                tick=(2, 3, 4),
            ),
        ]
        if self.book.panel:
            checks = [(p.name, self._panel_text(p, to_try=True), "", "") for p in self.book.panel]
            found += [
                sub(say("record.panel")),
                para(say("record.panel.about")),
                table(
                    ("", say("col.what"), say("col.done"), say("record.sign")),
                    (1.0, 2.6, "auto", 0.6),
                    checks,
                    mono=(0,),
                    tick=(2,),
                ),
            ]
        return found

    def faults(self) -> list[Block]:
        say = self.say
        hold = " / ".join(sorted({b.hold for b in self.book.boards if b.hold})) or "–"
        rows = [(say(f"faults.{n}"), say(f"faults.{n}.a", hold=hold)) for n in range(1, 12)]
        found = [
            chapter(say("ch.faults")),
            para(say("faults.about")),
            table((say("faults.symptom"), say("faults.check")), (1.0, 2.4), rows, bold=(0,)),
        ]
        ways = list(self._ways())
        if ways:
            found += [
                sub(say("faults.ways")),
                para(say("faults.ways.about")),
                table(
                    (say("col.rail"), say("col.when"), say("faults.way")), (0.6, 1.3, 2.4), ways, bold=(0,), size=8.5
                ),
            ]
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
            chapter(self.say("ch.labels")),
            para(about),
            {"kind": "full", "names": [f"{d.name}.svg" for d in self.art.labels]},
        ]
