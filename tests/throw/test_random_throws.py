"""Ten thousand random throws: the firmware, told what the plan says, never joins both polarities through a blade."""

from __future__ import annotations

import math

import numpy as np
from hypothesis import HealthCheck, assume, event, given, settings
from hypothesis import strategies as st

from frogfeed.throw.linkage import Linkage
from frogfeed.throw.motion import Motion
from frogfeed.throw.window import STEPS, TICKS, Contacts, Refused, Window, decide, linkage_faults, stretch
from tests.throw import simulate as sim

QUIET = settings(deadline=None, max_examples=10_000, suppress_health_check=list(HealthCheck))


@st.composite
def linkages(draw: st.DrawFn) -> Linkage:
    """Linkages that reach their throw, rising and falling, with any play and clearance."""
    throw = draw(st.floats(0.8, 4.0))
    horn = draw(st.floats(4.0, 20.0))
    ratio = draw(st.floats(0.2, 1.5))
    lost = draw(st.floats(0.0, 1.2))
    clear = draw(st.floats(0.02, 0.4))
    us_per_degree = draw(st.floats(6.0, 14.0))
    most = horn * ratio * math.sin(math.radians(79))
    least = (throw + lost) / 2
    assume(least * 1.002 < most)
    reach = draw(st.floats(least * 1.001, most))
    half = math.degrees(math.asin(reach / (horn * ratio))) * us_per_degree
    half_us = math.ceil(half)
    assume(5 < half_us < 900)
    middle = draw(st.integers(1400, 1600))
    ends = (middle - half_us, middle + half_us + draw(st.integers(0, 1)))
    return Linkage(ends if draw(st.booleans()) else ends[::-1], us_per_degree, horn, ratio, throw, lost, clear)


contacts_times = st.builds(
    lambda kind, operate, release, bounce, dead: Contacts(kind, kind == "pair", operate, release, bounce, dead),
    st.sampled_from(["pair", "latching"]),
    st.floats(0.0, 25.0),
    st.floats(0.0, 30.0),
    st.floats(0.0, 8.0),
    st.floats(0.0, 40.0),
)
motions = st.builds(Motion, st.integers(300, 6000).map(float), st.integers(0, 200).map(float))
unit = st.floats(0.0, 1.0)


def blades(link: Linkage, play: float, late_ms: float, touch: float) -> sim.Blades:
    return sim.Blades(
        link.pulse_us,
        link.us_per_degree,
        link.horn_mm,
        link.ratio,
        link.throw_mm,
        link.lost_motion_mm,
        touch,
        play,
        late_ms,
    )


def joined(
    link: Linkage,
    motion: Motion,
    true: sim.Relay,
    worst: sim.Relay,
    window: Window,
    kind: str,
    late: float,
    bonded: bool,
    dead_ms: int,
) -> bool:
    """Whether, at any instant, one conductor may be joined to both bus wires: by blades of any play, and contacts."""
    b = blades(link, 0.0, late, link.clearance_mm)
    move = window.move
    told = {
        "off_us": move.off_us,
        "off_lead_ms": move.off_lead_ms,
        "on_us": move.on_us,
        "on_lag_ms": move.on_lag_ms,
    }
    start_move = {"off_us": 0, "off_lead_ms": 0, "on_us": 0, "on_lag_ms": 0}
    drive, feed = sim.specs(
        b,
        round(motion.travel_ms),
        round(motion.lag_ms),
        {window.to: told, 1 - window.to: start_move},
        kind,
        worst,
        dead_ms,
    )
    pulses, line_a, line_b = sim.run(drive, feed, window.to)
    at_a = np.zeros(len(sim.stretched(pulses)), bool)
    at_b = at_a.copy()
    for play in () if bonded else (-1.0, 1.0):
        zero, one = sim.touches(blades(link, play, late, link.clearance_mm), pulses)
        at_a |= zero
        at_b |= one
    tell_a, tell_b = sim.stretched(line_a), sim.stretched(line_b)
    if kind == "latching":
        side = np.full(len(tell_a), window.to == 1)
        first = np.argmax(tell_a if window.to == 0 else tell_b)
        side[first:] = window.to == 0
        tell_a, tell_b = side, ~side
        true = sim.Relay(0, max(true.operate_ms, true.release_ms), true.bounce_ms)
    may_a, _ = sim.contact(tell_a, true, closed=window.to == 1)
    may_b, _ = sim.contact(tell_b, true, closed=window.to == 0)
    bad = (at_a & at_b) | (at_a & may_b) | (at_b & may_a)
    if kind == "pair":  # a latching contact breaks before it makes by itself
        bad |= may_a & may_b
    return bool(np.any(bad))


