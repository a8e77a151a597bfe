"""The timeline as CSV, and as VCD read back by a library of its own."""

from __future__ import annotations

import csv
import io
from collections.abc import Callable

from vcd.reader import TokenKind, tokenize

from frogfeed.bench.bench import Bench
from frogfeed.bench.events import Event
from frogfeed.bench.timeline import COLUMNS, to_csv, to_vcd


def throw(make_bench: Callable[..., Bench]) -> list[Event]:
    with make_bench() as bench:
        port = bench.serial()
        for letter in (b"s", b"O", b"r"):
            port.write(letter)
            bench.advance(2000)
        return list(bench.log)


def test_csv_holds_every_event_by_time(make_bench: Callable[..., Bench]) -> None:
    events = throw(make_bench)
    rows = list(csv.DictReader(io.StringIO(to_csv(events))))
    assert tuple(rows[0]) == COLUMNS
    assert len(rows) == len(events)
    times = [int(r["t_us"]) for r in rows]
    assert times == sorted(times)
    spark = next(r for r in rows if r["kind"] == "spark")
    assert "T1.BL touches T1.SL" in spark["facts"]


def test_vcd_is_read_back_with_every_change(make_bench: Callable[..., Bench]) -> None:
    events = throw(make_bench)
    text = to_vcd(events)
    names: dict[str, str] = {}
    now, changes = 0, []
    for token in tokenize(io.BytesIO(text.encode())):
        if token.kind is TokenKind.TIMESCALE:
            assert str(token.timescale) == "1 us"
        elif token.kind is TokenKind.VAR:
            names[token.var.id_code] = token.var.reference
        elif token.kind is TokenKind.CHANGE_TIME:
            now = token.time_change
        elif token.kind is TokenKind.CHANGE_SCALAR and now:
            changes.append((now, names[token.scalar_change.id_code], token.scalar_change.value))
    (began,) = [e.t_us for e in events if e.kind == "spark"]
    (ended,) = [e.t_us for e in events if e.kind == "spark-end"]
    assert [c for c in changes if c[1].startswith("spark")] == [
        (began, "spark.m.A+m.B", "1"),
        (ended, "spark.m.A+m.B", "0"),
    ]
    legs = [(t, v) for t, name, v in changes if name == "T1.F.B"]
    assert legs == [(e.t_us, str(e.facts["closed"])) for e in events if e.kind == "leg" and e.facts["side"] == "B"]
