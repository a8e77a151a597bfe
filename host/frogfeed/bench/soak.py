"""A day and a night on the bench: throws, trains and faults, in virtual time, and what became of it.

    python -m frogfeed.bench.soak [--hours 24] [--seed 1]

Time is skipped only by the firmware's own word: while nothing moves, rolls or sparks it sleeps to its own next
deadline. The run is good if nothing sparked, no rule was broken, no reset came unasked, and no heap grew.
"""

from __future__ import annotations

import argparse
import random
import sys
import time
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any

from frogfeed.bench.bench import Bench
from frogfeed.bench.link import client_of
from frogfeed.bench.rig import Rig, rig_of, yard_layout
from frogfeed.bench.route import LOCO, wagon
from frogfeed.board.client import Client
from frogfeed.board.errors import BoardError, BoardRefused
from frogfeed.board.lines import request_line

DRIVES = 16
SESSIONS_PER_HOUR = 18
"""Sessions of a dozen throws and five trains each: 5,184 throws and 2,160 passes in a day."""
THROWS = 12
EARLY_TRAINS, LATE_TRAINS = 3, 2
FAULTS_PER_SESSION = 1.2
"""518 in a day."""
SESSION_MS = 5200.0
RETRY_MS = 1800.0
HEAP_SLACK = 2048
"""Bytes by which the heap at rest may differ from hour to hour without growing."""
LOOKS = 3


@dataclass
class Tally:
    """What was done and seen."""

    throws: int = 0
    passes: int = 0
    faults: dict[str, int] = field(default_factory=dict)
    expected_resets: int = 0
    wrong: list[str] = field(default_factory=list)
    heap: list[int] = field(default_factory=list)
    ticks: int = 0
    skipped_us: int = 0
    excused: list[tuple[int, int]] = field(default_factory=list)
    """Stretches of time in which a fault may leave a rail unfed."""

    @property
    def grown(self) -> int:
        """By how much the heap at rest grew in the board's last life: least of its last looks less least of its first.

        A single look is off by a few kilobytes, with what the bench itself has in hand. The first hour fills tables.
        """
        looks = self.heap[1:]
        return min(looks[-LOOKS:]) - min(looks[:LOOKS]) if len(looks) >= 2 * LOOKS else 0


