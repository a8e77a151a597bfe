"""Every wire of a layout, numbered: droppers, switched feeds, supplies to the boards, servo leads, signal wires."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from frogfeed.layout.model import Layout
from frogfeed.parts.boards import FeedChannel
from frogfeed.plan.model import BoardPlan, FeedPlan, Plan
from frogfeed.plan.problem import PanelNeed, distance_mm
from frogfeed.plan.settings import hold_button
from frogfeed.sheets.model import BoardSheet, TerminalRow, Wire, WireKind
from frogfeed.track.network.model import RailNetwork

"""Wires from the bus to a board, mm²: as heavy as the usual bus, for they carry all that the board's group feeds."""
SIGNAL_SIZE = "0.14"
"""Wires of position contacts, buttons and lamps, mm²."""
SERVO_SIZE = "3 × 0.14"
"""A servo's lead, as servos are sold."""


def terminal(board: str, channel: str, pole: str) -> str:
    """The name of a board's terminal: "B1:F3.C"."""
    return f"{board}:{channel}.{pole}" if pole else f"{board}:{channel}"


def supply_points(board: BoardPlan) -> list[tuple[str, str, str]]:
    """(terminal's channel, pole, bus wire) for every wire from a bus to a board, once each.

    A group behind an enable is supplied at the enable; a channel of its own at its two poles. A changeover's poles
    are NC and NO, and the plan says which bus wire lies on NC.
    """
    found: dict[tuple[str, str], str] = {}
    for f in board.feeds:
        district = f.need.district
        if f.channel.enable is not None:
            found.setdefault((f.channel.enable, "A"), f"{district}.A")
            found.setdefault((f.channel.enable, "B"), f"{district}.B")
        elif f.rest is not None and f.channel.coil is not None:
            other = "B" if f.rest == "A" else "A"
            found.setdefault((f.channel.name, "NC"), f"{district}.{f.rest}")
            found.setdefault((f.channel.name, "NO"), f"{district}.{other}")
        else:
            found.setdefault((f.channel.name, "A"), f"{district}.A")
            found.setdefault((f.channel.name, "B"), f"{district}.B")
    return [(channel, pole, wire) for (channel, pole), wire in found.items()]


def all_wires(layout: Layout, network: RailNetwork, plan: Plan) -> tuple[Wire, ...]:
    """All wires in the order of their marks."""
    return tuple(_renumbered(_wires(layout, network, plan)))


def _renumbered(wires: Iterable[Wire]) -> Iterable[Wire]:
    for n, w in enumerate(wires, 1):
        yield Wire(f"W{n}", *(getattr(w, f) for f in Wire.__slots__ if f != "mark"))


