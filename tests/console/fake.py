"""A board without a process: it moves its drives in the test's time (or in real time), and can be unplugged."""

from __future__ import annotations

import threading
import time
from collections.abc import Iterable, Mapping
from contextlib import suppress
from dataclasses import asdict
from typing import Any

from frogfeed.board.errors import BoardRefused, NoPort, PortVanished
from frogfeed.board.messages import (
    BoardState,
    DriveState,
    Event,
    FeedState,
    Hello,
    InputState,
    LoopState,
    Measurement,
    Notification,
    SensorState,
    Trim,
)
from frogfeed.console.railway import Railway
from frogfeed.throw.motion import Motion
from frogfeed.track.network.conditions import holds


class FakeBoard:
    """One board of a layout, with everything at its first setting (or unknown). One throw at a time."""

    def __init__(self, railway: Railway, name: str, known: bool = True) -> None:
        self.railway = railway
        self.name = name
        self.plugged = True
        self.settings: str | None = railway.documents[name][10:18].decode()
        plan = next(b for b in railway.plan.boards if b.name == name) if railway.plan else None
        assert plan is not None
        self.plans = {d.need.name: d for d in plan.drives}
        self.at: dict[str, str | None] = {d: p.need.settings[0] if known else None for d, p in self.plans.items()}
        self.pulse = {d: (p.linkage.pulse_us[0] if p.linkage and known else 0) for d, p in self.plans.items()}
        self.going: dict[str, tuple[str, float, int]] = {}
        self.feeds = [f.need.output for f in plan.feeds]
        self.faults: dict[str, str] = {}
        self.trims: dict[tuple[str, str], int] = {}
        self.sensors = sorted({f.sensor.name for f in plan.feeds if f.sensor is not None})
        self.ma = dict.fromkeys(self.sensors, 0)
        self.queue: list[Notification] = []
        self.seq = 0
        self.now = 0.0
        self.off = False
        self.lock = threading.RLock()

    # ---- what the board does --------------------------------------------------------------------------

    def event(self, kind: str, **facts: object) -> None:
        self.seq += 1
        self.queue.append(Event(self.seq, round(1000 * self.now), kind, facts))

    def command(self, drive: str, to: str) -> None:
        self.going[drive] = (to, -1.0, self.pulse[drive])

    def ends(self, drive: str) -> tuple[int, int]:
        plan = self.plans[drive]
        assert plan.linkage is not None
        a, b = plan.need.settings[:2]
        plain = plan.linkage.pulse_us
        return self.trims.get((drive, a), plain[0]), self.trims.get((drive, b), plain[1])

    def advance(self, seconds: float, at_once: bool = False) -> None:
        """Let time go by. Drives move one after the other, or all together."""
        self.now += seconds
        for drive, (to, began, start) in list(self.going.items()):
            motion = self.plans[drive].motion or Motion(1000.0, 120.0)
            if began < 0.0:
                began = self.now - seconds
                self.going[drive] = (to, began, start)
                self.at[drive] = None
                self.event("move", drive=drive, to=to)
            end = self.ends(drive)[self.plans[drive].need.settings.index(to)]
            gone = 1000.0 * (self.now - began)
            self.pulse[drive] = end if start == 0 else round(motion.pulse(start, end, gone))
            if gone >= motion.travel_ms + motion.lag_ms:
                self.at[drive] = to
                del self.going[drive]
                self.event("rest", drive=drive, at=to)
                for feed in self.feeds:
                    self.event("feed", feed=feed, **{"is": self.side(feed)})
            if not at_once:
                break

    def side(self, feed: str) -> str:
        if self.off or feed in self.faults:
            return "off"
        settings = {d: s for d, s in self.at.items() if s is not None}
        for entry in self.railway.network.switched:
            if entry.output == feed:
                for row in entry.rows:
                    if holds(row.when, settings):
                        return str(self.railway.network.wires[row.wire].side)
                return "off"
        return "off"

    def hello_now(self) -> Hello:
        return Hello(
            1, "", "fake", "00", self.name, "fake", self.railway.layout.hash, self.settings, "expander", "dc",
            None if self.settings else "none stored", 5, 1024, 480, "power", 0,
        )  # fmt: skip

    def drive_now(self, drive: str) -> DriveState:
        going = self.going.get(drive)
        moving = going is not None and going[1] >= 0.0
        return DriveState(drive, self.at[drive], going[0] if going else None, moving, self.pulse[drive])

    def state_now(self) -> BoardState:
        return BoardState(
            LoopState(self.name, len(self.going), 0, self.off),
            tuple(self.drive_now(d) for d in self.plans),
            tuple(FeedState(f, self.side(f), self.side(f), self.faults.get(f)) for f in self.feeds),
            (InputState("hold", False),),
            tuple(SensorState(s, self.ma[s]) for s in self.sensors),
            tuple(Trim(d, s, p) for (d, s), p in self.trims.items()),
        )