class Day:
    """One run: the railway, its board, and chance by seed."""

    def __init__(self, rig: Rig, bench: Bench, seed: int) -> None:
        self.rig = rig
        self.bench = bench
        self.client: Client = client_of(bench, step_ms=20)
        self.chance = random.Random(seed)
        self.tally = Tally()
        self.at = {f"T{i}": "left" for i in range(1, DRIVES + 1)}
        self._counted = (0, 0)
        self._wagons = 0

    # ---- one session ----------------------------------------------------------------------------------

    def session(self, length_ms: float, faults: list[Callable[[], None]]) -> None:
        """Throw a dozen drives while trains roll elsewhere; then roll over what was thrown; then rest."""
        began = self.bench.now_us
        chosen = self.chance.sample(sorted(self.at), THROWS)
        for drive in chosen:
            self.at[drive] = "right" if self.at[drive] == "left" else "left"
        self._throw_all(chosen)
        self.tally.throws += THROWS
        self._roll([d for d in self.at if d not in chosen], EARLY_TRAINS)
        for fault in faults:
            fault()
        self.bench.advance(SESSION_MS)
        self._check()
        self._roll(chosen, LATE_TRAINS)
        self.bench.advance(1300)
        if faults:
            self.tally.excused.append((began, self.bench.now_us))
        spent = (self.bench.now_us - began) / 1000
        if spent < length_ms:
            self.bench.advance(length_ms - spent)

    def _throw(self, drive: str, to: str) -> None:
        self.client.request("throw", {"drive": drive, "to": to}, busy_s=30)

    def _throw_all(self, drives: list[str]) -> None:
        """All in one breath, as a stored route does; `_check` looks after one that was not heard."""
        lines = [request_line(1_000_000 + i, "throw", {"drive": d, "to": self.at[d]}) for i, d in enumerate(drives)]
        self.bench.serial().write(b"".join(lines))
        self.bench.advance(40)

    def _roll(self, drives: list[str], count: int) -> None:
        for drive in self.chance.sample(drives, count):
            speed = self.chance.choice((200, 300, 400, 600, 800, 1000))
            vehicles = [LOCO, wagon("van", 85.0)] if self.chance.randrange(3) == 0 else [LOCO]
            self._wagons += 1
            self.bench.place_train(
                self.rig.train(
                    f"train {self._wagons % 6}", [f"{drive}:toe-{self.at[drive]}"], vehicles, speed_mm_per_s=speed
                )
            )
            self.tally.passes += 1

    def _check(self) -> None:
        """Every drive is where it was sent, or is sent again after a fault: then it must get there."""
        astray: list[str] = []
        for _ in range(4):
            state = {d.name: d for d in self.client.state().drives}
            astray = [d for d in self.at if state[d].at != self.at[d]]
            if not astray:
                return
            for drive in astray:
                self._throw(drive, self.at[drive])
            self.bench.advance(RETRY_MS * (1 + len(astray) // 3))
        self.tally.wrong.append(f"{self.bench.now_us / 1e6:.1f} s: {', '.join(astray)} did not get there")

    # ---- faults ---------------------------------------------------------------------------------------

    def faults(self, resets: bool) -> dict[str, Callable[[], None]]:
        """The faults that a railway must bear without a spark; those that reset the board only where wished."""
        found = {
            "noise on the line": self._noise,
            "cable out in mid-line": self._cable,
            "reader that never reads": self._deaf,
            "sensor chip missing": lambda: self._chip("ina226"),
            "sensor bus stuck": self._bus,
            "sensor dead": self._sensor_dead,
            "sensor saturated": self._sensor_saturated,
            "overload": self._overload,
            "servo slow": self._slow,
            "relay bounces 5 ms": self._bounce,
            "throw reversed in mid-travel": self._reverse,
        }
        if resets:
            found |= {
                "power cut at rest": lambda: self._power(2500),
                "power cut in mid-throw": lambda: self._power(500),
                "hang": self._hang,
            }
        return found

    def _noise(self) -> None:
        self.bench.serial().write(bytes(self.chance.randrange(256) for _ in range(300)) + b"\n")

    def _cable(self) -> None:
        port = self.bench.serial()
        port.write(b'{"jsonrpc":"2.0","id":1,"method":"thr')
        self.bench.advance(20)
        port.plug(False)
        self.bench.advance(200)
        port.plug(True)
        self.client.close()
        self.client.connect()

    def _deaf(self) -> None:
        self.client.watch(50)
        port = self.bench.serial()
        port.listen(False)
        self.bench.advance(5000)
        port.listen(True)
        self.client.watch(0)

    def _chip(self, kind: str) -> None:
        chips = self.bench.scenario["boards"][0]["chips"]
        number = self.chance.choice([i for i, c in enumerate(chips) if c["kind"] == kind])
        self._for_a_while("chip-missing", 300, chip=number)

    def _bus(self) -> None:
        self._for_a_while("bus-stuck", 60, bus=1)

    def _sensor_dead(self) -> None:
        self._for_a_while("sensor-dead", 300, sensor=self._sensor())

    def _sensor_saturated(self) -> None:
        self._for_a_while("sensor-saturated", 150, sensor=self._sensor(), counts=32767)

    def _sensor(self) -> str:
        return str(self.chance.choice(self.bench.scenario["boards"][0]["sensors"])["name"])

    def _overload(self) -> None:
        output = self.chance.choice(self.bench.scenario["boards"][0]["outputs"])["name"]
        self._for_a_while("load", 150, output=output, ma=1900)

    def _for_a_while(self, kind: str, ms: float, **facts: Any) -> None:
        self.bench.fault(kind, **facts)
        self.bench.advance(ms)
        self.bench.fault(kind, off=True, **facts)
        self.bench.advance(300)
        self.client.request("feed.reset", {})

    def _slow(self) -> None:
        """A servo with a bonded frog runs at a third of its speed, for one throw."""
        drive = f"T{self.chance.randrange(1, DRIVES, 2)}"
        self.bench.fault("servo-slow", drive=drive, us_per_s=300)
        self.bench.advance(2500)
        self.bench.fault("servo-slow", drive=drive, us_per_s=6000)

    def _bounce(self) -> None:
        output = self.chance.choice(self.bench.scenario["boards"][0]["outputs"])["name"]
        self.bench.fault("relay-timing", output=output, bounce_us=5000)

    def _reverse(self) -> None:
        drive = self.chance.choice(sorted(self.at))
        for _ in range(2):
            self.at[drive] = "right" if self.at[drive] == "left" else "left"
            self._throw(drive, self.at[drive])
            self.bench.advance(450)

    def _power(self, after_ms: float) -> None:
        self.bench.advance(after_ms)
        self._count()
        self.bench.cut_power()
        self.bench.advance(500)
        self.tally.expected_resets += 1
        self._again()

    def _hang(self) -> None:
        self._count()
        self.bench.hang("frogboard.control:Control.step")
        self.bench.advance(7000)
        self.tally.expected_resets += 1
        self._again()

    def _again(self) -> None:
        """The board has started anew: its counters too, and what it was told to do is forgotten."""
        self._counted = (0, 0)
        self.tally.heap.clear()
        self.client.close()
        self.client.connect()

    # ---- counting -------------------------------------------------------------------------------------

    def _count(self) -> None:
        """Add the ticks since the last look."""
        seen = self.bench.query()
        self.tally.ticks += seen["ticks"] - self._counted[0]
        self.tally.skipped_us += seen["skipped_us"] - self._counted[1]
        self._counted = (seen["ticks"], seen["skipped_us"])

    def look(self) -> None:
        """Once an hour, at rest: ticks, and the heap in use after a collection."""
        self._count()
        used = int(self.bench.query()["live"])
        self.tally.heap.append(used)

    def run(self, hours: float, say: Callable[[str], None]) -> None:
        """The whole run."""
        self.client.connect()
        for drive, setting in self.at.items():
            self._throw(drive, setting)
        self.bench.advance(DRIVES * 1500)
        self._check()
        sessions = round(hours * SESSIONS_PER_HOUR)
        due = 0.0
        for number in range(1, sessions + 1):
            faults = []
            due += FAULTS_PER_SESSION
            while due >= 1:
                due -= 1
                name, fault = self.chance.choice(sorted(self.faults(number < sessions / 2).items()))
                self.tally.faults[name] = self.tally.faults.get(name, 0) + 1
                faults.append(fault)
            try:
                self.session(3_600_000 / SESSIONS_PER_HOUR, faults)
            except BoardRefused as refusal:
                self.tally.wrong.append(f"{self.bench.now_us / 1e6:.1f} s: {refusal}")
                self.client.request("feed.reset", {})
            except BoardError as problem:
                self.tally.wrong.append(f"{self.bench.now_us / 1e6:.1f} s: {problem}")
            if number % SESSIONS_PER_HOUR == 0:
                self.look()
                say(f"{number // SESSIONS_PER_HOUR:3} h  throws {self.tally.throws}  passes {self.tally.passes}")
        self.look()


def verdict(day: Day) -> list[str]:
    """What went wrong, in words; empty where nothing did."""
    log = day.bench.log
    found = [str(e) for e in log.of("spark", "rule", "died", "supply-trip")]
    restarts = len(log.of("restart"))
    if restarts != day.tally.expected_resets:
        found.append(f"{restarts} resets where {day.tally.expected_resets} were caused")
    if day.tally.grown > HEAP_SLACK:
        found.append(f"the heap grew by {day.tally.grown} bytes")
    found += [
        str(e) for e in log.of("dead-wheel", "loco-lost") if not any(a <= e.t_us <= b for a, b in day.tally.excused)
    ]
    return found + day.tally.wrong


def main(arguments: list[str] | None = None) -> int:
    """Run it; 0 where all held, 1 where not."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else None)
    parser.add_argument("--hours", type=float, default=24.0)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--quiet", action="store_true")
    chosen = parser.parse_args(arguments)
    rig = rig_of(yard_layout(DRIVES), "long-siding.toml")
    quiet = ("coil", "leg", "blade", "pulse", "move", "rest", "train", "fault", "trip-line", "loco-live")
    began = time.monotonic()
    with rig.bench(seed=chosen.seed, drop=quiet) as bench:
        day = Day(rig, bench, chosen.seed)
        day.run(chosen.hours, print if not chosen.quiet else lambda _: None)
        took = time.monotonic() - began
        wrong = verdict(day)
        tally = day.tally
        virtual_s = bench.now_us / 1e6
        tick_us = bench.scenario["tick_us"]
        print(f"virtual time     {virtual_s / 3600:.2f} h on {bench.interpreter}, {DRIVES} drives, seed {chosen.seed}")
        print(f"throws           {tally.throws}")
        print(f"train passes     {tally.passes}")
        print(f"faults           {sum(tally.faults.values())}")
        for name, count in sorted(tally.faults.items()):
            print(f"  {count:4}  {name}")
        print(f"ticks run        {tally.ticks}")
        print(f"ticks skipped    {tally.skipped_us // tick_us} (idle, to the firmware's own next deadline)")
        print(f"resets           {len(bench.log.of('restart'))}, all of them caused: {tally.expected_resets}")
        print(f"heap at rest     {tally.heap[-1] if tally.heap else 0} bytes, grown by {tally.grown}")
        print(f"dead wheels      {len(bench.log.of('dead-wheel'))} (while a fault had turned feeds off)")
        print(f"sparks           {len(bench.log.of('spark'))}")
        print(f"real time        {took:.1f} s: {virtual_s / took:.0f} times as fast as real")
        for line in wrong:
            print(f"WRONG  {line}")
        print("nothing went wrong" if not wrong else f"{len(wrong)} things went wrong")
    return 1 if wrong else 0


if __name__ == "__main__":
    sys.exit(main())
