"""The whole book as data, from a layout, its rail network and its plan."""

from __future__ import annotations

from collections.abc import Callable

from frogfeed.layout.model import Layout
from frogfeed.parts.gauges import gauge
from frogfeed.plan.model import Plan
from frogfeed.sheets import lists
from frogfeed.sheets.cards import joint_rows, make_cards
from frogfeed.sheets.model import Book, Reading
from frogfeed.sheets.wires import all_wires, board_sheets
from frogfeed.sheets.words import Words
from frogfeed.track.meter.readings import MeterCheck, MeterPlan, meter_plan
from frogfeed.track.network.model import RailNetwork
from frogfeed.track.pieces.catalogue import kinds_of

Progress = Callable[[str, float], None]
"""Called with what is being done and how much of the whole is done, 0 to 1."""


def quiet(what: str, done: float) -> None:
    """Show no progress."""


def build_book(
    layout: Layout,
    network: RailNetwork,
    plan: Plan,
    words: Words | None = None,
    meter: MeterPlan | None = None,
    progress: Progress = quiet,
) -> Book:
    """Everything that the book says. `meter` are the readings where the caller has them; else they are worked out."""
    say = words or Words()
    kinds = kinds_of(layout)
    joints = joint_rows(network)
    wires = all_wires(layout, network, plan)
    progress("cards", 0.02)
    cards = make_cards(layout, network, plan, kinds, joints, wires)
    progress("meter", 0.06)
    checks = meter if meter is not None else meter_plan(network)
    progress("lists", 0.3)
    numbers = {c.name: c.number for c in cards}
    colours = layout.file.layout.colours
    name = layout.file.layout.name
    return Book(
        layout=name,
        layout_hash=layout.hash,
        control=layout.file.layout.control.value,
        gauge=layout.file.layout.gauge,
        gauge_mm=gauge(layout.file.layout.gauge).gauge.value,
        colours={"A": colours.A, "B": colours.B, "F": colours.switched},
        districts=tuple(layout.file.district),
        cards=cards,
        joints=joints,
        wires=wires,
        tables=lists.table_rows(network),
        boards=board_sheets(plan, wires),
        drives=lists.drive_rows(layout, plan),
        moves=lists.move_rows(plan),
        cuts=lists.cut_rows(wires, cards, layout, say),
        needs=lists.needs(layout, network, plan, joints, wires, cards, say),
        readings=tuple(
            Reading(n, c.settings, c.probe_a, c.probe_b, c.expect_closed, _reason(c, say))
            for n, c in enumerate(checks.checks, 1)
        ),
        readings_about={
            "covered": checks.covered,
            "least": checks.least,
            "hidden": len(checks.hidden),
            "alike": len(checks.alike),
        },
        labels=lists.label_rows(wires, numbers, name, layout.hash, say),
        groups={
            (b.name, f.channel.name): f.channel.enable
            for b in plan.boards
            for f in b.feeds
            if f.channel.enable is not None
        },
        notes=tuple(f.what for f in plan.findings),
        panel=lists.panel_rows(plan, wires),
    )


def _reason(check: MeterCheck, words: Words) -> str:
    """The first fault that a wrong reading means, and how many more there are."""
    if not check.finds:
        return ""
    more = len(check.finds) - 1
    return str(check.finds[0]) + (f" ({words('meter.more', count=more)})" if more else "")
