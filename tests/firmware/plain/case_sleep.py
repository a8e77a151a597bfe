"""A feed sleeps while nothing would change: what comes out is the same, tick by tick, as if none ever slept."""

from case_fuzz import Random
from frogboard import events
from frogboard.table import OFF, A, B

from documents import (
    Rig,
    changeover,
    document,
    follow,
    hand,
    latching,
    middle_moves,
    pair,
    servo,
    stretch_moves,
    strict_moves,
)


def yard(rest):
    """Four servos and a drive moved by hand; feeds of every kind, one on two drives and two on one drive, three behind
    one enable and a pair behind another.
    """
    drives = [servo("D%d" % i, i, ((1000, 2000), (2000, 1000))[i & 1], rest=rest) for i in range(4)]
    both = [{"when": [[0, 1], [1, 0]], "feed": "A"}, {"when": [[0, 0]], "feed": "B"}]
    far = (2000, 1000)
    feeds = [
        pair("F0", 16, 17, follow(0), strict_moves(0), retries=1, retry_ms=300),
        pair("F1", 18, 19, both, middle_moves(0) + middle_moves(1, far), bonded=True, try_other=True, retry_ms=300),
        changeover("F2", 20, "A", follow(1), stretch_moves(1, far)),
        latching("F3", 21, 22, follow(2), middle_moves(2), bonded=True),
        changeover("F4", 26, "B", follow(3), strict_moves(3, far), enable=0),
        pair("F5", 27, 28, follow(4), [], retries=0),
        pair("F6", 8, 9, [{"when": [], "feed": "A"}], []),
        latching("F7", 4, 5, follow(2), strict_moves(2), enable=0, retries=1, retry_ms=300),
        changeover("F8", 6, "A", both, middle_moves(0) + middle_moves(1, far), enable=0, bonded=True, try_other=True),
        pair("F9", 7, 13, follow(0), strict_moves(0), enable=1),
    ]
    return document(
        drives + [hand("D4", [0, 1])],
        feeds,
        max_moving=3,
        groups=[{"name": "E%d" % i, "out": {"pin": 10 + 5 * i}, "release_ms": 15, "operate_ms": 10} for i in range(2)],
        inputs=[{"name": "I%d" % i, "pin": 11 + i} for i in range(2)],
        trips=[
            {"name": "K0", "input": {"pin": 14}, "watches": [0, 1, 2, 3]},
            {"name": "K1", "input": {"pin": 23}, "watches": [7, 8]},
        ],
    )


def act(rig, random):
    """Something happens, or nothing: the same to every rig that is given the same numbers."""
    control = rig.control
    what = random.below(40)
    d, to = random.below(4), random.below(2)
    if what < 12:
        if control.mover.forbidden(d) is None:
            control.orders.throw(d, to)
    elif what == 12:
        control.guard.tripped[to] = 1
    elif what == 13:
        control.orders.turn_all_off()
    elif what == 14:
        control.orders.reset()
    elif what == 15:
        control.orders.reset(random.below(len(control.feeds)))
    elif what < 20:
        control.inputs.raw[d & 1] = to
    elif what == 20:
        if control.drives[d].phase > 1:
            (control.drives[d].stall, control.drives[d].disturb)[to]()
    elif what == 21:
        control.guard.chip(control.feeds[5 + d], to == 1)
    elif what == 22 and not control.mover.busy:
        control.drives[d].ends[to] = control.doc["drives"][d]["pulse_us"][to] + 10 * random.below(10) - 50


def test_what_comes_out_is_the_same_as_if_no_feed_ever_slept():
    slept = behind = 0
    for seed in range(6):
        doc = yard(("hold", "release")[seed & 1])
        known = Rig(doc).known(0) if seed % 3 else {}
        one, other = Rig(doc, known), Rig(doc, known)
        numbers = Random(seed), Random(seed)
        wait = Random(seed + 100)
        for _ in range(120):
            act(one, numbers[0])
            act(other, numbers[1])
            for _ in range(1 + wait.below(60)):
                for feed in other.control.feeds:
                    feed.stir()
                dt_ms = (5, 5, 5, 6, 12)[wait.below(5)]
                one.tick(dt_ms)
                other.tick(dt_ms)
                asleep = [feed.out.group for feed in one.control.feeds if not feed.active and not feed.going]
                slept += len(asleep)
                behind += sum(group is not None for group in asleep)
                assert one.control.lines == other.control.lines, "seed %d at %d ms" % (seed, one.ms)
                for mine, awake in zip(one.control.drives, other.control.drives):
                    assert (mine.pulse_us, mine.at, mine.phase) == (awake.pulse_us, awake.at, awake.phase)
        assert one.seen == other.seen, "and so are the events"
    assert slept > 1000 and behind > 1000
    print("  %d feeds' ticks slept through, %d of them behind an enable" % (slept, behind))