@QUIET
@given(linkages(), motions, contacts_times, st.integers(0, 1), unit, unit, st.sampled_from([False, False, True]))
def test_no_throw_joins_both_polarities(
    link: Linkage, motion: Motion, contacts: Contacts, to: int, late: float, quick: float, bonded: bool
) -> None:
    assume(not linkage_faults(link, (300, 2700), 0.0))
    outcome = decide(link, motion, contacts, bonded=bonded, to=to)
    event(f"{contacts.kind}, {'bonded, ' if bonded else ''}{type(outcome).__name__}")
    worst = sim.Relay(contacts.operate_ms, contacts.release_ms, contacts.bounce_ms)
    true = sim.Relay(worst.operate_ms * quick, worst.release_ms * quick, worst.bounce_ms * quick)
    if isinstance(outcome, Window):
        assert not joined(
            link, motion, true, worst, outcome, contacts.kind, late * motion.behind_ms, bonded, contacts.apart_ms
        )
    else:
        assert sampled_margin_ms(link, motion, contacts, outcome) < 1.0


def sampled_margin_ms(link: Linkage, motion: Motion, contacts: Contacts, refused: Refused) -> float:
    """The most time by which any plan would fit, found by trying every pulse; below 0 where none does.

    Both blades are followed step by step through the throw, at every extreme of play.
    """
    start, end = link.pulse_us[1 - refused.to], link.pulse_us[refused.to]
    t = np.arange(0.0, motion.travel_ms + 0.25, 0.25)
    u = t / motion.travel_ms
    eased = start + (end - start) * (3 * u**2 - 2 * u**3)
    sent = np.floor(eased + 1e-9)
    zero, one = np.zeros(len(t), bool), np.zeros(len(t), bool)
    for play in (-1.0, 1.0):
        at = sim.blade_mm(blades(link, play, 0.0, 0.0), sent)
        zero |= at <= link.clearance_mm
        one |= at >= link.throw_mm - link.clearance_mm
    leaving, arriving = (zero, one) if refused.to == 1 else (one, zero)
    if np.any(leaving & arriving) or not np.any(arriving):
        return -math.inf
    freed = t[np.flatnonzero(leaving)[-1]] + motion.behind_ms
    touched = t[np.flatnonzero(arriving)[0]]
    transfer = max(contacts.operate_ms, contacts.release_ms) + contacts.bounce_ms
    return touched - freed - transfer - TICKS * motion.tick_ms - motion.travel_ms / STEPS


@settings(deadline=None, max_examples=400, suppress_health_check=list(HealthCheck))
@given(linkages(), motions, st.integers(0, 1))
def test_the_stretch_is_within_one_percent_of_the_sampled_one(link: Linkage, motion: Motion, to: int) -> None:
    assume(not linkage_faults(link, (300, 2700), 0.0) and link.open_mm > 0.05)
    given_ = stretch(link, motion, to)
    start, end = link.pulse_us[1 - to], link.pulse_us[to]
    u = np.linspace(0.0, 1.0, 200_001)
    pulse = start + (end - start) * (3 * u**2 - 2 * u**3)
    zero = np.zeros(len(u), bool)
    one = zero.copy()
    for play in (-1.0, 1.0):
        at = sim.blade_mm(blades(link, play, 0.0, 0.0), pulse)
        zero |= at <= link.clearance_mm
        one |= at >= link.throw_mm - link.clearance_mm
    leaving, arriving = (zero, one) if to == 1 else (one, zero)
    sampled = (u[np.flatnonzero(arriving)[0]] - u[np.flatnonzero(leaving)[-1]]) * motion.travel_ms
    assert abs(given_.ms + motion.behind_ms - sampled) <= 0.01 * sampled + motion.travel_ms / 100_000
