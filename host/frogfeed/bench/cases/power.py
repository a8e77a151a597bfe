"""Hangs, brown-outs, chips that vanish, buses that stick, sensors that lie."""

from __future__ import annotations

from collections.abc import Callable
from contextlib import suppress

from frogfeed.bench.bench import Bench
from frogfeed.bench.cases.base import (
    IMPATIENT,
    Case,
    Outcome,
    again,
    ready,
    shorts,
    throw_and_wait,
    two_turnouts,
    verdict,
    wrongs,
)
from frogfeed.board.client import Client
from frogfeed.board.errors import BoardError

HANGS = (
    "frogboard.control:Control.step",
    "frogboard.mover:Mover.step",
    "frogboard.drive:Drive.step",
    "frogboard.feed:Feed.step",
    "frogboard.feed:Feed.look",
    "frogboard.guard:Guard.step",
    "frogboard.inputs:Inputs.step",
    "frogboard.panel:Panel.lamps",
    "frogboard.outputs:Group.count",
    "frogboard.pins:Hardware.read",
    "frogboard.pins:Hardware.write",
    "frogboard.buses:Chips.read",
    "frogboard.buses:Chips.write",
    "frogboard.outputs:PairOut.step",
    "frogboard.link:Link.step",
    "frogboard.usb:Usb.push",
    "frogboard.board:Board.tick",
    "frogboard.store:Store.save_positions",
)
WATCHDOG_MS = 5200
"""The settings' watchdog time, and the reset."""
ARRIVAL_MS = 2000
"""The rest of a throw: what has to do with a feed is asleep in mid-travel, and hangs where the feed is woken."""


def hangs() -> Outcome:
    """A loop without end in each module in turn, while a drive is in mid-throw."""
    problems: list[str] = []
    seen = 0
    for where in HANGS:
        with two_turnouts().bench() as bench:
            client = ready(bench, limits=IMPATIENT)
            if "save_positions" in where:
                bench.hang(where)
            with suppress(BoardError):  # one that hangs at once gives no answer
                client.request("throw", {"drive": "T2", "to": "right"})
            if "save_positions" not in where:
                bench.advance(500)
                bench.hang(where)
            bench.advance(ARRIVAL_MS + WATCHDOG_MS)
            causes = [e.facts["cause"] for e in bench.log.of("restart")]
            if causes != ["watchdog"]:
                problems.append(f"{where}: resets {causes}")
                continue
            seen += 1
            bench.advance(1500)
            again(client)
            if throw_and_wait(bench, client, "T2", "left", 4000) != "left":
                problems.append(f"{where}: the drive did not come home after the reset")
            problems += [f"{where}: {w}" for w in wrongs(bench)]
    return verdict(
        problems, f"the watchdog bit each time, all was off at the reset, and the board went on ({seen})", len(HANGS)
    )


def brown_out() -> Outcome:
    """The board's power fails at every twentieth of a throw."""
    problems: list[str] = []
    unknown = 0
    for twentieth in range(1, 21):
        with two_turnouts().bench() as bench:
            client = ready(bench)
            client.request("throw", {"drive": "T2", "to": "right"})
            bench.advance(60 * twentieth)
            bench.cut_power()
            bench.advance(1500)
            again(client)
            at = next(d.at for d in client.state().drives if d.name == "T2")
            true = bench.query()["drives"]["T2"]
            unknown += at is None
            if at is not None and {"left": 1, "right": 2}[at] != true:
                problems.append(f"after {60 * twentieth} ms: it says {at}, the blades are elsewhere")
            if throw_and_wait(bench, client, "T2", "right", 4000) != "right":
                problems.append(f"after {60 * twentieth} ms: the drive did not arrive afterwards")
            problems += wrongs(bench)
    return verdict(problems, f"came up as unknown {unknown} times, and threw with its feed off", 20)


def _during(kind: str, ms: float, **facts: object) -> Callable[[Bench, Client], None]:
    def act(bench: Bench, client: Client) -> None:
        bench.fault(kind, **facts)  # type: ignore[arg-type]
        bench.advance(ms)
        bench.fault(kind, off=True, **facts)  # type: ignore[arg-type]

    return act


def _chip(kind: str) -> int:
    chips = two_turnouts().bench().scenario["boards"][0]["chips"]
    return next(i for i, c in enumerate(chips) if c["kind"] == kind)


