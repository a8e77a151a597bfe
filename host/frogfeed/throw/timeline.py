"""A throw against time: where the blade may be, which stock rails it may touch, and what the feed does."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum

from frogfeed.throw.linkage import Linkage
from frogfeed.throw.motion import Motion
from frogfeed.throw.window import Contacts, Window


class Touch(StrEnum):
    """Whether a blade touches its stock rail."""

    SURE = "touches"
    MAYBE = "may touch"
    CLEAR = "clear"


class FeedState(StrEnum):
    """What the switched feed does."""

    OLD = "old side"
    OPENING = "letting go"
    OFF = "off"
    CLOSING = "closing"
    NEW = "new side"


@dataclass(frozen=True, slots=True)
class Moment:
    """One instant: the commanded pulse, the least and greatest blade displacement, both touches, the feed."""

    ms: float
    pulse_us: float
    blade_mm: tuple[float, float]
    touch: tuple[Touch, Touch]
    feed: FeedState


@dataclass(frozen=True)
class Timeline:
    """A throw from the command to rest, sampled evenly. Times count from the command; `throw_mm` is the
    full throw.
    """

    to: int
    throw_mm: float
    lead_ms: float
    moments: tuple[Moment, ...]
    bonded: bool


def timeline(linkage: Linkage, motion: Motion, contacts: Contacts, window: Window, count: int = 200) -> Timeline:
    """Sample a planned throw at `count` instants, a little past the end of whatever ends last."""
    bonded = window.stretch is None
    start, end = linkage.pulse_us[1 - window.to], linkage.pulse_us[window.to]
    lead = float(window.move.off_lead_ms)
    # A window of a bare output or of bonded blades counts from the first step; there is no lead then.
    last = max(lead + motion.travel_ms + motion.behind_ms, window.done_ms) * 1.03
    moments = []
    for i in range(count):
        t = last * i / (count - 1)
        soonest = motion.pulse(start, end, t - lead)
        latest = motion.pulse(start, end, t - lead - motion.behind_ms)
        places = [mm for p in (soonest, latest) for mm in linkage.blade_mm(p)]
        span = (min(places), max(places))
        touch = (_touch(span, linkage, 0), _touch(span, linkage, 1))
        moments.append(Moment(t, soonest, span, touch, _feed(t, window, contacts)))
    return Timeline(window.to, linkage.throw_mm, lead, tuple(moments), bonded)


def _touch(span: tuple[float, float], linkage: Linkage, rail: int) -> Touch:
    low, high = span if rail == 0 else (linkage.throw_mm - span[1], linkage.throw_mm - span[0])
    if high <= 0.0:
        return Touch.SURE
    return Touch.MAYBE if low <= linkage.clearance_mm else Touch.CLEAR


def _feed(t: float, window: Window, contacts: Contacts) -> FeedState:
    if t < window.off_begin_ms:
        return FeedState.OLD
    if contacts.kind != "pair" and not contacts.has_off:
        return FeedState.OPENING if t < window.done_ms else FeedState.NEW
    if t < window.off_sure_ms:
        return FeedState.OPENING
    if t < window.on_ms:
        return FeedState.OFF
    return FeedState.CLOSING if t < window.done_ms else FeedState.NEW


TOUCH_MARKS = {Touch.SURE: "#", Touch.MAYBE: "~", Touch.CLEAR: "."}
FEED_MARKS = {
    FeedState.OLD: "<",
    FeedState.OPENING: "-",
    FeedState.OFF: ".",
    FeedState.CLOSING: "+",
    FeedState.NEW: ">",
}
LEGEND = (
    "blade: o where it may be",
    "rails: # touches, ~ may touch, . clear",
    "feed:  < old side, - letting go, . off, + closing, > new side",
)


def timeline_text(line: Timeline, names: Sequence[str], width: int = 72, height: int = 9) -> str:
    """The throw as text. `names` are the drive's two settings."""
    last = line.moments[-1].ms
    columns = [line.moments[round(i * (len(line.moments) - 1) / (width - 1))] for i in range(width)]
    rows = []
    for r in range(height):
        high = line.throw_mm * (height - r) / height
        low = line.throw_mm * (height - r - 1) / height
        marks = "".join("o" if m.blade_mm[0] <= high and m.blade_mm[1] >= low else " " for m in columns)
        label = f"{line.throw_mm:.1f} mm" if r == 0 else "0.0 mm" if r == height - 1 else ""
        rows.append(f"{label:>10} |{marks}|")
    for k in (1, 0):
        rows.append(f"{names[k][:10]:>10} |{''.join(TOUCH_MARKS[m.touch[k]] for m in columns)}|")
    rows.append(f"{'feed':>10} |{''.join(FEED_MARKS[m.feed] for m in columns)}|")
    scale = f"0 ms{f'{last:.0f} ms':>{width - 4}}"
    return "\n".join([*rows, f"{'':>12}{scale}", *(f"{'':>12}{text}" for text in LEGEND)]) + "\n"


