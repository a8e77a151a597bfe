from frogboard import events
from frogboard.feed import CHIP, STUCK
from frogboard.table import OFF, A, B

from documents import Rig, changeover, document, follow, latching, pair, servo, stretch_moves, strict_moves


def ready(doc):
    rig = Rig(doc, Rig(doc).known(0))
    rig.run(500)
    return rig


def watched(*feeds, **sensor):
    doc = document([servo()], list(feeds))
    spec = {"name": "C", "kind": "adc", "pin": 26, "na_per_count": 1000000, "trip_ma": 2000, "trip_ms": 30}
    spec["watches"] = list(range(len(feeds)))
    spec.update(sensor)
    doc["sensors"] = [spec]
    return doc


def plain(name="F", a=16, b=17, **more):
    return pair(name, a, b, follow(0), strict_moves(0), **more)


def amps(rig, ma, ms):
    rig.control.guard.reading[0] = ma
    rig.run(ms)


def short_behind_the_enable(rig, by, ticks):
    """Current flows whenever the enable is closed, and `by` sees it: (how often it closed, for how many ticks)."""
    closings = closed = 0
    was = True
    for _ in range(ticks):
        on = rig.control.groups[0].on
        if by == "sensor":
            rig.control.guard.reading[0] = 3000 if on else 0
        elif on:
            rig.control.guard.tripped[0] = 1
        rig.tick()
        closings += on and not was
        closed += on
        was = on
    return closings, closed


def test_a_sampled_trip_waits_its_time_and_a_spike_is_let_through():
    rig = ready(watched(plain()))
    amps(rig, 2500, 20)
    amps(rig, 0, 50)
    assert rig.leg(0) == B
    rig.control.guard.reading[0] = 2500
    began = rig.ms
    while rig.leg(0) == B:
        rig.tick()
    assert 30 <= rig.ms - began <= 40


def test_retries_are_bounded_and_the_cause_is_told():
    rig = ready(watched(plain(retries=2, retry_ms=500)))
    on = 0
    was = rig.leg(0)
    for _ in range(4000):
        rig.control.guard.reading[0] = 3000 if rig.leg(0) else 0
        rig.tick()
        on += rig.leg(0) and not was
        was = rig.leg(0)
    feed = rig.control.feeds[0]
    assert on == 2 and feed.latched and feed.trips == 3 and rig.leg(0) == OFF
    trips = [e for e in rig.seen if e[2] == events.TRIP]
    assert [e[5] for e in trips] == [1, 2, 3] and all(e[4] == 0 for e in trips)
    assert len([e for e in rig.seen if e[2] == events.FAULT]) == 1
    assert rig.control.orders.reset(0) == 1
    amps(rig, 0, 200)
    assert rig.leg(0) == B


def test_a_feed_that_ran_well_has_its_retries_back():
    rig = ready(watched(plain(retries=1, retry_ms=100)))
    for _ in range(4):
        amps(rig, 3000, 60)
        assert rig.leg(0) == OFF and not rig.control.feeds[0].latched
        amps(rig, 0, 12000)
        assert rig.leg(0) == B


def test_feeds_behind_one_sensor_are_tried_one_after_the_other():
    """So that the one with the fault trips alone, and the others run."""
    rig = ready(watched(plain("F", 16, 17, retry_ms=500), plain("G", 18, 19, retry_ms=500, retries=1)))
    for _ in range(3000):
        rig.control.guard.reading[0] = 3000 if rig.leg(1) else 0
        rig.tick()
    assert rig.control.feeds[1].latched
    amps(rig, 0, 5000)
    assert rig.leg(0) == B and rig.leg(1) == OFF


