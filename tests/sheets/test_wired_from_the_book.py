"""Wire the railway from the book alone: its steps, wires and tables give the network that was planned."""

from __future__ import annotations

from collections import Counter
from dataclasses import replace
from itertools import pairwise

import pytest

from frogfeed.demo.railway import Ready, demo_file
from frogfeed.demo.run import run_throws
from frogfeed.layout.reading import read_layout
from frogfeed.plan.makeup import BondRails, FitDropper, FitJoiner, FitSwitched, KeepLink, RemoveLink
from frogfeed.plan.settings import build_settings
from frogfeed.sheets.continuity import Continuity
from frogfeed.sheets.model import Book, WireKind
from frogfeed.track.network.conditions import to_json
from frogfeed.track.network.model import Bond, BondKind, Contact, Feed, RailNetwork, SwitchedFeed, TableRow
from frogfeed.track.network.netlist import netlist
from frogfeed.track.pieces.expand import drive_term

from .make import SHIPPED, Made, made, shipped


class Workbench:
    """Pieces as they come out of the box, then changed by what cards and lists say, and by nothing else."""

    def __init__(self, book: Book, kinds, uses) -> None:
        self.book = book
        self.metal: set[frozenset[str]] = set()
        self.links: set[frozenset[str]] = set()
        self.touch: list[tuple[str, str, tuple]] = []
        self.droppers: list[tuple[str, str]] = []
        self.switched: dict[str, str] = {}
        for card in book.cards:
            if card.piece:
                self._unpack(card, kinds[card.kind], {s: u for (p, s), u in uses.items() if p == card.name})
        for card in book.cards:
            for step in card.steps:
                for does in step.does:
                    self._do(step, does)

    def _unpack(self, card, kind, slots) -> None:
        make = kind.makes[card.make]
        name = card.name + "."
        for group in make.castings:
            self.metal |= {frozenset((name + a, name + b)) for a, b in pairwise(group)}
        self.links |= {frozenset((name + a, name + b)) for a, b in make.links}
        for tip in kind.tips:
            when = drive_term({s: (u.drive, u.settings) for s, u in slots.items()}, tip.when)
            self.touch.append((name + tip.stock, name + tip.blade, () if when is None else (when,)))

    def _do(self, step, does) -> None:
        match does:
            case RemoveLink(a, b):
                self.links.remove(frozenset((a, b)))
            case KeepLink(a, b):
                assert frozenset((a, b)) in self.links
            case BondRails(a, b):
                self.metal.add(frozenset((a, b)))
            case FitJoiner():
                pair = frozenset((does.rail, does.beyond))
                if does.conducts:
                    self.metal.add(pair)
                else:
                    assert pair not in self.metal, "both cards of a joint must say the same"
            case FitDropper():
                w = self.book.wire(step.mark)
                self.droppers.append((w.start, w.end))
            case FitSwitched():
                w = self.book.wire(step.mark)
                assert w.kind is WireKind.FEED
                self.switched[w.start] = w.end

    def supplied(self, terminal: str) -> set[str]:
        """The bus wires that the wiring list brings to the output behind a terminal."""
        board, _, name = terminal.partition(":")
        channel = name.partition(".")[0]
        group = self.book.groups.get((board, channel))
        return {w.start for w in self.book.wires
                if w.kind is WireKind.SUPPLY and w.board == board and w.channel in (channel, group)}  # fmt: skip

    def network(self, drawn: RailNetwork) -> RailNetwork:
        """The drawn network with all conductors replaced by what was wired."""
        always = self.metal | self.links
        tables: dict[str, list[TableRow]] = {}
        for t in self.book.tables:
            assert t.wire in self.supplied(self.switched[t.rail]), "an output can only give what is wired to it"
            tables.setdefault(t.rail, []).append(TableRow(t.when, t.wire))
        drawn_rows = {s.rail: s for s in drawn.switched}
        return replace(
            drawn,
            bonds=tuple(Bond(*sorted(p), BondKind.JOINER, None) for p in sorted(always, key=sorted) if len(p) == 2),
            contacts=tuple(Contact(a, b, w, None) for a, b, w in self.touch if frozenset((a, b)) not in always),
            feeds=tuple(Feed(rail, wire, None, None, None) for rail, wire in self.droppers),
            switched=tuple(
                SwitchedFeed(rail, drawn_rows[rail].output, drawn_rows[rail].piece, drawn_rows[rail].district,
                             tuple(tables[rail]), drawn_rows[rail].drives, drawn_rows[rail].bonded_blades)
                for rail in self.switched
            ),
        )  # fmt: skip