def timeline_svg(line: Timeline, names: Sequence[str], width: int = 720) -> str:
    """The throw as an SVG: the band in which the blade lies, the rails it may touch, and the feed's state.

    Every state carries its word or mark, so nothing hangs on colour.
    """
    last, left, top, tall = line.moments[-1].ms, 90, 20, 160
    span = width - left - 40

    def x(ms: float) -> float:
        return left + span * ms / last

    def y(mm: float) -> float:
        return top + tall * (1.0 - mm / line.throw_mm)

    upper = [f"{x(m.ms):.1f},{y(m.blade_mm[1]):.1f}" for m in line.moments]
    lower = [f"{x(m.ms):.1f},{y(m.blade_mm[0]):.1f}" for m in reversed(line.moments)]
    parts = [
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {width} 330" font-family="sans-serif" font-size="12">',
        f"<title>Throw to {_xml(names[line.to])}: blade, contacts and feed against time</title>",
        f'<rect x="{left}" y="{top}" width="{span}" height="{tall}" fill="none" stroke="#666"/>',
        f'<polygon points="{" ".join(upper + lower)}" fill="#bbb" stroke="#333"/>',
        _label(left, y(line.throw_mm) + 4, f"{line.throw_mm:.1f} mm"),
        _label(left, y(0.0) + 4, "0 mm"),
    ]
    row = top + tall + 16
    for k in (1, 0):
        parts += _bars([(m.ms, m.touch[k].value) for m in line.moments], last, x, row, _TOUCH_FILL)
        parts.append(_label(left, row + 13, f"rail {names[k]}"))
        row += 26
    parts += _bars([(m.ms, m.feed.value) for m in line.moments], last, x, row, _FEED_FILL)
    parts.append(_label(left, row + 13, "feed"))
    row += 26
    for i in range(6):
        ms = last * i / 5
        parts.append(f'<text x="{x(ms):.1f}" y="{row + 14}" text-anchor="middle">{ms:.0f} ms</text>')
    return "\n".join([*parts, "</svg>", ""])


_TOUCH_FILL = {"touches": "#555", "may touch": "#aaa", "clear": "#fff"}
_FEED_FILL = {"old side": "#555", "letting go": "#aaa", "off": "#fff", "closing": "#ccc", "new side": "#777"}


def _bars(
    states: Sequence[tuple[float, str]],
    last: float,
    x: Callable[[float], float],
    row: int,
    fills: Mapping[str, str],
) -> list[str]:
    """One rectangle for each run of a state, with its word in it where there is room."""
    found = []
    begin, state = states[0]
    for ms, now in [*states[1:], (last, "")]:
        if now == state:
            continue
        wide = x(ms) - x(begin)
        ink = "#fff" if fills[state] in ("#555", "#777") else "#000"
        found.append(
            f'<rect x="{x(begin):.1f}" y="{row}" width="{wide:.1f}" height="18" fill="{fills[state]}" stroke="#333"/>'
        )
        if wide > 7 * len(state):
            middle = x(begin) + wide / 2
            found.append(f'<text x="{middle:.1f}" y="{row + 13}" text-anchor="middle" fill="{ink}">{state}</text>')
        begin, state = ms, now
    return found


def _label(left: int, y: float, text: str) -> str:
    return f'<text x="{left - 6}" y="{y:.1f}" text-anchor="end">{_xml(text)}</text>'


def _xml(text: str) -> str:
    return text.replace("&", "&amp;").replace("<", "&lt;").replace(">", "&gt;")
