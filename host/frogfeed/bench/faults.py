"""Every fault, what must hold, and what was seen: runs them all on the bench and writes the table of reliability.

python -m frogfeed.bench.faults [--write docs/reference/reliability.md] [--only WORD]
"""

from __future__ import annotations

import argparse
import sys
import time
from collections.abc import Callable, Iterable
from pathlib import Path

from frogfeed.bench.cases import adversity, flash, link, motion, power
from frogfeed.bench.cases.base import Case, Outcome
from frogfeed.bench.errors import BenchError
from frogfeed.bench.process import interpreter
from frogfeed.board.errors import BoardError

CASES: tuple[Case, ...] = (
    *flash.CASES,
    *link.CASES,
    *motion.CASES,
    *power.CASES,
    *adversity.CASES,
)

INTRODUCTION = """# Faults, and what comes of them

Written by `make faults`: every fault is brought about on the bench (the real firmware on a real MicroPython,
against simulated chips, servos, relays, flash and track), and what was seen stands beside what must hold. The
board is the expander profile with two turnouts: T1 with an isolated frog and bonded blades, T2 with a live frog,
its links in and its blades unbonded. "Times" is how often the fault was brought about.

A servo tells nobody where it is. Where blades are unbonded and the servo does not do as it is told, a short is in
the nature of the thing; what must hold then is that the feed's hardware trip cuts it off, counts it, tries again
no more than it was told to, and latches. With an isolated frog and bonded blades the same faults make no short.
"""


def run_all(cases: Iterable[Case], say: Callable[[str], None]) -> list[tuple[Case, Outcome]]:
    """Run the cases one after the other; one that raises has failed."""
    results = []
    for case in cases:
        began = time.monotonic()
        try:
            outcome = case.run()
        except (BenchError, BoardError, AssertionError) as problem:
            words = str(problem).splitlines() or [type(problem).__name__]
            outcome = Outcome(False, words[0])
        mark = "ok  " if outcome.ok else "FAIL"
        say(f"{mark} {time.monotonic() - began:6.1f} s  {case.group}: {case.fault}: {outcome.seen}")
        results.append((case, outcome))
    return results


def table(results: Iterable[tuple[Case, Outcome]]) -> str:
    """The results as a page of Markdown."""
    lines = [INTRODUCTION, "| part | fault | times | must hold | seen | held |", "|---|---|---:|---|---|---|"]
    for case, outcome in results:
        cells = (
            case.group,
            case.fault,
            f"{outcome.times:,}",
            case.must,
            outcome.seen,
            "yes" if outcome.ok else "**no**",
        )
        lines.append("| " + " | ".join(c.replace("|", "\\|") for c in cells) + " |")
    return "\n".join(lines) + "\n"


def main(arguments: list[str] | None = None) -> int:
    """Run them; 0 where all held, 1 where one did not."""
    parser = argparse.ArgumentParser(description="Bring about every fault on the bench and say what was seen.")
    parser.add_argument("--write", type=Path, help="write the table here")
    parser.add_argument("--only", help="only faults whose part or name has this word")
    chosen = parser.parse_args(arguments)
    word = (chosen.only or "").lower()
    cases = [c for c in CASES if word in f"{c.group} {c.fault}".lower()]
    print(f"{len(cases)} faults, on {interpreter(None)[1]}", flush=True)
    results = run_all(cases, lambda line: print(line, flush=True))
    failed = [c for c, o in results if not o.ok]
    if chosen.write is not None:
        chosen.write.write_text(table(results), encoding="utf-8")
    print(f"{len(results) - len(failed)} of {len(results)} held")
    return 1 if failed else 0


if __name__ == "__main__":
    sys.exit(main())