def _wires(layout: Layout, network: RailNetwork, plan: Plan) -> Iterable[Wire]:
    header = layout.file.layout
    colours = {"A": header.colours.A, "B": header.colours.B}
    for f in network.feeds:
        side = network.wires[f.wire].side.value
        size = f.size or header.dropper_wire
        yield Wire("", WireKind.DROPPER, f.rail, f.wire, side, colours[side], size, f.mm, network.piece_of[f.rail])
    for board in plan.boards:
        for feed in board.feeds:
            mm = distance_mm(feed.need.place, board.place) or None
            for rail in feed.need.rails:
                yield Wire(
                    "",
                    WireKind.FEED,
                    rail,
                    terminal(board.name, feed.channel.name, "C"),
                    "F",
                    header.colours.switched,
                    header.dropper_wire,
                    mm,
                    feed.need.piece,
                    board.name,
                    feed.channel.name,
                    feed.need.output,
                )
    for board in plan.boards:
        for channel, pole, wire in supply_points(board):
            side = network.wires[wire].side.value
            district = layout.file.district[network.wires[wire].district]
            mm = distance_mm(district.at_mm, board.place) or None
            yield Wire(
                "",
                WireKind.SUPPLY,
                wire,
                terminal(board.name, channel, pole),
                side,
                colours[side],
                district.bus_wire,
                mm,
                "",
                board.name,
                channel,
                wire,
            )
    for board in plan.boards:
        for d in board.drives:
            mm = distance_mm(d.need.place, board.place) or None
            card = _piece_of_drive(layout, network, d.need.name)
            if d.channel is not None:
                yield Wire(
                    "",
                    WireKind.SERVO,
                    d.need.name,
                    terminal(board.name, d.channel.name, ""),
                    "",
                    None,
                    SERVO_SIZE,
                    mm,
                    card,
                    board.name,
                    d.channel.name,
                    d.need.name,
                )
            for contact, i in zip(d.need.contacts, d.inputs, strict=True):
                yield Wire(
                    "",
                    WireKind.CONTACT,
                    contact,
                    terminal(board.name, i.name, ""),
                    "",
                    None,
                    SIGNAL_SIZE,
                    mm,
                    card,
                    board.name,
                    i.name,
                    contact,
                )

    for board in plan.boards:
        for button in board.buttons:
            yield _panel_wire(WireKind.BUTTON, button.need, button.channel.name, board)
        for lamp in board.lamps:
            yield _panel_wire(WireKind.LAMP, lamp.need, lamp.channel.name, board)


def _panel_wire(kind: WireKind, need: PanelNeed, channel: str, board: BoardPlan) -> Wire:
    mm = distance_mm(need.place, board.place) or None
    end = terminal(board.name, channel, "")
    return Wire("", kind, need.name, end, "", None, SIGNAL_SIZE, mm, "", board.name, channel, need.name)


def _piece_of_drive(layout: Layout, network: RailNetwork, drive: str) -> str:
    for r in network.roads:
        if any(d == drive for t in r.when for d, _ in t):
            return r.piece
    return ""


def board_sheets(plan: Plan, wires: Sequence[Wire]) -> tuple[BoardSheet, ...]:
    """Every board with all its terminals in use, in the profile's order, and those that stay empty left out."""
    return tuple(_board(b, [w for w in wires if w.board == b.name]) for b in plan.boards)


def _pins(channel: FeedChannel) -> str:
    return " ".join(p.resource for p in channel.pins)


def _board(board: BoardPlan, wires: Sequence[Wire]) -> BoardSheet:
    at = {w.end: w for w in wires}
    rows: list[TerminalRow] = []

    def row(channel: str, pole: str, pin: str, use: str) -> None:
        name = terminal(board.name, channel, pole)
        for w in [w for w in wires if w.end == name]:
            rows.append(TerminalRow(name.partition(":")[2], pin, use, w.mark, w.start))

    profile = board.profile
    used = {f.channel.name: f for f in board.feeds}
    for s in profile.servo:
        row(s.name, "", s.resource, "servo")
    pressed = {b.channel.name for b in board.buttons}
    for i in profile.input:
        row(i.name, "", i.pin.resource, "button" if i.name in pressed else "contact")
    for lamp in profile.lamp:
        row(lamp.name, "", lamp.pin.resource, "lamp")
    for e in profile.enable:
        for pole in ("A", "B"):
            row(e.name, pole, e.pin.resource, "supply")
    for channel in profile.feed:
        feed = used.get(channel.name)
        if feed is None:
            continue
        row(channel.name, "C", _pins(channel), _use(feed))
        for pole in ("A", "B", "NC", "NO"):
            if terminal(board.name, channel.name, pole) in at:
                row(channel.name, pole, "", "supply")
    return BoardSheet(
        board.name,
        profile.name,
        profile.title,
        board.serial,
        tuple(rows),
        tuple((c.name, c.held_off) for c in board.chips if c.held_off),
        profile.hold_input if hold_button(board) is not None else None,
    )


def _use(feed: FeedPlan) -> str:
    return "changeover" if feed.channel.coil is not None else "latching" if feed.channel.set is not None else "pair"
