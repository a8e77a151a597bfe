"""Lists drawn from plan and wires: what to cut, what to buy, labels, servos and windows."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence

from frogfeed.layout.model import Layout
from frogfeed.parts.wires import WIRES, awg_diameter_mm
from frogfeed.plan.makeup import BondRails
from frogfeed.plan.model import Plan
from frogfeed.plan.needs import pieces_of_drives
from frogfeed.sheets.model import (
    Card,
    CutRow,
    DriveRow,
    JointRow,
    LabelRow,
    MoveRow,
    Need,
    PanelRow,
    TableRow,
    Wire,
    WireKind,
)
from frogfeed.sheets.words import Words
from frogfeed.track.network.model import RailNetwork

DROPPER_MM = 250.0
"""Length to cut a dropper to where the layout states none: rail to bus with a hand's breadth to spare."""
BOND_MM = 60.0
"""Length to cut a bond to: across one piece, with its ends stripped."""
LOOSE_MM = 200.0
"""Added to a board wire's way along the baseboard, for both ends and for the drop."""
SPARE = 0.1
"""Wire and small parts bought on top."""


def nearest_awg(size: str) -> str:
    """A metric size's nearest AWG number ("24" for 0.22), or the size's own; "" for a size that is no wire's."""
    if size.startswith("AWG"):
        return size.removeprefix("AWG")
    wire = WIRES.get(size)
    if wire is None:
        return ""
    area = wire.area_mm2
    return str(min(range(8, 33), key=lambda n: abs(math.log(math.pi * awg_diameter_mm(n) ** 2 / 4 / area))))


def size_text(size: str) -> str:
    """A wire size for people: "0.5 mm² (AWG 20)" or "AWG 24 (0.20 mm²)"."""
    wire = WIRES.get(size)
    if wire is None:
        return f"{size} mm²"
    if size.startswith("AWG"):
        return f"AWG {size.removeprefix('AWG')} ({wire.area_mm2:.2f} mm²)"
    return f"{size} mm² (AWG {nearest_awg(size)})"


def cut_mm(wire: Wire) -> float | None:
    """What length to cut a wire to, or None where it has to be measured on the railway."""
    if wire.kind is WireKind.DROPPER:
        return wire.mm or DROPPER_MM
    if wire.mm is None:
        return None
    return float(math.ceil((wire.mm + LOOSE_MM) / 50.0) * 50)


def cut_rows(wires: Sequence[Wire], cards: Sequence[Card], layout: Layout, words: Words) -> tuple[CutRow, ...]:
    """Wires by colour, size and length, longest list first by kind; bonds last."""
    groups: dict[tuple[str, str, str | None, str, float | None], list[str]] = {}
    for w in wires:
        key = (w.kind.value, w.letter, w.colour, w.size, cut_mm(w))
        groups.setdefault(key, []).append(w.mark)
    rows = [
        CutRow(colour, letter, size, mm, len(marks), tuple(marks), words(f"wire.{kind}"))
        for (kind, letter, colour, size, mm), marks in groups.items()
    ]
    bonds = bond_marks(cards)
    if bonds:
        rows.append(
            CutRow(None, "", layout.file.layout.dropper_wire, BOND_MM, len(bonds), tuple(bonds), words("wire.bond"))
        )
    return tuple(rows)


def bond_marks(cards: Sequence[Card]) -> list[str]:
    """Card and step of every bond: "T1/3"."""
    return [f"{c.name}/{s.number}" for c in cards for s in c.steps for d in s.does if isinstance(d, BondRails)]


def _spare(count: int) -> int:
    return max(1, math.ceil(count * SPARE)) if count else 0