def _chip_case(fault: str, moment_ms: float, away_ms: float, **facts: object) -> Outcome:
    """Let something on a bus vanish in mid-throw and come back; then the board must throw as before."""
    with two_turnouts().bench() as bench:
        client = ready(bench, limits=IMPATIENT)
        client.request("throw", {"drive": "T2", "to": "right"})
        bench.advance(moment_ms)
        _during(fault, away_ms, **facts)(bench, client)
        bench.advance(6000)
        problems = wrongs(bench)
        if bench.query()["drives"]["T2"] != 2:
            problems.append("the throw under way did not arrive by itself")
        tries = 0
        try:
            again(client)
            client.request("feed.reset", {})
            for to in ("left", "right", "left"):
                tries += 1
                if throw_and_wait(bench, client, "T2", to, 5000) != to:
                    tries += 1
                    if throw_and_wait(bench, client, "T2", to, 5000) != to:
                        problems.append(f"T2 does not get {to} after the fault, thrown twice")
            state = client.state()
            faults = {f.name: f.fault for f in state.feeds if f.fault}
            if faults:
                problems.append(f"faults that stay: {faults}")
        except BoardError as problem:
            problems.append(str(problem).splitlines()[0])
        problems += wrongs(bench)
        resets = len(bench.log.of("restart"))
        return verdict(problems, f"no spark, {resets} resets; the throw arrived; three more in {tries} tries")


def expander_vanishes() -> Outcome:
    return _chip_case("chip-missing", 500, 1000, chip=_chip("mcp23017"))


def expander_loses_registers() -> Outcome:
    return _chip_case("chip-power", 500, 10, chip=_chip("mcp23017"))


def servo_chip_vanishes() -> Outcome:
    return _chip_case("chip-missing", 500, 1000, chip=_chip("pca9685"))


def servo_chip_loses_registers() -> Outcome:
    return _chip_case("chip-power", 500, 10, chip=_chip("pca9685"))


def bus_sticks() -> Outcome:
    return _chip_case("bus-stuck", 500, 400, bus=0)


def sensor_chip_vanishes() -> Outcome:
    return _chip_case("chip-missing", 500, 1000, chip=_chip("ina226"))


def sensor_bus_sticks() -> Outcome:
    return _chip_case("bus-stuck", 500, 400, bus=1)


def expander_missing() -> Outcome:
    """The expander is not there when the board starts."""
    with two_turnouts().bench() as bench:
        client = ready(bench, limits=IMPATIENT)
        bench.fault("chip-missing", chip=_chip("mcp23017"))
        bench.cut_power()
        bench.advance(2000)
        problems: list[str] = []
        told = "nothing"
        try:
            hello = again(client)
            told = (
                hello.reason or ", ".join(f"{f.name}: {f.fault}" for f in client.state().feeds if f.fault) or "nothing"
            )
        except BoardError as problem:
            problems.append(str(problem).splitlines()[0])
        if any(any(legs) for legs in bench.query()["outputs"].values()):
            problems.append("an output is on")
        if told == "nothing":
            problems.append("the board does not say that its expander is missing")
        bench.fault("chip-missing", chip=_chip("mcp23017"), off=True)
        bench.cut_power()
        bench.advance(2000)
        again(client)
        if throw_and_wait(bench, client, "T2", "right", 4000) != "right":
            problems.append("with the expander back it does not throw")
        return verdict(problems + wrongs(bench), f"all off, and it says: {told}; with the expander back it works")


def sensor_dead() -> Outcome:
    """A sensor chip answers and sees nothing while a short lies on the track: its alert is the trip, so nothing trips.

    What is left is the district's own supply.
    """
    with two_turnouts().bench() as bench:
        client = ready(bench)
        sensor = bench.scenario["boards"][0]["sensors"][0]["name"]
        classes = bench.scenario["classes"]
        patience_ms = max(s["trip_us"] for s in bench.scenario["supplies"].values()) / 1000
        bench.fault("sensor-dead", sensor=sensor)
        bench.fault("metal", rails=[classes["T1.F"], classes["main.A"]])
        bench.advance(1000)
        count, longest = shorts(bench)
        problems = [str(e) for e in bench.log.of("rule", "died", "restart")]
        if not bench.log.of("supply-trip"):
            problems.append("the supply did not trip")
        bench.fault("metal", off=True)
        bench.fault("sensor-dead", sensor=sensor, off=True)
        bench.advance(12_000)
        client.request("feed.reset", {})
        bench.advance(1000)
        if bench.wire_of("T1.F") != "main.B":
            problems.append("with the short gone the feed stays off")
        if longest > patience_ms + 1:
            problems.append(f"a short lasted {longest:.1f} ms")
        return verdict(problems, f"the supply tripped after {longest:.0f} ms, {count} times")


def sensor_chip_loses_registers() -> Outcome:
    """Its supply dips, and its alert limit is gone: the board sets it up again before it is needed."""
    with two_turnouts().bench() as bench:
        client = ready(bench)
        bench.fault("chip-power", chip=_chip("ina226"))
        bench.advance(3000)
        return _short_across(bench, client, "set up again; its alert cut the short off")


