"""What a fault case is, and what the cases share."""

from __future__ import annotations

import functools
from collections.abc import Callable, Iterable
from dataclasses import dataclass

from frogfeed.bench.bench import Bench
from frogfeed.bench.link import client_of
from frogfeed.bench.rig import Rig, rig_of, yard_layout
from frogfeed.board.client import Client, Limits
from frogfeed.board.messages import Hello

WRONG = ("spark", "rule", "died", "dead-wheel", "supply-trip")
IMPATIENT = Limits(answer_s=0.5, commit_s=3.0, hello_s=4.0, busy_s=8.0, reconnect_s=3.0, tries=2)


@dataclass(frozen=True, slots=True)
class Outcome:
    """What was seen: whether all held, in words, and how often the fault was brought about."""

    ok: bool
    seen: str
    times: int = 1


@dataclass(frozen=True, slots=True)
class Case:
    """One fault: what it is, what must hold, and how to find out."""

    group: str
    fault: str
    must: str
    run: Callable[[], Outcome]


@functools.cache
def two_turnouts() -> Rig:
    """T1 with an isolated frog (blades bonded), T2 with a live one whose blades are unbonded; an expander board."""
    return rig_of(yard_layout(2), "two-turnouts.toml")


@functools.cache
def changed_turnouts() -> Rig:
    """The same railway with slower drives: other settings for the same board."""
    text = yard_layout(2) + "\n[drive.T1]\ntravel_ms = 1300\n\n[drive.T2]\ntravel_ms = 1300\n"
    return rig_of(text, "two-turnouts.toml")


def wrongs(bench: Bench, allowed: Iterable[str] = ()) -> list[str]:
    """What a railway in order never shows, as far as it is not allowed here."""
    return [str(e) for e in bench.log.of(*(k for k in WRONG if k not in set(allowed)))]


def ready(bench: Bench, *, step_ms: float = 10.0, limits: Limits | None = None) -> Client:
    """Connect, bring every drive to its first setting, and wait until it rests there."""
    client = client_of(bench, step_ms=step_ms, limits=limits)
    client.connect()
    for drive in client.state().drives:
        client.request("throw", {"drive": drive.name, "to": "left"}, busy_s=20)
    for _ in range(20):
        bench.advance(500)
        if all(d.at == "left" and not d.moving for d in client.state().drives):
            break
    bench.advance(500)
    return client


def again(client: Client) -> Hello:
    """Open the port anew, as after a reset or a pulled cable, and greet the board."""
    client.close()
    return client.connect()


def throw_and_wait(bench: Bench, client: Client, drive: str, to: str, ms: float = 2500) -> str | None:
    """Throw, let time go by, and say where the board believes the drive to be."""
    client.request("throw", {"drive": drive, "to": to}, busy_s=20)
    bench.advance(ms)
    return next(d.at for d in client.state().drives if d.name == drive)


def shorts(bench: Bench) -> tuple[int, float]:
    """How many shorts there were, and how long the longest spark lasted in ms.

    A contact that bounces makes several sparks of one short; one still going on counts up to now.
    """
    began = [e.t_us for e in bench.log.of("spark")]
    ended = [e.facts["us"] / 1000 for e in bench.log.of("spark-end")]
    if len(began) > len(ended):
        ended.append((bench.now_us - began[-1]) / 1000)
    count = sum(1 for i, t in enumerate(began) if i == 0 or t - began[i - 1] > 100_000)
    return count, max(ended, default=0.0)


def verdict(problems: list[str], seen: str, times: int = 1) -> Outcome:
    """Good where there are no problems; else the first of them in the words."""
    if problems:
        return Outcome(False, f"{problems[0]}{f' (and {len(problems) - 1} more)' if len(problems) > 1 else ''}", times)
    return Outcome(True, seen, times)