def needs(
    layout: Layout,
    network: RailNetwork,
    plan: Plan,
    joints: Sequence[JointRow],
    wires: Sequence[Wire],
    cards: Sequence[Card],
    words: Words,
) -> tuple[Need, ...]:
    """What to buy or to have, with spares."""
    found: list[Need] = []

    def pieces(what: str, about: str, count: int, spare: int | None = None) -> None:
        if count:
            found.append(
                Need(
                    words(what),
                    about,
                    count,
                    None,
                    float(_spare(count) if spare is None else spare),
                    words("unit.pieces"),
                )
            )

    insulated = sum(not r.conducts for j in joints for r in j.rails)
    metal = sum(r.conducts for j in joints for r in j.rails)
    gauge = layout.file.layout.gauge
    rail = words("buy.rail", gauge=gauge, code=layout.file.layout.rail_code)
    pieces("buy.insulated", rail, insulated)
    pieces("buy.metal", rail, metal)
    length: dict[tuple[str, str | None], float] = {}
    unknown: dict[tuple[str, str | None], int] = {}
    for w in wires:
        if w.kind is WireKind.SERVO:
            continue
        mm = cut_mm(w)
        key = (w.size, w.colour)
        length[key] = length.get(key, 0.0) + (mm or 0.0)
        unknown[key] = unknown.get(key, 0) + (mm is None)
    bonds = len(bond_marks(cards))
    if bonds:
        key = (layout.file.layout.dropper_wire, None)
        length[key] = length.get(key, 0.0) + bonds * BOND_MM
    colours = layout.file.layout.colours
    for name, d in layout.file.district.items():
        for colour in (colours.A, colours.B):
            key = (d.bus_wire, colour)
            length[key] = length.get(key, 0.0) + d.bus_mm
        pieces(
            "buy.supply", words("buy.supply.about", district=name, volts=_volts(d.volts), amps=f"{d.trip_a:g}"), 1, 0
        )
    for (size, colour), mm in length.items():
        count = unknown.get((size, colour), 0)
        about = words("colour", colour=words.colour(colour)) if colour else words("colour.any")
        if count:
            about += "; " + words("buy.measure", count=count)
        metres = mm / 1000.0
        found.append(
            Need(words("buy.wire", size=size_text(size)), about, None, metres, math.ceil(metres * SPARE * 2) / 2, "m")
        )
    servos = sum(1 for b in plan.boards for d in b.drives if d.channel is not None)
    pieces("buy.servo", words("buy.servo.about"), servos)
    switches = sum(len(d.inputs) for b in plan.boards for d in b.drives)
    pieces("buy.contact", words("buy.contact.about"), switches)
    pieces("buy.button", words("buy.button.about"), sum(len(b.buttons) for b in plan.boards))
    for b in plan.boards:
        if b.profile.lamps is not None:
            parts = words("buy.lamp.about", board=b.name, parts=b.profile.lamps.resistor_ohm.source)
            pieces("buy.lamp", parts, len(b.lamps))
        pieces("buy.expander", words("buy.on", board=b.name), sum(c.optional for c in b.chips))
        pieces(
            "buy.board",
            words("buy.board.about", board=b.name, profile=b.profile.name, chip=b.profile.chip.upper()),
            1,
            0,
        )
        for kind, made_of, note in dict.fromkeys(
            (b.profile.switch(f.channel).kind, b.profile.switch(f.channel).made_of, b.profile.switch(f.channel).note)
            for f in b.feeds
        ):
            count = sum(1 for f in b.feeds if (s := b.profile.switch(f.channel)).kind == kind and s.made_of == made_of)
            found.append(
                Need(
                    words("buy.output", kind=words(f"output.{kind}"), made=words(f"made.{made_of}")),
                    words("buy.on", board=b.name) + " " + note,
                    count,
                    None,
                    float(_spare(count)),
                    words("unit.pieces"),
                )
            )
        groups = {f.channel.enable for f in b.feeds if f.channel.enable is not None}
        pieces("buy.enable", words("buy.on", board=b.name), len(groups))
        supply = b.profile.servos
        pieces("buy.power", words("buy.power.about", board=b.name, amps=f"{supply.supply_a.value:g}"), 1, 0)
    ferrules = sum((w.kind is not WireKind.DROPPER) + (w.kind is WireKind.SUPPLY) for w in wires)
    pieces("buy.ends", words("buy.ends.about"), ferrules)
    taps = sum(w.kind is WireKind.DROPPER or w.kind is WireKind.SUPPLY for w in wires)
    pieces("buy.taps", words("buy.taps.about"), taps)
    return tuple(found)


