"""Servos and relays that do not do as they are told, and what protects the railway then."""

from __future__ import annotations

from typing import Any

from frogfeed.bench.bench import Bench
from frogfeed.bench.cases.base import Case, Outcome, ready, shorts, throw_and_wait, two_turnouts, verdict, wrongs

LONGEST_SPARK_MS = 30.0
"""A hardware trip's delay, and the time its group's contact needs to let go, with something to spare."""


def _cut_short(bench: Bench, client: Any, most: int, what: str, latched: bool = True) -> Outcome:
    """A short is there by the fault's nature: it must be cut off in time, told, and not fed again for ever."""
    count, longest = shorts(bench)
    problems = [str(e) for e in bench.log.of("rule", "died", "restart", "supply-trip")]
    feeds = client.state().feeds
    faults = {f.name: f.fault for f in feeds if f.fault}
    trips = sum(f.trips for f in feeds)
    if longest > LONGEST_SPARK_MS:
        problems.append(f"a short lasted {longest:.1f} ms")
    if count > most:
        problems.append(f"{count} shorts: it was fed again and again")
    if count and not trips:
        problems.append("no feed has counted a trip")
    if latched and count and not faults:
        problems.append("no feed reports a fault")
    told = ", ".join(f"{n}: {f}" for n, f in faults.items()) or "no fault is left"
    return verdict(problems, f"{what}: {count} shorts, the longest {longest:.1f} ms, {trips} trips counted; {told}")


def stuck_bonded() -> Outcome:
    """A stuck servo under an isolated frog: the frog has the wrong polarity, nothing shorts."""
    with two_turnouts().bench() as bench:
        client = ready(bench)
        bench.fault("servo-stuck", drive="T1")
        throw_and_wait(bench, client, "T1", "right", 4000)
        bench.fault("servo-stuck", drive="T1", off=True)
        throw_and_wait(bench, client, "T1", "left", 4000)
        problems = wrongs(bench, ("rule",))
        return verdict(problems, "no spark; the frog was wrong for its road until the servo was free again")


def stuck_unbonded() -> Outcome:
    """A stuck servo under unbonded blades: the old blade still touches when the new feed comes on."""
    with two_turnouts().bench() as bench:
        client = ready(bench)
        bench.fault("servo-stuck", drive="T2")
        throw_and_wait(bench, client, "T2", "right", 15_000)
        return _cut_short(bench, client, 4, "the old blade still touched")


def reversed_unbonded() -> Outcome:
    """A servo that runs the other way: mounted the wrong way round."""
    with two_turnouts().bench() as bench:
        bench.fault("servo-reversed", drive="T2")
        client = ready(bench)
        bench.advance(12_000)
        return _cut_short(bench, client, 4, "the blades lay at the other rail")


def slow_within_lag() -> Outcome:
    """A servo a little slower than new: what `lag_ms` allows for."""
    with two_turnouts().bench() as bench:
        client = ready(bench)
        for drive in ("T1", "T2"):
            bench.fault("servo-slow", drive=drive, us_per_s=450)
        for to in ("right", "left", "right"):
            for drive in ("T1", "T2"):
                throw_and_wait(bench, client, drive, to, 3000)
        return verdict(wrongs(bench), "no spark: the on comes after the stated lag", 6)


def slow_beyond_lag() -> Outcome:
    """A servo far slower than its settings say: it has not arrived when the feed comes on."""
    with two_turnouts().bench() as bench:
        client = ready(bench)
        bench.fault("servo-slow", drive="T2", us_per_s=60)
        throw_and_wait(bench, client, "T2", "right", 15_000)
        return _cut_short(bench, client, 4, "the old blade let go too late")


def relay_bounces() -> Outcome:
    """Every contact bounces for 5 ms."""
    with two_turnouts().bench() as bench:
        client = ready(bench)
        for output in ("T1.F", "T2.F"):
            bench.fault("relay-timing", output=output, bounce_us=5000)
        for to in ("right", "left", "right"):
            for drive in ("T1", "T2"):
                throw_and_wait(bench, client, drive, to)
        bounced = len(bench.log.of("leg"))
        return verdict(wrongs(bench), f"no spark in {bounced} openings and closings", 6)


def relay_slow() -> Outcome:
    """A contact that needs 100 ms to let go where its maker says 15."""
    with two_turnouts().bench() as bench:
        client = ready(bench)
        for output in ("T1.F", "T2.F"):
            bench.fault("relay-timing", output=output, release_us=100_000)
        for drive in ("T2", "T1"):
            throw_and_wait(bench, client, drive, "right", 10_000)
        return _cut_short(bench, client, 4, "the old leg still held when the new one closed", latched=False)


def relay_welded() -> Outcome:
    """A contact that has welded: the other leg then makes a short."""
    with two_turnouts().bench() as bench:
        client = ready(bench)
        bench.fault("relay-welded", output="T1.F", side="B")
        throw_and_wait(bench, client, "T1", "right", 15_000)
        return _cut_short(bench, client, 4, "the welded leg held")