def shared(known=0):
    """Three relays behind one enable, two of them on a servo each; asleep. F2 is always at A."""
    drives = [servo("D%d" % i, i) for i in range(2)]
    feeds = [
        changeover("F0", 16, "A", follow(0), strict_moves(0), enable=0, retries=1, retry_ms=400),
        latching("F1", 17, 18, follow(1), strict_moves(1), enable=0),
        changeover("F2", 19, "A", [{"when": [], "feed": "A"}], [], enable=0),
    ]
    doc = document(
        drives,
        feeds,
        groups=[{"name": "E", "out": {"pin": 20}, "release_ms": 15, "operate_ms": 10}],
        trips=[{"name": "K", "input": {"pin": 21}, "watches": [0]}],
    )
    rig = Rig(doc, Rig(doc).known(known))
    rig.run(500)
    assert told(rig) == [B, B, A] and asleep(rig) == [0, 1, 2]
    rig.seen.clear()
    return rig


def told(rig):
    return [feed.out.told for feed in rig.control.feeds]


def asleep(rig):
    return [i for i, feed in enumerate(rig.control.feeds) if not feed.active]


def said(rig):
    """(ms, feed, what) of every word about a feed, in order."""
    return [(e[1], e[3], e[4]) for e in rig.seen if e[2] == events.FEED]


def test_a_member_that_opens_the_enable_wakes_those_asleep_behind_it():
    rig = shared()
    rig.control.orders.throw(0, 1)
    while rig.control.groups[0].on:
        rig.tick()
    assert asleep(rig) == [] and said(rig) == [(rig.ms, i, OFF) for i in range(3)], "told with the tick that opened it"
    while not rig.control.groups[0].on:
        assert 1 not in asleep(rig) and 2 not in asleep(rig), "they wait for it to close"
        rig.tick()
    assert said(rig)[3:] == [(rig.ms, 0, A), (rig.ms, 1, B), (rig.ms, 2, A)]
    rig.until_idle()
    rig.tick()
    assert asleep(rig) == [0, 1, 2] and told(rig) == [A, B, A]


def test_a_trip_wakes_all_that_are_asleep_behind_its_enable():
    rig = shared()
    rig.control.guard.tripped[0] = 1
    rig.tick()
    assert told(rig) == [OFF, OFF, OFF] and said(rig) == [(rig.ms, i, OFF) for i in range(3)]
    assert [feed.trips for feed in rig.control.feeds] == [1, 0, 0]
    rig.run(300)
    assert asleep(rig) == [] and told(rig) == [OFF, OFF, OFF], "they wait until it is tried again"
    rig.run(200)
    assert told(rig) == [B, B, A] and asleep(rig) == [1, 2], "the one that tripped counts until it has run well"
    rig.run(11000)
    assert asleep(rig) == [0, 1, 2]


def test_asleep_while_all_is_off_and_awake_with_the_light():
    rig = shared()
    assert rig.control.orders.turn_all_off() == (3, 0)
    assert not rig.control.lines[rig.control.groups[0].line], "before any tick"
    rig.run(300)
    assert asleep(rig) == [0, 1, 2] and told(rig) == [OFF, OFF, OFF] and len(said(rig)) == 3
    rig.control.orders.undo_all_off()
    rig.run(20)
    assert told(rig) == [B, B, A]
    rig.run(300)
    assert asleep(rig) == [0, 1, 2] and len(said(rig)) == 6


def test_a_contact_that_was_told_to_move_just_before_all_off_has_had_its_time_when_the_light_comes():
    rig = shared()
    rig.control.orders.throw(0, 1)
    coil = rig.control.lines[0]
    while rig.control.lines[0] == coil:
        rig.tick()
    rig.control.orders.turn_all_off()
    rig.run(300)
    assert asleep(rig) == [0, 1, 2]
    rig.control.orders.undo_all_off()
    rig.tick()
    assert told(rig) == [A, B, A]


def test_a_latched_feed_sleeps_while_its_enable_stays_open_and_its_drive_may_be_thrown():
    rig = shared()
    rig.control.guard.latch(rig.control.feeds[0], 2)
    rig.run(300)
    assert asleep(rig) == [0] and told(rig) == [OFF, OFF, OFF], "the others wait for the enable"
    rig.control.orders.throw(0, 1)
    rig.run(2000)
    assert rig.control.drives[0].at == 1 and asleep(rig) == [0]
    rig.control.orders.reset(0)
    rig.run(300)
    assert told(rig) == [A, B, A] and asleep(rig) == [0, 1, 2]


def test_asleep_in_mid_travel_and_awake_at_its_point():
    doc = document([servo()], [pair("F", 16, 17, follow(0), middle_moves(0, off=0.3, on=0.7))])
    rig = Rig(doc, Rig(doc).known(0))
    rig.run(500)
    feed, drive = rig.control.feeds[0], rig.control.drives[0]
    assert not feed.active
    rig.control.orders.throw(0, 1)
    asleep = []
    while not rig.control.idle:
        assert rig.ms < 5000, "does not come to rest"
        rig.tick()
        if drive.phase == 3 and not feed.active:
            asleep.append(drive.pulse_us)
    before = [us for us in asleep if us < 1300]
    after = [us for us in asleep if 1300 <= us < 1700]
    assert before and after and not [us for us in asleep if us == 1300]
    assert rig.control.feeds[0].out.told == 1
