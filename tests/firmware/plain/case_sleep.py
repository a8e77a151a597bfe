"""A feed sleeps while nothing would change: what comes out is the same, tick by tick, as if none ever slept."""

from case_fuzz import Random

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
    """Four servos and a drive moved by hand; feeds of every kind, one on two drives and two on one drive."""
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
    ]
    return document(
        drives + [hand("D4", [0, 1])],
        feeds,
        max_moving=3,
        groups=[{"name": "E", "out": {"pin": 10}, "release_ms": 15, "operate_ms": 10}],
        inputs=[{"name": "I%d" % i, "pin": 11 + i} for i in range(2)],
        trips=[{"name": "K", "input": {"pin": 14}, "watches": [0, 1, 2, 3]}],
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
        control.guard.tripped[0] = 1
    elif what == 13:
        control.orders.turn_all_off()
    elif what == 14:
        control.orders.reset()
    elif what == 15:
        control.orders.reset(random.below(7))
    elif what < 20:
        control.inputs.raw[d & 1] = to
    elif what == 20:
        if control.drives[d].phase > 1:
            (control.drives[d].stall, control.drives[d].disturb)[to]()
    elif what == 21:
        control.guard.chip(control.feeds[5], to == 1)
    elif what == 22 and not control.mover.busy:
        control.drives[d].ends[to] = control.doc["drives"][d]["pulse_us"][to] + 10 * random.below(10) - 50


def test_what_comes_out_is_the_same_as_if_no_feed_ever_slept():
    slept = 0
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
                slept += sum(not feed.active and feed.going is False for feed in one.control.feeds)
                assert one.control.lines == other.control.lines, "seed %d at %d ms" % (seed, one.ms)
                for mine, awake in zip(one.control.drives, other.control.drives):
                    assert (mine.pulse_us, mine.at, mine.phase) == (awake.pulse_us, awake.at, awake.phase)
        assert one.seen == other.seen, "and so are the events"
    assert slept > 1000
    print("  %d feeds' ticks slept through" % slept)


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
