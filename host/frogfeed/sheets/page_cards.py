"""The pages of the cards."""

from __future__ import annotations

import math
from collections.abc import Sequence

from frogfeed.layout.schema import FrogFeed
from frogfeed.plan.makeup import FitSwitched
from frogfeed.sheets.blocks import Block, Maker, image, para, sub, table
from frogfeed.sheets.model import Card, Reading
from frogfeed.sheets.steps import step_text

FEW = 12
"""Columns up to which a card's settings stand one below the other; more rails stand one below the other instead."""


class CardPages(Maker):
    """One card a piece: both views, steps, settings, readings."""

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
            dropper_only = frog is FrogFeed.SWITCHED and not any(
                isinstance(does, FitSwitched) for step in card.steps for does in step.does
            )
            frogs = "facts.frog.fixed" if dropper_only else f"facts.frog.{frog}"
            state = "; ".join((say(f"facts.links.{links}"), say(f"facts.blades.{blades}"), say(frogs)))
            facts.append([say("card.state"), state])
        if card.follows:
            facts.append([say("card.follows"), say("card.follows.text", drives=", ".join(card.follows))])
        for c in card.channels:
            label = say("card.drive") if c.kind in ("servo", "contact") else say("card.feed")
            kind = say(f"use.{c.kind}") if c.kind in ("servo", "contact") else say(f"output.{c.kind}")
            facts.append([label, f"{c.thing} → {c.board} {c.name}, {kind}"])
        found: list[Block] = [
            {
                "kind": "card",
                "name": card.name,
                "what": self.title_of(card),
                "number": f"{say('card')} {card.number}",
                "facts": facts,
                "code": f"code-{card.name}.svg",
                "signed": [say("card.done"), say("card.dated")],
                "chapter": say("ch.cards") if first else "",
            },
            image(above, say("view.above") + ". " + say("view.scale", times=f"{times:.1f}")),
            image(below, say("view.below")),
            sub(say("card.steps")),
        ]
        if card.steps:
            found.append(self._steps(card))
        else:
            found.append(para(say("card.nothing")))
        found += self._settings(card)
        mine = [r for r in self.book.readings if any(p.partition(".")[0] == card.name for p in (r.probe_a, r.probe_b))]
        if mine:
            found.append(sub(say("card.readings")))
            found.append(para(self._in_short(mine)))
        return found

    def _in_short(self, readings: Sequence[Reading]) -> str:
        """Readings in a row, by settings; the meter list has the boxes to tick."""
        say = self.say
        groups: dict[str, list[str]] = {}
        for r in readings:
            here = ", ".join(say("cond.is", drive=d, setting=s) for d, s in r.settings) or say("meter.first")
            state = say("meter.closed") if r.closed else say("meter.open")
            groups.setdefault(here, []).append(f"{r.number} {r.probe_a} – {r.probe_b} {state}")
        return ". ".join(f"{here}: {'; '.join(texts)}" for here, texts in groups.items()) + "."

    def _steps(self, card: Card) -> Block:
        say = self.say
        rows = []
        for s in card.steps:
            text = step_text(s, self.wires, say)
            if s.elsewhere:
                text += (
                    " ("
                    + say("card.elsewhere", card=f"{say('card.ref', number=self.numbers[s.elsewhere])}, {s.elsewhere}")
                    + ".)"
                )
            rows.append((str(s.number), "", text, s.mark))
        return table(
            (say("col.no"), say("col.done"), say("col.what"), say("col.mark")),
            ("auto", "auto", 1.0, "auto"),
            rows,
            mono=(3,),
            bold=(0,),
            tick=(1,),
        )

    def _settings(self, card: Card) -> list[Block]:
        say = self.say
        if not card.settings:
            return []
        wires = {w for s in card.settings for ws in s.rails.values() for w in ws}
        wires |= {w for s in card.settings for w in s.feeds.values() if w}
        plain = len({w.rpartition(".")[0] for w in wires}) <= 1

        def short(wire: str) -> str:
            return wire.rpartition(".")[2] if plain else wire

        heads = [
            ", ".join(say("cond.is", drive=d, setting=v) for d, v in s.term) or say("cond.always")
            for s in card.settings
        ]
        columns: list[tuple[str, list[str]]] = [
            (
                say("card.road"),
                [", ".join(s.roads) or say("card.no_road" if s.forbidden else "card.none") for s in card.settings],
            )
        ]
        if any(s.touching for s in card.settings):
            touch = [
                ", ".join(f"{b.partition('.')[2]}→{a.partition('.')[2]}" for a, b in s.touching) for s in card.settings
            ]
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
                (say("card.set"), *(c for c, _ in columns)),
                ("auto", *("auto" for _ in columns)),
                [(head, *(values[i] for _, values in columns)) for i, head in enumerate(heads)],
                bold=(0,),
                size=8.5,
            )
        else:
            made = table(
                ("", *heads),
                ("auto", *(1.0 for _ in heads)),
                [(c, *values) for c, values in columns],
                bold=(0,),
                size=8.5,
            )
        return [sub(say("card.settings")), para(about), made]