class FakeLink:
    """`BoardLink` to a `FakeBoard`, which runs in real time while it is listened to."""

    def __init__(self, board: FakeBoard, at_once: bool = False) -> None:
        self.board = board
        self.hello: Hello | None = None
        self._at_once = at_once
        self._last = time.monotonic()
        self.opened = False

    def _here(self) -> FakeBoard:
        if not self.board.plugged:
            raise PortVanished("the port went away", where="fake", why="the cable came out", cure="plug it in again")
        return self.board

    def connect(self) -> Hello:
        if not self.board.plugged:
            raise NoPort("there is no such port", where="fake", why="no board is plugged in", cure="plug it in again")
        self.opened = True
        self._last = time.monotonic()
        self.hello = self.board.hello_now()
        return self.hello

    where = "fake"

    def request(self, method: str, params: Mapping[str, Any]) -> dict[str, Any]:
        """Only what a test of the relay asks for: a state without pages."""
        with self.board.lock:
            if method == "hello":
                return asdict(self.connect())
            if method == "throw":
                self.throw(params["drive"], params["to"])
                return {"queued": 1}
            self._here()
            raise BoardRefused(method, -32601, "not on this board", where="fake", cure="")

    def close(self) -> None:
        self.opened = False

    def state(self) -> BoardState | None:
        with self.board.lock:
            return self._here().state_now() if self.board.settings else None

    def drives(self, start: int) -> tuple[DriveState, ...]:
        with self.board.lock:
            names = list(self._here().plans)[start : start + 9]
            return tuple(self.board.drive_now(d) for d in names)

    def notifications(self, timeout_s: float) -> Iterable[Notification]:
        time.sleep(timeout_s)
        with self.board.lock:
            board = self._here()
            now = time.monotonic()
            board.advance(now - self._last, self._at_once)
            self._last = now
            found, board.queue = board.queue, []
        return found

    def measure(self) -> None:
        with self.board.lock:
            self.board.seq += 1
            self.board.queue.append(Measurement(self.board.seq, 0, 0, tuple(self.board.ma.values())))

    def watch(self, every_ms: int) -> None:
        self._here()

    def throw(self, drive: str, to: str) -> None:
        with self.board.lock:
            if drive not in self._here().plans:
                raise BoardRefused("throw", 2, "the settings know no such drive", where="fake", cure="")
            self.board.command(drive, to)

    def trim(self, drive: str, setting: str, pulse_us: int, keep: bool) -> int:
        with self.board.lock:
            self._here().trims[(drive, setting)] = pulse_us
            self.board.pulse[drive] = pulse_us
            return pulse_us

    def all_off(self) -> tuple[int, int]:
        with self.board.lock:
            self._here().off = True
            self.board.event("all_off")
            return len(self.board.feeds), 0

    def feed_reset(self, feed: str | None) -> int:
        with self.board.lock:
            board = self._here()
            board.off = False
            cleared = [f for f in list(board.faults) if feed in (None, f)]
            for f in cleared:
                with suppress(KeyError):
                    del board.faults[f]
                board.event("clear", feed=f)
            return len(cleared)

    def push(self, document: bytes, layout_text: bytes) -> None:
        with self.board.lock:
            self._here().settings = document[10:18].decode()
            self.hello = self.board.hello_now()
