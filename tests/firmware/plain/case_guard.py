from frogboard import events
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
        closed = 0
        was = True
        for _ in range(4000):
            on = rig.control.groups[0].on
            if by == "sensor":
                rig.control.guard.reading[0] = 3000 if on else 0
            elif on:
                rig.control.guard.tripped[0] = 1
            rig.tick()
            closed += on and not was
            was = on
        assert closed == 2, "tried again as often as they may be"
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
