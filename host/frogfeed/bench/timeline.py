"""What happened on the bench as a timeline: CSV for a spreadsheet, VCD for any waveform viewer.

VCD is the value change dump of IEEE 1364: one signal for every coil, leg, blade end, servo, supply, trip line and
for the track's sparks; times in microseconds since power-on.
"""

from __future__ import annotations

import csv
import io
import json
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any

from frogfeed.bench.events import Event

COLUMNS = ("t_us", "board", "kind", "what", "value", "facts")

_NAMES = ("drive", "output", "trip", "district", "train", "vehicle", "rule")
_VALUES = ("on", "closed", "touches", "us", "cause", "what", "mm")


def to_csv(events: Iterable[Event]) -> str:
    """Every event a line, by time: when, where, its kind, what it is of, its value, and all facts as JSON."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(COLUMNS)
    for event in sorted(events, key=lambda e: e.t_us):
        facts = dict(event.facts)
        what = next((facts[n] for n in _NAMES if n in facts), "")
        value = next((facts[n] for n in _VALUES if n in facts), "")
        writer.writerow((event.t_us, event.board, event.kind, what, value, json.dumps(facts, sort_keys=True)))
    return out.getvalue()


@dataclass(frozen=True, slots=True)
class Signal:
    """One line of a waveform: its group (a board, or "track"), its name, and how many bits wide it is."""

    scope: str
    name: str
    bits: int = 1


def signal_of(event: Event) -> tuple[Signal, int] | None:
    """The signal that an event changes, and its new value; None for events that change none."""
    facts: Mapping[str, Any] = event.facts
    board = event.board or "track"
    kind = event.kind
    if kind == "coil":
        return Signal(board, f"{facts['output']}.coil{facts['coil']}"), int(facts["on"])
    if kind == "leg":
        return Signal(board, f"{facts['output']}.{facts['side']}"), int(facts["closed"])
    if kind == "blade":
        return Signal(board, f"{facts['drive']}.blade{facts['end']}"), int(facts["touches"])
    if kind in ("move", "rest"):
        return Signal(board, f"{facts['drive']}.moving"), int(kind == "move")
    if kind == "pulse":
        return Signal(board, f"{facts['drive']}.pulse_us", 16), int(facts["us"])
    if kind in ("spark", "spark-end"):
        return Signal("track", f"spark.{'+'.join(facts['wires'])}"), int(kind == "spark")
    if kind in ("supply-trip", "supply-on"):
        return Signal("track", f"{facts['district']}.supply"), int(kind == "supply-on")
    if kind == "trip-line":
        return Signal(board, f"{facts['trip']}.trip"), int(facts["on"])
    return None


def to_vcd(events: Iterable[Event]) -> str:
    """The events as a value change dump. Signals begin as unknown (x) but for sparks, which begin as none."""
    changes = [(e.t_us, *found) for e in sorted(events, key=lambda e: e.t_us) if (found := signal_of(e)) is not None]
    signals: dict[Signal, str] = {}
    for _, signal, _ in changes:
        signals.setdefault(signal, _identifier(len(signals)))
    lines = ["$version frogfeed bench $end", "$timescale 1 us $end"]
    for scope in sorted({s.scope for s in signals}):
        lines.append(f"$scope module {_word(scope)} $end")
        for signal in sorted((s for s in signals if s.scope == scope), key=lambda s: s.name):
            size = f" [{signal.bits - 1}:0]" if signal.bits > 1 else ""
            lines.append(f"$var wire {signal.bits} {signals[signal]} {_word(signal.name)}{size} $end")
        lines.append("$upscope $end")
    lines += ["$enddefinitions $end", "#0", "$dumpvars"]
    lines += [_change(s, i, 0 if s.name.startswith("spark.") else None) for s, i in signals.items()]
    lines.append("$end")
    last = 0
    for t_us, signal, value in changes:
        if t_us != last:
            lines.append(f"#{t_us}")
            last = t_us
        lines.append(_change(signal, signals[signal], value))
    return "\n".join(lines) + "\n"


def _word(text: str) -> str:
    """A name without the blanks and signs that a VCD reference may not hold."""
    return "".join(c if c.isalnum() or c in "_.+-" else "_" for c in text)


def _identifier(number: int) -> str:
    """A short code of printable characters."""
    first, span = 33, 94
    text = ""
    number += 1
    while number:
        number, digit = divmod(number - 1, span)
        text = chr(first + digit) + text
    return text


def _change(signal: Signal, identifier: str, value: int | None) -> str:
    if signal.bits == 1:
        return f"{'x' if value is None else value}{identifier}"
    return f"b{'x' if value is None else format(value, 'b')} {identifier}"