def test_relays_behind_one_enable_trip_together_whatever_saw_it():
    """Nobody can tell which of them carried the current: both are told, and neither is tried for ever."""
    group = {"name": "E", "out": {"pin": 21}, "release_ms": 15, "operate_ms": 10}
    trips = [{"name": "K", "input": {"pin": 20}, "watches": [0, 1]}]
    for by in ("sensor", "trip"):
        one = changeover("F", 16, "A", follow(0), strict_moves(0), enable=0, retries=2, retry_ms=300)
        other = changeover("G", 17, "A", follow(0), strict_moves(0), enable=0, retries=2, retry_ms=300)
        doc = watched(one, other)
        doc["groups"], doc["trips"] = [group], trips
        rig = ready(doc)
        closings, _ = short_behind_the_enable(rig, by, 4000)
        assert closings == 2, "tried again as often as they may be"
        for feed in rig.control.feeds:
            assert feed.latched and feed.trips == 3 and feed.told == OFF
        assert rig.control.orders.reset() == 2
        amps(rig, 0, 500)
        assert [feed.told for feed in rig.control.feeds] == [B, B]


def test_try_other_flips_once_first():
    rig = ready(watched(plain(try_other=True, bonded=True, retries=0)))
    amps(rig, 3000, 40)
    rig.control.guard.reading[0] = 0
    rig.run(100)
    assert rig.leg(0) == A and not rig.control.feeds[0].latched, "on the other side, by the dead time"
    rig.control.orders.throw(0, 1)
    rig.until_idle()
    assert rig.leg(0) == A, "a new setting: what its table says"
    amps(rig, 0, 11000)
    amps(rig, 3000, 40)
    amps(rig, 0, 100)
    assert rig.leg(0) == B
    amps(rig, 3000, 40)
    amps(rig, 0, 100)
    assert rig.leg(0) == OFF and rig.control.feeds[0].latched, "not back again"


def test_bare_outputs_stay_on_a_trip():
    moves = stretch_moves(0)
    for feed in (changeover("F", 16, "A", follow(0), moves), latching("F", 16, 17, follow(0), moves)):
        rig = ready(watched(feed))
        told = rig.control.feeds[0].out.told
        assert told == B
        amps(rig, 3000, 500)
        assert rig.control.feeds[0].out.told == B and rig.control.feeds[0].latched
        assert rig.control.orders.turn_all_off() == (0, 1)
        rig.run(200)
        assert rig.control.feeds[0].out.told == B


def test_turned_round_and_turned_off_just_after_it_came_on_a_drive_waits_for_the_contact():
    """In the one tick after an enable has closed, what it counted before that must not be believed."""
    group = {"name": "E", "out": {"pin": 21}, "release_ms": 15, "operate_ms": 10}
    trips = [{"name": "K", "input": {"pin": 20}, "watches": [0]}]
    for cut in ("all off", "trip"):
        feed = changeover("F", 16, "A", follow(0), strict_moves(0), enable=0)
        rig = ready(document([servo()], [feed], groups=[group], trips=trips))
        out, drive = rig.control.feeds[0].out, rig.control.drives[0]
        rig.control.orders.throw(0, 1)
        while not (out.told == A and rig.control.mover.busy):
            rig.tick()
        assert drive.phase == 4, "on again while the servo settles"
        rig.control.orders.throw(0, 0)
        if cut == "all off":
            rig.control.orders.turn_all_off()
        else:
            rig.control.guard.tripped[0] = 1
        off_ms = rig.ms
        while drive.pulse_us == 2000:
            rig.tick()
        assert rig.ms - off_ms >= 25, "only %d ms after it was told off" % (rig.ms - off_ms)


def test_after_a_reset_nothing_is_idle_until_the_feed_is_on_again():
    rig = ready(watched(pair("F", 16, 17, follow(0), strict_moves(0), retries=0)))
    amps(rig, 3000, 100)
    amps(rig, 0, 5000)
    assert rig.control.feeds[0].latched and rig.control.idle
    rig.control.orders.reset()
    assert not rig.control.idle, "before the first step as well"
    rig.until_idle(500)
    assert rig.leg(0) == B


def test_a_latching_output_is_pulsed_once_and_left_alone():
    rig = Rig(document([servo()], [latching("F", 16, 17, follow(0), stretch_moves(0))]))
    rig.run(300)
    assert not any(rig.control.lines), "no pulse while nothing is known"
    rig.control.orders.throw(0, 1)
    pulses = 0
    was = 0
    for _ in range(600):
        rig.tick()
        pulses += rig.control.lines[0] and not was
        was = rig.control.lines[0]
    assert pulses == 1 and not any(rig.control.lines) and rig.control.feeds[0].out.told == A