def _volts(volts: float | None) -> str:
    return "–" if volts is None else f"{volts:g} V"


def drive_rows(layout: Layout, plan: Plan) -> tuple[DriveRow, ...]:
    """Every drive in the order of boards and channels."""
    users = pieces_of_drives(layout)
    found: list[DriveRow] = []
    for b in plan.boards:
        for d in b.drives:
            found.append(
                DriveRow(
                    d.need.name,
                    tuple(users.get(d.need.name, ())),
                    b.name,
                    d.channel.name if d.channel is not None else " ".join(i.name for i in d.inputs),
                    d.need.settings,
                    d.linkage.pulse_us if d.linkage is not None else (),
                    d.motion.travel_ms if d.motion is not None else None,
                    d.linkage.throw_mm if d.linkage is not None else None,
                    d.need.settings[d.home] if d.home is not None else None,
                    d.need.hand,
                )
            )
    return tuple(found)


def panel_rows(plan: Plan, wires: Sequence[Wire]) -> tuple[PanelRow, ...]:
    """Every button and every lamp, board by board."""
    marks = {w.thing: w.mark for w in wires if w.kind in (WireKind.BUTTON, WireKind.LAMP)}
    found: list[PanelRow] = []
    for b in plan.boards:
        for x in b.buttons:
            n = x.need
            found.append(PanelRow(n.name, False, b.name, x.channel.name, marks[n.name], n.does, n.moves, n.route, None))
        for y in b.lamps:
            m = y.need
            found.append(
                PanelRow(m.name, True, b.name, y.channel.name, marks[m.name], m.shows, m.moves, m.route, m.feed)
            )
    return tuple(found)


def move_rows(plan: Plan) -> tuple[MoveRow, ...]:
    """Every changeover: drive, destination, output, and its times."""
    found: list[MoveRow] = []
    for b in plan.boards:
        settings = {d.need.name: d.need.settings for d in b.drives}
        for f in b.feeds:
            for m in f.moves:
                w = m.window
                found.append(
                    MoveRow(
                        m.drive,
                        settings[m.drive][m.to],
                        f.need.output,
                        w.off_begin_ms,
                        w.off_sure_ms,
                        w.on_ms,
                        w.done_ms,
                        w.stretch.ms if w.stretch is not None else None,
                    )
                )
    return tuple(found)


def table_rows(network: RailNetwork) -> tuple[TableRow, ...]:
    """Every row of the table of every rail that a switched output feeds."""
    return tuple(TableRow(s.output, s.rail, row.when, row.wire) for s in network.switched for row in s.rows)


def label_rows(
    wires: Iterable[Wire], numbers: Mapping[str, int], layout_name: str, layout_hash: str, words: Words
) -> tuple[LabelRow, ...]:
    """One label a wire; print two, one for each end. The square code says the same and names the card."""
    found: list[LabelRow] = []
    for w in wires:
        colour = words.colour(w.colour) if w.colour else ""
        about = " ".join(x for x in (w.letter, colour) if x)
        card = words("card.ref", number=numbers[w.card]) if w.card in numbers else ""
        code = "\n".join(
            x
            for x in (
                f"{w.mark} {w.start} > {w.end}",
                f"{about} {w.size}".strip(),
                f"{w.card} {card}".strip(),
                f"{layout_name} {layout_hash[:8]}",
            )
            if x
        )
        found.append(LabelRow(w.mark, w.start, w.end, code, w.card))
    return tuple(found)
