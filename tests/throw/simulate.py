"""A throw in full: the firmware's drive, feed and output objects under CPython, against blades and contacts.

The physics is stated here anew, from the meaning of the numbers: a rod on a sine, a blade anywhere within the
play, contacts that take their time. It shares no formula with `frogfeed.throw`.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from frogboard.drive import FRAME_MS, Drive
from frogboard.feed import Feed
from frogboard.outputs import LatchingOut, PairOut
from frogboard.table import OFF, A, B

TICK = 5
GRID = 0.5


@dataclass(frozen=True)
class Blades:
    """The drive's mechanics; `play` says where in the lost motion the blade lies, -1 to 1; `late` the servo's delay."""

    pulse_us: tuple[int, int]
    us_per_degree: float
    horn_mm: float
    ratio: float
    throw_mm: float
    lost_mm: float
    touch_mm: float
    play: float
    late_ms: float


@dataclass(frozen=True)
class Relay:
    """The switched output's true times, within what is stated: operate, release, bounce."""

    operate_ms: float
    release_ms: float
    bounce_ms: float


def blade_mm(b: Blades, pulse_us: np.ndarray) -> np.ndarray:
    """Displacement from the rail touched at setting 0."""
    middle = (b.pulse_us[0] + b.pulse_us[1]) / 2
    direction = 1 if b.pulse_us[1] > b.pulse_us[0] else -1
    angle = direction * (pulse_us - middle) / b.us_per_degree * math.pi / 180
    rod = b.throw_mm / 2 + b.horn_mm * b.ratio * np.sin(angle)
    return np.clip(rod + b.play * b.lost_mm / 2, 0, b.throw_mm)


def run(spec_drive: dict, spec_feed: dict, to: int) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Run the firmware through one throw: commanded pulse, line A and line B (or set and reset) at every tick."""
    lines = bytearray(4)
    drive = Drive(spec_drive)
    start = 1 - to
    drive.remember(start, spec_drive["pulse_us"][start])
    if spec_feed["output"] == "pair":
        out = PairOut(lines, 0, 1, spec_feed, None, TICK)
    else:
        out = LatchingOut(lines, 0, 1, spec_feed, None, TICK)
    feed = Feed(spec_feed, [0], [drive], out, TICK)
    feed.wake()
    for _ in range(200):
        feed.look(TICK)
        out.step(TICK, feed.want)
    assert out.told == (A if start == 0 else B)
    feed.depart(0, to)
    drive.begin(to)
    pulses, la, lb = [], [], []
    for _ in range(20000):
        drive.step(TICK, feed.clear(0, to))
        feed.look(TICK)
        out.step(TICK, feed.want)
        pulses.append(drive.pulse_us)
        la.append(lines[0])
        lb.append(lines[1])
        if drive.at == to and out.told == (A if to == 0 else B) and not (lines[2] or lines[3]):
            break
    else:
        raise AssertionError("the throw never ended")
    tail = int((FRAME_MS + 1000) / TICK)
    for _ in range(tail):
        pulses.append(pulses[-1])
        la.append(lines[0])
        lb.append(lines[1])
    return np.array(pulses, float), np.array(la), np.array(lb)


def stretched(values: np.ndarray) -> np.ndarray:
    """A value per tick as a value per grid step, held over the tick."""
    return np.repeat(values, round(TICK / GRID))


def contact(told: np.ndarray, relay: Relay, closed: bool) -> tuple[np.ndarray, np.ndarray]:
    """Whether a contact may conduct, and whether it does for certain, from what it is told at each grid step.

    It may conduct from the command on until release and bounce are over; it does for certain once operate and
    bounce are over.
    """
    n = len(told)
    off_steps = math.ceil((relay.release_ms + relay.bounce_ms) / GRID)
    may = np.zeros(n, bool)
    last_on = 0 if closed else -(10**9)
    for i in range(n):
        if told[i]:
            last_on = i
        may[i] = bool(told[i]) or i - last_on <= off_steps
    return may, told.astype(bool)


def touches(b: Blades, pulses: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Whether the blade touches at setting 0 and at setting 1, at every grid step."""
    commanded = stretched(pulses)
    late = round(b.late_ms / GRID)
    followed = np.concatenate([np.full(late, commanded[0]), commanded])[: len(commanded)]
    at = blade_mm(b, followed)
    return at <= b.touch_mm, at >= b.throw_mm - b.touch_mm


def specs(
    b: Blades, travel_ms: int, lag_ms: int, move: dict[int, dict], kind: str, relay: Relay, dead_ms: int
) -> tuple[dict, dict]:
    """Settings-document entries of one drive and one feed: A at setting 0, B at setting 1."""
    drive = {
        "name": "T",
        "pulse_us": list(b.pulse_us),
        "travel_ms": travel_ms,
        "lag_ms": lag_ms,
        "rest": "hold",
    }
    feed = {
        "name": "T.F",
        "output": kind,
        "retries": 0,
        "retry_ms": 1000,
        "try_other": False,
        "dead_ms": dead_ms,
        "release_ms": math.ceil(relay.release_ms),
        "operate_ms": math.ceil(relay.operate_ms),
        "bounce_ms": math.ceil(relay.bounce_ms),
        "pulse_ms": 20,
        "bonded": False,
        "table": [{"when": [[0, 0]], "feed": "A"}, {"when": [[0, 1]], "feed": "B"}],
        "moves": [{"drive": 0, "to": to, **m} for to, m in move.items()],
    }
    return drive, feed


__all__ = [
    "GRID",
    "OFF",
    "TICK",
    "Blades",
    "Relay",
    "blade_mm",
    "contact",
    "run",
    "specs",
    "stretched",
    "touches",
]