def test_a_sensor_that_does_not_answer_turns_off_what_it_protects():
    rig = ready(watched(plain()))
    amps(rig, -1, 400)
    assert rig.leg(0) == B
    amps(rig, -1, 300)
    assert rig.leg(0) == OFF and rig.control.feeds[0].fault == 2
    amps(rig, 0, 200)
    assert rig.leg(0) == B


def test_a_group_opens_for_one_and_closes_when_all_are_right():
    moves = strict_moves(0)
    one = changeover("F", 16, "A", follow(0), moves, enable=0)
    two = changeover("G", 17, "A", [{"when": [], "feed": "A"}], [], enable=0)
    doc = document(
        [servo()], [one, two], groups=[{"name": "E", "out": {"pin": 20}, "release_ms": 15, "operate_ms": 10}]
    )
    rig = ready(doc)
    assert [f.out.told for f in rig.control.feeds] == [B, A]
    rig.control.orders.throw(0, 1)
    moved = False
    while not rig.control.idle:
        rig.tick()
        enable = rig.control.lines[2]
        if rig.control.drives[0].phase in (2, 3):
            assert not enable
            moved = True
    assert moved and [f.out.told for f in rig.control.feeds] == [A, A]


ENABLE = {"name": "E", "out": {"pin": 21}, "release_ms": 15, "operate_ms": 10}
TRIP = {"name": "K", "input": {"pin": 20}, "watches": [0, 1]}


def two_pairs(**more):
    """Two pairs behind one enable, watched by a sensor and by a trip input."""
    doc = watched(plain("F", 16, 17, enable=0, **more), plain("G", 18, 19, enable=0, **more))
    doc["groups"], doc["trips"] = [ENABLE], [TRIP]
    return doc


def faults(rig):
    return [(e[3], e[4]) for e in rig.seen if e[2] == events.FAULT]


def test_a_leg_that_never_lets_go_keeps_the_enable_open_and_is_told():
    """Whoever sees the current: it flows wherever the enable is closed, and no feed is to blame any more."""
    for by in ("sensor", "trip"):
        rig = ready(two_pairs(retries=1, retry_ms=200))
        closings, closed = short_behind_the_enable(rig, by, 6000)
        assert closings < 12, "%s: closed again %d times" % (by, closings)
        assert not rig.control.groups[0].on and closed * 5 < 3000
        assert [f.fault for f in rig.control.feeds] == [STUCK, STUCK]
        assert faults(rig)[-2:] == [(0, STUCK), (1, STUCK)]
        assert rig.control.idle, "nothing more will happen by itself"
        assert rig.control.orders.reset() == 2
        amps(rig, 0, 500)
        assert rig.control.groups[0].on and [rig.leg(0), rig.leg(1)] == [B, B]


def test_a_stray_trip_now_and_then_is_forgiven():
    rig = ready(two_pairs())
    group = rig.control.groups[0]
    rig.control.orders.turn_all_off()
    for _ in range(6):
        rig.control.guard.tripped[0] = 1
        rig.tick()
        assert not group.on and not rig.control.idle, "held open for a while"
        rig.run(200)
        assert group.on and not group.stuck
        rig.run(12000)
        assert rig.control.idle
    assert not faults(rig)


def test_a_chip_that_comes_back_brings_no_retries_back():
    rig = ready(watched(plain(retries=1, retry_ms=200)))
    feed, guard = rig.control.feeds[0], rig.control.guard
    on = 0
    was = rig.leg(0)
    for n in range(6000):
        guard.reading[0] = 3000 if rig.leg(0) else 0
        if n % 200 == 100:
            guard.chip(feed, False)
        elif n % 200 == 120:
            guard.chip(feed, True)
        rig.tick()
        on += rig.leg(0) and not was
        was = rig.leg(0)
    assert on <= 2 and feed.latched and feed.fault == 1, "on %d times" % on
    guard.chip(feed, False)
    rig.run(100)
    assert feed.fault == CHIP
    guard.chip(feed, True)
    rig.run(1000)
    assert feed.fault == 1 and feed.latched and rig.leg(0) == OFF