def overload() -> Outcome:
    """More current than the feed may carry, below the hardware trip: the sensor's own limit and time."""
    with two_turnouts().bench() as bench:
        client = ready(bench)
        bench.fault("load", output="T1.F", ma=1900)
        began = bench.now_us
        bench.advance(9000)
        offs = [e.t_us for e in bench.log.where("leg", output="T1.F", closed=0) if e.t_us >= began]
        problems = wrongs(bench)
        fault = next(f.fault for f in client.state().feeds if f.name == "T1.F")
        if not offs:
            problems.append("the feed stayed on")
        if not fault:
            problems.append("no fault is told")
        took = (offs[0] - began) / 1000 if offs else 0.0
        closings = len([e for e in bench.log.where("coil", output="T1.F", on=1) if e.t_us >= began])
        if closings > 3:
            problems.append(f"tried {closings} times again")
        bench.fault("load", output="T1.F", ma=0, off=True)
        client.request("feed.reset", {})
        bench.advance(1000)
        if bench.wire_of("T1.F") is None:
            problems.append("after its reset the feed stays off")
        return verdict(problems, f"off after {took:.0f} ms, tried again {closings} times, then latched: {fault}")


def metal_across() -> Outcome:
    """A screwdriver across frog and stock rail."""
    with two_turnouts().bench() as bench:
        client = ready(bench)
        return _short_across(bench, client, "cut off")


def _short_across(bench: Bench, client: Client, words: str) -> Outcome:
    classes = bench.scenario["classes"]
    wrong_side = classes["main.A"]
    bench.fault("metal", rails=[classes["T1.F"], wrong_side])
    bench.advance(12_000)
    count, longest = shorts(bench)
    problems = [str(e) for e in bench.log.of("rule", "died", "restart", "supply-trip")]
    if not count or longest > 30.0:
        problems.append(f"{count} shorts, the longest {longest:.1f} ms")
    if count > 4:
        problems.append(f"fed again {count} times")
    fault = next(f.fault for f in client.state().feeds if f.name == "T1.F")
    if not fault:
        problems.append("no fault is told")
    bench.fault("metal", off=True)
    client.request("feed.reset", {})
    bench.advance(2000)
    if bench.wire_of("T1.F") != "main.B":
        problems.append("after its reset the feed stays off")
    return verdict(problems, f"{words} within {longest:.1f} ms, {count} times in all, then latched: {fault}")


def sensor_saturated() -> Outcome:
    """A sensor stuck at full scale: feeds go off, and are told as tripped; nothing else happens."""
    with two_turnouts().bench() as bench:
        client = ready(bench)
        sensor = bench.scenario["boards"][0]["sensors"][0]["name"]
        bench.fault("sensor-saturated", sensor=sensor, counts=32767)
        bench.advance(12_000)
        problems = wrongs(bench)
        faults = {f.name: f.fault for f in client.state().feeds if f.fault}
        if not faults:
            problems.append("nothing is told")
        bench.fault("sensor-saturated", sensor=sensor, off=True)
        client.request("feed.reset", {})
        bench.advance(1000)
        if bench.wire_of("T1.F") is None:
            problems.append("after its reset the feed stays off")
        return verdict(problems, "off and told: " + ", ".join(f"{n}: {f}" for n, f in faults.items()))


CASES = (
    Case("board", "a hang in each module, in mid-throw", "the watchdog resets, reset means off, it goes on", hangs),
    Case("board", "brown-out in mid-throw, at every twentieth", "unknown or true; feed off while it throws", brown_out),
    Case("expander", "missing at the start", "all off, and told", expander_missing),
    Case("expander", "vanishing in mid-throw for a second", "no spark; the throw arrives by itself", expander_vanishes),
    Case(
        "expander",
        "losing its registers in mid-throw",
        "no spark; the throw arrives by itself",
        expander_loses_registers,
    ),
    Case(
        "servo chip",
        "vanishing in mid-throw for a second",
        "no spark; the throw arrives by itself",
        servo_chip_vanishes,
    ),
    Case(
        "servo chip",
        "losing its registers in mid-throw",
        "no spark; the throw arrives by itself",
        servo_chip_loses_registers,
    ),
    Case("bus", "stuck for 400 ms in mid-throw", "no spark; the throw arrives by itself", bus_sticks),
    Case("bus", "the sensors' bus stuck for 400 ms", "no spark; the throw arrives by itself", sensor_bus_sticks),
    Case("sensor", "chip vanishing for a second", "no spark; the throw arrives by itself", sensor_chip_vanishes),
    Case(
        "sensor",
        "chip losing its registers; then a short",
        "the hardware trip cuts it off within 30 ms",
        sensor_chip_loses_registers,
    ),
    Case(
        "sensor",
        "chip that answers and sees nothing, and a short",
        "the district's supply ends it in its own time",
        sensor_dead,
    ),
    Case("sensor", "saturated", "the feeds it watches are off, and told", sensor_saturated),
    Case("track", "metal across frog and stock rail", "cut off within 30 ms, tried again, latched", metal_across),
    Case("track", "an overload below the hardware trip", "off in the stated time, tried again, latched", overload),
)