def wired(m: Made) -> RailNetwork:
    return Workbench(m.book, m.kinds, m.uses).network(m.network)


def electrical(n: RailNetwork):
    """What conducts, in a form that ignores order and doubles."""
    data = netlist(n)
    bonds = {frozenset(b) for b in data["bonds"] if b[0] != b[1]}
    contacts = {
        (frozenset(c["between"]), str(c["when"])) for c in data["contacts"] if frozenset(c["between"]) not in bonds
    }
    feeds = Counter((f["rail"], f["wire"]) for f in data["feeds"])
    switched = {s["rail"]: sorted((str(r["when"]), r["wire"]) for r in s["table"]) for s in data["switched"]}
    return bonds, contacts, feeds, switched


@pytest.mark.parametrize("name", SHIPPED)
def test_the_book_gives_the_network_that_was_planned(name: str) -> None:
    m = shipped(name)
    assert electrical(wired(m)) == electrical(m.network)


def test_a_step_left_out_or_done_wrong_is_seen() -> None:
    m = shipped("saltmarsh-quay.toml")
    right = electrical(m.network)
    for n, card in enumerate(m.book.cards):
        if not card.piece:
            continue
        for k in range(len(card.steps)):
            if isinstance(card.steps[k].does[0], KeepLink | FitJoiner):
                continue
            short = replace(card, steps=card.steps[:k] + card.steps[k + 1 :])
            book = replace(m.book, cards=(*m.book.cards[:n], short, *m.book.cards[n + 1 :]))
            try:
                found = electrical(Workbench(book, m.kinds, m.uses).network(m.network))
            except KeyError:
                continue
            assert found != right, f"{card.name} step {card.steps[k].number}"


def test_meter_readings_hold_on_what_was_wired() -> None:
    m = made(read_layout(demo_file("saltmarsh-quay.toml")), meter=None)
    assert len(m.book.readings) > 10
    network = wired(m)
    for r in m.book.readings:
        at = {d: s[0] for d, s in m.network.drives.items()} | dict(r.settings)
        assert Continuity(network, at).closed(r.probe_a, r.probe_b) == r.closed, r


@pytest.mark.parametrize("name", SHIPPED)
def test_a_cards_table_is_what_the_meter_reads_on_what_was_wired(name: str) -> None:
    m = shipped(name)
    network = wired(m)
    assert to_json(network.switched[0].rows[0].when)
    for card in m.book.cards:
        for s in card.settings:
            at = {d: v[0] for d, v in network.drives.items()} | dict(s.term)
            here = Continuity(network, at)
            for rail, wires in s.rails.items():
                assert {w for w in network.wires if here.closed(rail, w)} == set(wires)


@pytest.mark.slow
def test_the_bench_throws_what_was_wired_from_the_book_without_a_spark() -> None:
    """The real firmware on a virtual board, over a railway that was wired from the book alone."""
    m = shipped("saltmarsh-quay.toml")
    documents = build_settings(m.layout, m.plan)
    reports = list(run_throws(Ready(m.layout, wired(m), m.plan, documents)))
    assert len(reports) == 2 * len(m.network.drives)
    assert all(r.clean for r in reports)