def test_a_sensor_that_comes_back_brings_no_retries_back():
    rig = ready(watched(plain(retries=1, retry_ms=200)))
    feed, guard = rig.control.feeds[0], rig.control.guard
    on = 0
    was = rig.leg(0)
    for n in range(8000):
        guard.reading[0] = -1 if n % 300 > 180 else 3000 if rig.leg(0) else 0
        rig.tick()
        on += rig.leg(0) and not was
        was = rig.leg(0)
    assert on < 40 and feed.latched and feed.fault == 1, "on %d times" % on


def test_relays_behind_one_enable_are_tried_again_together():
    doc = watched(*[changeover("F%d" % i, 16 + i, "A", follow(0), strict_moves(0), enable=0) for i in range(3)])
    doc["groups"] = [ENABLE]
    for feed in doc["feeds"]:
        feed["retry_ms"] = 300
    rig = ready(doc)
    amps(rig, 3000, 40)
    began = rig.ms
    rig.control.guard.reading[0] = 0
    while not all(f.told for f in rig.control.feeds):
        rig.tick()
    assert rig.ms - began < 450, "one after the other would come on no sooner, for they share the enable"
    assert [f.trips for f in rig.control.feeds] == [1, 1, 1]


def test_of_several_one_at_a_time_is_tried_on_the_other_side():
    more = {"try_other": True, "bonded": True, "retries": 0, "retry_ms": 300}
    rig = ready(watched(*[plain("F%d" % i, 16 + 2 * i, 17 + 2 * i, **more) for i in range(3)]))
    amps(rig, 3000, 35)
    amps(rig, 0, 60)
    assert [f.flipped for f in rig.control.feeds] == [True, False, False]
    amps(rig, 0, 1200)
    assert [rig.leg(i) for i in range(3)] == [A, B, B], "the others come on again as they were"
    assert not any(f.latched for f in rig.control.feeds)
    amps(rig, 3000, 35)
    amps(rig, 0, 60)
    assert [f.flipped for f in rig.control.feeds] == [False, True, False], "its turn is over: the next one's"
    for _ in range(6000):
        rig.control.guard.reading[0] = 3000 if rig.leg(2) else 0
        rig.tick()
    assert rig.control.feeds[2].latched and rig.leg(2) == OFF


def test_two_trips_in_one_tick_that_share_an_enable_are_both_told():
    one = changeover("F", 16, "A", follow(0), strict_moves(0), enable=0)
    other = changeover("G", 17, "A", follow(0), strict_moves(0), enable=0)
    doc = document([servo()], [one, other], groups=[ENABLE])
    doc["trips"] = [
        {"name": "K", "input": {"pin": 20}, "watches": [0]},
        {"name": "L", "input": {"pin": 22}, "watches": [1]},
    ]
    rig = ready(doc)
    rig.control.guard.tripped[0] = rig.control.guard.tripped[1] = 1
    rig.tick()
    assert [f.trips for f in rig.control.feeds] == [1, 1]


def test_a_pair_behind_an_open_enable_is_told_as_off():
    """A relay beside it is thrown, and the enable opens for it."""
    drives = [servo("T1", 10), servo("T2", 11)]
    relay = changeover("F", 16, "A", follow(0), strict_moves(0), enable=0)
    doc = document(drives, [relay, pair("G", 18, 19, follow(1), strict_moves(1), enable=0)], groups=[ENABLE])
    rig = Rig(doc, Rig(doc).known(0))
    rig.run(500)
    feed = rig.control.feeds[1]
    assert feed.told == B
    rig.control.orders.throw(0, 1)
    seen = set()
    for _ in range(600):
        rig.tick()
        assert feed.told == (B if rig.control.groups[0].on else OFF)
        seen.add(feed.told)
    assert seen == {OFF, B} and feed.told == B


