"""The demo from start to verdict, as one function that a command and the tests call."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from pathlib import Path

from frogfeed.bench.physical import OutputPhysics
from frogfeed.demo.railway import Change, Ready, bench_of, prepare, push_all
from frogfeed.demo.throws import ThrowReport, measure, settle


def run_throws(ready: Ready, seed: int = 1, on_ready: Callable[[str], None] | None = None) -> Iterator[ThrowReport]:
    """Start the bench, push, then throw every drive to each of its settings and back under trains."""
    with bench_of(ready, seed=seed) as bench:
        clients = push_all(bench, ready)
        if on_ready is not None:
            on_ready(bench.interpreter)
        settings = settle(bench, clients, ready)
        for drive, names in ready.network.drives.items():
            for to in (*names[1:], names[0]):
                yield measure(bench, clients, ready, drive, to, settings)


def run_demo(
    file: Path, change: Change | None = None, outputs: Mapping[str, OutputPhysics] | None = None, seed: int = 1
) -> list[ThrowReport]:
    """The whole run on one layout file; `change` edits settings and `outputs` the relays, for tests."""
    return list(run_throws(prepare(file, change, outputs), seed))
