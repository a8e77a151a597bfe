"""The demo in words: what each throw did, and the verdict."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from frogfeed.demo.throws import FeedChange, ThrowReport

HEAD = (
    f"{'throw':<24}{'servo':>8}  {'feed':<6}{'window':>13}{'off':>8}{'on':>8}  {'before':<8}{'after':<8}"
    f"{'sparks':>6}{'dead':>6}"
)


def _ms(value: float | None) -> str:
    return "-" if value is None else f"{value:.0f} ms"


def _window(f: FeedChange) -> str:
    if f.planned_off_ms is None or f.planned_on_ms is None:
        return "-"
    return f"{f.planned_off_ms:.0f}-{f.planned_on_ms:.0f} ms"


def rows(report: ThrowReport) -> list[str]:
    """One line a feed of a throw, or one line where no feed follows the drive."""
    name = f"{report.drive} {report.start} > {report.to}"
    servo = "by hand" if report.by_hand else _ms(report.servo_ms)
    counts = f"{len(report.sparks):>6}{len(report.dead_wheels):>6}"
    if not report.feeds:
        return [f"{name:<24}{servo:>8}  {'no switched feed':<51}{counts}"]
    found = []
    for n, f in enumerate(report.feeds):
        head = f"{name:<24}{servo:>8}" if n == 0 else f"{'':<32}"
        found.append(
            f"{head}  {f.output:<6}{_window(f):>13}{_ms(f.off_ms):>8}{_ms(f.on_ms):>8}  "
            f"{f.before or 'off':<8}{f.after or 'off':<8}{counts if n == 0 else ''}".rstrip()
        )
    return found


def details(report: ThrowReport) -> list[str]:
    """What went wrong in a throw, with its time."""
    return [f"    {e}" for e in (*report.sparks, *report.dead_wheels, *report.other)]


def verdict(reports: Sequence[ThrowReport]) -> str:
    """One sentence on the whole run."""
    sparks = sum(len(r.sparks) for r in reports)
    dead = sum(len(r.dead_wheels) for r in reports)
    other = sum(len(r.other) for r in reports)
    trains = sum(len(r.route) for r in reports)
    if sparks or dead or other:
        return (
            f"NOT SOUND: {sparks} sparks, {dead} dead wheels and {other} other faults in {len(reports)} throws under "
            f"{trains} trains."
        )
    return f"Sound: {len(reports)} throws under {trains} trains, no spark, no dead wheel, no rule broken."


NEXT = """\
What to try next
  frogfeed new my-layout.toml          a commented file to begin with
  frogfeed check my-layout.toml        what is wrong with it, for all settings
  frogfeed plan my-layout.toml         boards, channels, and the work on each piece
  frogfeed sheets my-layout.toml       the book to take under the baseboard
  frogfeed console --bench my-layout.toml   the page beside the railway, with a virtual board
Low volts still set fire to wires at booster current: fuse or limit each bus. Mains belongs inside approved
supplies only. See docs/safety.md. frogfeed is no safety system for people."""


def as_json(reports: Iterable[ThrowReport]) -> list[dict[str, object]]:
    """The reports as plain data."""
    return [
        {
            "drive": r.drive,
            "from": r.start,
            "to": r.to,
            "by_hand": r.by_hand,
            "servo_ms": r.servo_ms,
            "feeds": [
                {
                    "output": f.output,
                    "window_ms": [f.planned_off_ms, f.planned_on_ms],
                    "off_ms": f.off_ms,
                    "on_ms": f.on_ms,
                    "before": f.before,
                    "after": f.after,
                }
                for f in r.feeds
            ],
            "routes": list(r.route),
            "sparks": [str(e) for e in r.sparks],
            "dead_wheels": [str(e) for e in r.dead_wheels],
            "other": [str(e) for e in r.other],
        }
        for r in reports
    ]