def relay_dead() -> Outcome:
    """A contact that never closes: the frog stays dead, nothing worse."""
    with two_turnouts().bench() as bench:
        client = ready(bench)
        bench.fault("relay-dead", output="T1.F", side="A")
        throw_and_wait(bench, client, "T1", "right")
        problems = wrongs(bench)
        wire = bench.wire_of("T1.F")
        if wire is not None:
            problems.append(f"the frog is fed by {wire}")
        return verdict(problems, "no spark; the frog was dead")


def reversed_in_mid_travel() -> Outcome:
    """Throws turned round at every tenth of their way."""
    with two_turnouts().bench() as bench:
        client = ready(bench)
        for tenth in range(1, 11):
            for drive in ("T1", "T2"):
                client.request("throw", {"drive": drive, "to": "right"}, busy_s=20)
                bench.advance(120 * tenth)
                throw_and_wait(bench, client, drive, "left", 3000)
        return verdict(wrongs(bench), "no spark, no dead wheel; every drive came home", 20)


def two_at_once() -> Outcome:
    """Both drives thrown in one breath, twenty times."""
    with two_turnouts().bench() as bench:
        client = ready(bench)
        for n in range(20):
            to = "right" if n % 2 == 0 else "left"
            client.request("throw", {"drive": "T1", "to": to})
            client.request("throw", {"drive": "T2", "to": to})
            bench.advance(4000)
        state = {d.name: d.at for d in client.state().drives}
        problems = wrongs(bench)
        if set(state.values()) != {"left"}:
            problems.append(f"at the end: {state}")
        return verdict(problems, "no spark; both arrived each time", 20)


def under_a_train() -> Outcome:
    """A throw under a standing loco, on either kind of turnout."""
    rig = two_turnouts()
    with rig.bench() as bench:
        client = ready(bench)
        for drive in ("T1", "T2"):
            bench.place_train(
                rig.train("standing", [f"{drive}:toe-left"], front_mm=150.0, speed_mm_per_s=0, run_off=False)
            )
            bench.advance(200)
            for to in ("right", "left"):
                throw_and_wait(bench, client, drive, to)
            bench.remove_train("standing")
        count, longest = shorts(bench)
        problems = [str(e) for e in bench.log.of("rule", "died", "restart", "supply-trip")]
        if longest > LONGEST_SPARK_MS:
            problems.append(f"a short lasted {longest:.1f} ms")
        return verdict(
            problems, f"{count} shorts through the loco's own wheels, the longest {longest:.1f} ms; nothing tripped", 4
        )


def wheels_at_all_speeds() -> Outcome:
    """Locos and metal-wheeled wagons over both turnouts, both roads, at 0.2 to 1 m/s."""
    from frogfeed.bench.route import LOCO, wagon

    rig = two_turnouts()
    times = 0
    with rig.bench() as bench:
        client = ready(bench)
        for to in ("left", "right"):
            for drive in ("T1", "T2"):
                throw_and_wait(bench, client, drive, to)
            for speed in (200, 400, 600, 800, 1000):
                for drive in ("T1", "T2"):
                    for road in (f"{drive}:toe-{to}", f"{drive}:{to}-toe"):
                        times += 1
                        train = rig.train("t", [road], [LOCO, wagon("van", 85.0)], speed_mm_per_s=speed)
                        bench.place_train(train)
                        bench.advance(1000 * 400 / speed)
        return verdict(
            wrongs(bench, ()) + [str(e) for e in bench.log.of("loco-lost")], "no spark, no dead wheel", times
        )


CASES = (
    Case("servo", "stuck, isolated frog", "no spark", stuck_bonded),
    Case("servo", "stuck, unbonded blades", "the short is cut off within 30 ms, latched and told", stuck_unbonded),
    Case(
        "servo", "reversed, unbonded blades", "the short is cut off within 30 ms, latched and told", reversed_unbonded
    ),
    Case("servo", "slower, within its stated lag", "no spark", slow_within_lag),
    Case("servo", "far slower than stated", "the short is cut off within 30 ms, latched and told", slow_beyond_lag),
    Case("servo", "thrown back in mid-travel, at every tenth of the way", "no spark", reversed_in_mid_travel),
    Case("servo", "two throws at once", "no spark", two_at_once),
    Case("relay", "bounces for 5 ms", "no spark", relay_bounces),
    Case("relay", "slow: lets go after 100 ms, not 15", "the short is cut off within 30 ms and counted", relay_slow),
    Case("relay", "welded", "the short is cut off within 30 ms, latched and told", relay_welded),
    Case("relay", "never closes", "no spark; the frog is dead", relay_dead),
    Case("train", "standing on a turnout that is thrown", "no short longer than 30 ms, no trip", under_a_train),
    Case(
        "train",
        "wheels bridging at 0.2 to 1 m/s",
        "no spark, no dead wheel, no loco without current",
        wheels_at_all_speeds,
    ),
)
