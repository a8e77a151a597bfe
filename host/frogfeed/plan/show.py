"""The plan in words, for a terminal: boards and channels, tables, changeover times, and the work on each piece."""

from __future__ import annotations

import re
import textwrap
from collections.abc import Iterable, Iterator

from frogfeed.layout.model import Layout
from frogfeed.plan.makeup import (
    BondRails,
    FitDropper,
    FitJoiner,
    FitSwitched,
    KeepLink,
    MakeUp,
    RemoveLink,
    Step,
)
from frogfeed.plan.model import AfterTrip, BoardPlan, ButtonNeed, DrivePlan, FeedPlan, LampNeed, Plan
from frogfeed.track.network.conditions import Term, When

WIDTH = 80
_HEAD = re.compile(r" *(?:\d+ )?")


def show_plan(layout: Layout, plan: Plan, make_ups: Iterable[MakeUp]) -> str:
    """The whole plan as text, in lines of 80 columns at most."""
    return "\n".join(row for line in _lines(layout, plan, make_ups) for row in _wrapped(line)) + "\n"


def _wrapped(line: str) -> list[str]:
    """A line cut at 80 columns; what is left of it stands two columns further in, or under the text of a step."""
    if len(line) <= WIDTH:
        return [line]
    head = _HEAD.match(line)
    assert head is not None
    inner = " " * (len(head[0]) + (0 if head[0].strip() else 2))
    return textwrap.wrap(line, WIDTH, subsequent_indent=inner, break_long_words=False, break_on_hyphens=False)


def _lines(layout: Layout, plan: Plan, make_ups: Iterable[MakeUp]) -> Iterator[str]:
    o = plan.optimum
    proven = "proven least" if o.gap <= 1e-9 else f"at most {100 * o.gap:.1f} % above the least possible"
    yield f"{plan.layout}, layout {plan.layout_hash}"
    if o.wire_mm:
        yield f"{o.wire_mm / 1000:.1f} m of wire from boards to track ({proven})."
    else:
        yield "The file states no positions (at_mm), so wire from boards to track is not counted."
    for board in plan.boards:
        yield ""
        serial = f", USB serial {board.serial}" if board.serial else ""
        implied = "; the file states no board" if board.implied else ""
        yield f"Board {board.name}: {board.profile.name} ({board.profile.title}){serial}{implied}"
        yield from _board(board)
    yield ""
    yield "What to do to each piece"
    colours = layout.file.layout.colours
    for m in make_ups:
        made = f", made with {_a(m.make.value)} {m.make.value.replace('-', ' ')}" if m.make is not None else ""
        drives = f", drive {', '.join(m.drives)}" if m.drives else ""
        yield f"  {m.name}: {m.kind}{made}{drives}"
        for n, step in enumerate(m.steps, 1):
            yield f"    {n:2} {_step(step, {'A': colours.A, 'B': colours.B, 'switched': colours.switched})}"
        if not m.steps:
            yield "       nothing"


def _board(board: BoardPlan) -> Iterator[str]:
    yield "  drives"
    for d in board.drives:
        yield f"    {d.need.name:<12} {_drive(d)}"
    if board.feeds:
        yield "  switched feeds"
    for f in board.feeds:
        yield from _feed(board, f)
    if board.buttons:
        yield "  buttons"
    for b in board.buttons:
        yield f"    {b.need.name:<12} {b.channel.name}: {pressed(b.need)}"
    if board.lamps:
        yield "  lamps"
    for lamp in board.lamps:
        yield f"    {lamp.need.name:<12} {lamp.channel.name}: {lit(lamp.need)}"


def pressed(need: ButtonNeed) -> str:
    """What a press of a button does, in words."""
    settings = " and ".join(f"{drive} to {setting}" for drive, setting in need.moves)
    route = f"lays route {need.route}: " if need.route is not None else "throws "
    return {
        "set": route + settings,
        "toggle": f"throws {settings}, or back",
        "all_off": "turns all feeds off",
        "reset": "clears trips and all-off",
    }[need.does]


def lit(need: LampNeed) -> str:
    """What a lamp shows, in words."""
    settings = " and ".join(f"{drive} at {setting}" for drive, setting in need.moves)
    route = f"route {need.route} is laid: " if need.route is not None else ""
    return {
        "set": route + settings,
        "fault": f"fault of {need.feed or 'any feed'}",
        "all_off": "all is off",
    }[need.shows]


def _drive(d: DrivePlan) -> str:
    if d.channel is None:
        wired = ", ".join(f"{c} on {i.name}" for c, i in zip(d.need.contacts, d.inputs, strict=True))
        return f"by hand; position contacts {wired}"
    if d.motion is None:
        return f"servo {d.channel.name}"
    home = f", home {d.need.settings[d.home]}" if d.home is not None else ""
    return f"servo {d.channel.name}, {d.motion.travel_ms:.0f} ms a throw{home}"


def _feed(board: BoardPlan, f: FeedPlan) -> Iterator[str]:
    rest = f", at rest on {f.rest}" if f.rest else ""
    kind = board.profile.switch(f.channel).kind
    yield f"    {f.need.output:<12} {f.channel.name} ({kind}{rest}), district {f.need.district}"
    if f.need.after_trip.stated:
        yield f"      after a trip: {after_trip(f.need.after_trip)}"
    for term, side in f.need.rows:
        yield f"      {side} when {_term(term)}"
    for m in f.moves:
        w = m.window
        settings = next(d.need.settings for d in board.drives if d.need.name == m.drive)
        yield (
            f"      {m.drive} to {settings[m.to]}: off from {w.off_begin_ms:.0f} ms, open by {w.off_sure_ms:.0f} ms, "
            f"on at {w.on_ms:.0f} ms"
        )


def after_trip(after: AfterTrip) -> str:
    """What a feed does after a trip, in words."""
    flips = "flips once to the other bus wire, then is " if after.try_other else ""
    if not after.retries:
        return "stays off until it is reset"
    times = "once" if after.retries == 1 else f"{after.retries} times"
    return f"{flips}tried again {times}, {after.retry_ms} ms after each; then stays off until it is reset"


def _term(term: Term) -> str:
    return " and ".join(f"{d} is {s}" for d, s in term) or "always"


def _when(when: When) -> str:
    return ", or ".join(_term(t) for t in when)


def _wire(wire: str, colours: dict[str, str | None]) -> str:
    colour = colours.get(wire.rpartition(".")[2])
    return f"{wire} ({colour})" if colour else wire


def _step(step: Step, colours: dict[str, str | None]) -> str:
    match step:
        case RemoveLink(a, b):
            return f"cut the factory link between {a} and {b}"
        case KeepLink(a, b):
            return f"leave the factory link between {a} and {b}"
        case BondRails(a, b, why):
            return f"bond {a} to {b} ({why.value})"
        case FitJoiner(end, hand, rail, beyond, conducts, trusted):
            kind = "insulated joiner" if not conducts else "metal joiner" if trusted else "metal joiner (not trusted)"
            return f"{kind} at {end}, {hand.value} rail looking in: {rail} | {beyond}"
        case FitDropper(rail, wire, size, _):
            return f"dropper {size} from {rail} to {_wire(wire, colours)}"
        case FitSwitched(rail, output, board, channel, table):
            colour = f" ({colours['switched']})" if colours.get("switched") else ""
            rows = "; ".join(f"{wire} when {_when(when)}" for when, wire in table)
            named = f" ({output})" if output != rail else ""
            return f"feed wire{colour} from {rail} to {board} {channel}{named}: {rows}"


def _a(word: str) -> str:
    return "an" if word[0] in "aeiou" else "a"
