"""Two things at once, at the worst moment: what no single fault shows."""

from __future__ import annotations

from frogfeed.bench.cases.base import (
    Case,
    Outcome,
    again,
    changed_turnouts,
    ready,
    shorts,
    throw_and_wait,
    two_turnouts,
    verdict,
    wrongs,
)
from frogfeed.board.errors import BoardRefused
from frogfeed.board.transfer import push

MOMENTS_MS = range(0, 1600, 80)
"""From the first pulse of a throw until it has long been at rest."""


def all_off_in_mid_throw() -> Outcome:
    """Everything off at each moment of a throw, and the drive turned round in the same breath; then on again."""
    problems: list[str] = []
    with two_turnouts().bench() as bench:
        client = ready(bench)
        for n, moment_ms in enumerate(MOMENTS_MS):
            to, back = ("right", "left") if n % 2 == 0 else ("left", "right")
            for drive in ("T1", "T2"):
                client.request("throw", {"drive": drive, "to": to})
            bench.advance(moment_ms)
            client.request("throw", {"drive": "T2", "to": back})
            client.request("all_off")
            bench.advance(100)
            if any(any(legs) for legs in bench.query()["outputs"].values()):
                problems.append(f"after {moment_ms} ms: an output is on after all off")
            bench.advance(4000)
            client.request("feed.reset")
            for drive in ("T1", "T2"):
                throw_and_wait(bench, client, drive, to, 4000)
            if {d.at for d in client.state().drives} != {to}:
                problems.append(f"after {moment_ms} ms: not all are at {to} afterwards")
            if bench.wire_of("T1.F") is None or bench.wire_of("T2.F") is None:
                problems.append(f"after {moment_ms} ms: a feed stays off after the reset")
        problems += wrongs(bench)
    return verdict(problems, "all off each time, no spark; on again after the reset", len(MOMENTS_MS))


def metal_in_mid_throw() -> Outcome:
    """A short on one turnout's frog at each moment of the other's throw: that goes on, the short is cut off."""
    problems: list[str] = []
    longest = 0.0
    for moment_ms in MOMENTS_MS[::2]:
        with two_turnouts().bench() as bench:
            client = ready(bench)
            classes = bench.scenario["classes"]
            client.request("throw", {"drive": "T2", "to": "right"})
            bench.advance(moment_ms)
            bench.fault("metal", rails=[classes["T1.F"], classes["main.A"]])
            bench.advance(6000)
            longest = max(longest, shorts(bench)[1])
            bench.fault("metal", off=True)
            client.request("feed.reset")
            bench.advance(3000)
            problems += [str(e) for e in bench.log.of("rule", "died", "restart", "supply-trip", "dead-wheel")]
            if next(d.at for d in client.state().drives if d.name == "T2") != "right":
                problems.append(f"after {moment_ms} ms: T2 did not arrive")
            if bench.wire_of("T1.F") is None or bench.wire_of("T2.F") is None:
                problems.append(f"after {moment_ms} ms: a feed stays off after the reset")
    if longest > 30.0:
        problems.append(f"a short lasted {longest:.1f} ms")
    return verdict(problems, f"cut off within {longest:.1f} ms; the throw arrived each time", len(MOMENTS_MS[::2]))


def servo_chip_forgets_at_every_moment() -> Outcome:
    """The servo chip's supply dips at each moment of a throw of unbonded blades."""
    problems: list[str] = []
    chip = next(
        i for i, c in enumerate(two_turnouts().bench().scenario["boards"][0]["chips"]) if c["kind"] == "pca9685"
    )
    with two_turnouts().bench() as bench:
        client = ready(bench)
        for n, moment_ms in enumerate(MOMENTS_MS):
            to = "right" if n % 2 == 0 else "left"
            client.request("throw", {"drive": "T2", "to": to})
            bench.advance(moment_ms)
            bench.fault("chip-power", chip=chip)
            bench.advance(10)
            bench.fault("chip-power", chip=chip, off=True)
            bench.advance(6000)
            if bench.query()["drives"]["T2"] != {"left": 1, "right": 2}[to]:
                problems.append(f"after {moment_ms} ms: T2 did not arrive by itself")
            if bench.wire_of("T2.F") is None:
                problems.append(f"after {moment_ms} ms: the feed stays off")
        problems += wrongs(bench)
    return verdict(problems, "no spark; every throw arrived by itself", len(MOMENTS_MS))


def commit_in_traffic() -> Outcome:
    """Settings pushed and committed while drives are thrown without a pause, with a loco on the road.

    The commit turns all feeds off for a moment, so its wheels on the frog are dead for that long.
    """
    rig, new = two_turnouts(), changed_turnouts().documents["B1"]
    with rig.bench() as bench:
        client = ready(bench)
        bench.place_train(rig.train("standing", ["T1:toe-left"], front_mm=150.0, speed_mm_per_s=0, run_off=False))
        refused = 0
        for to in ("right", "left", "right"):
            client.request("throw", {"drive": "T2", "to": to})
            bench.advance(300)
            try:
                client.request("push.commit", {"crc32": "00000000"})
            except BoardRefused:
                refused += 1
            push(client, "settings", new if to == "left" else rig.documents["B1"])
            hello = again(client)
            bench.advance(3000)
        problems = wrongs(bench, ("dead-wheel", "loco-lost"))
        if hello.settings != rig.documents["B1"][10:18].decode():
            problems.append("the last settings are not in force")
        if client.state().drive("T2") is None or throw_and_wait(bench, client, "T2", "left", 4000) != "left":
            problems.append("T2 is not thrown under the new settings")
        return verdict(problems, "no spark; the commit waited for rest, and the new settings are in force", 3)


CASES = (
    Case(
        "both",
        "all off at every moment of two throws, one turned round",
        "off; no spark; on again",
        all_off_in_mid_throw,
    ),
    Case("both", "metal on one frog while the other is thrown", "cut off within 30 ms; it arrives", metal_in_mid_throw),
    Case(
        "both",
        "the servo chip losing its registers at every moment of a throw",
        "no spark; the throw arrives by itself",
        servo_chip_forgets_at_every_moment,
    ),
    Case("both", "settings committed in mid-throw, under a loco", "no spark; the new ones in force", commit_in_traffic),
)