def test_a_pair_whose_pins_a_trip_cleared_behind_an_open_enable_comes_on_again():
    """The interrupt clears its pins though it carried nothing: it has to know that, or it is told on and stays dead."""
    group = {"name": "E", "out": {"pin": 21}, "release_ms": 15, "operate_ms": 10}
    trips = [{"name": "K", "input": {"pin": 20}, "watches": [0]}]
    one = plain(enable=0)
    other = changeover("G", 18, "A", follow(1), strict_moves(1), enable=0)
    doc = document([servo("D1", 0), servo("D2", 1)], [one, other], groups=[group], trips=trips)
    rig = ready(doc)
    rig.control.orders.throw(1, 1)
    while rig.control.groups[0].on:
        rig.tick()
    rig.run(30)
    assert rig.leg(0) == B and rig.control.feeds[0].told == OFF
    for line in rig.control.feed_lines(0):
        rig.control.lines[line] = 0
    rig.control.guard.tripped[0] = 1
    rig.until_idle()
    assert rig.leg(0) == B and rig.control.feeds[0].told == B and rig.control.feeds[0].trips == 0


def test_current_through_an_enable_while_a_chip_is_silent_is_told_when_that_is_back():
    feed = plain(enable=0)
    doc = watched(feed, trip_ms=0)
    doc["groups"] = [{"name": "E", "out": {"pin": 21}, "release_ms": 15, "operate_ms": 10}]
    rig = ready(doc)
    rig.control.guard.chip(rig.control.feeds[0], False)
    for _ in range(2000):
        rig.control.guard.reading[0] = 3000 if rig.control.groups[0].on else 0
        rig.tick()
    assert rig.control.groups[0].stuck
    rig.seen.clear()
    rig.control.guard.chip(rig.control.feeds[0], True)
    amps(rig, 0, 100)
    assert [e[2:5] for e in rig.seen if e[2] == events.FAULT] == [(events.FAULT, 0, 4)], "why it is still off"
    amps(rig, 0, 3000)
    assert rig.control.feeds[0].told == OFF
    assert rig.control.orders.reset() == 1
    amps(rig, 0, 300)
    assert rig.control.feeds[0].told == B


def test_nothing_is_idle_while_a_reading_is_over_its_limit():
    """It trips as soon as something is on again, and counts time until then."""
    rig = ready(watched(plain(retries=0), trip_ms=20))
    for _ in range(200):
        rig.control.guard.reading[0] = 3000
        rig.tick()
        assert not rig.control.idle
    assert rig.control.feeds[0].latched
    amps(rig, 0, 100)
    assert rig.control.idle


def test_a_trip_input_that_never_lets_go_is_told():
    rig = ready(two_pairs(retries=2, retry_ms=300))
    for _ in range(1200):
        rig.control.guard.tripped[0] = 1
        rig.tick()
    assert [f.fault for f in rig.control.feeds] == [STUCK, STUCK]
    assert len([f for f in faults(rig) if f[1] == STUCK]) == 2, "once for each"
    rig.run(1000)
    assert rig.control.orders.reset() == 2
    amps(rig, 0, 500)
    assert [rig.leg(0), rig.leg(1)] == [B, B]


def test_a_trip_input_that_never_lets_go_is_told_without_an_enable_too():
    doc = watched(plain("F", 16, 17, retry_ms=60000))
    doc["trips"] = [{"name": "K", "input": {"pin": 20}, "watches": [0]}]
    rig = ready(doc)
    for _ in range(1200):
        rig.control.guard.tripped[0] = 1
        rig.tick()
    assert faults(rig) == [(0, STUCK)] and rig.leg(0) == OFF


def test_a_trip_that_a_late_tick_sees_turns_off_all_the_same():
    """A tick later than the time until the retry: counted in the same step, the enable would not even open."""
    feed = changeover("F", 16, "A", follow(0), strict_moves(0), enable=0, retries=1, retry_ms=100)
    doc = watched(feed, trip_ms=0)
    doc["groups"] = [{"name": "E", "out": {"pin": 21}, "release_ms": 15, "operate_ms": 10}]
    rig = ready(doc)
    assert rig.control.groups[0].on
    rig.control.guard.reading[0] = 3000
    rig.tick(200)
    assert not rig.control.groups[0].on and rig.control.feeds[0].told == OFF
