"""Feeds that do not go off, because they can't, or are flipped: no drive waits for them for good."""

from frogboard import events
from frogboard.drive import LONGEST_WAIT_MS, MOVE
from frogboard.reason import Refused
from frogboard.table import OFF, UNKNOWN, A, B

from documents import (
    Rig,
    changeover,
    document,
    follow,
    latching,
    middle_moves,
    pair,
    servo,
    stretch_moves,
    strict_moves,
)

TRIPS = [{"name": "K", "input": {"pin": 20}, "watches": [0]}]


def ready(doc, setting=0):
    rig = Rig(doc, Rig(doc).known(setting))
    rig.run(500)
    return rig


def at(rig):
    return [d.at for d in rig.control.drives]


def bare(kind, rest, moves, bonded):
    if kind == "latching":
        return latching("T1.F", 16, 17, follow(0), moves, bonded=bonded)
    return changeover("T1.F", 16, rest, follow(0), moves, bonded=bonded)


BARE = (("changeover", "A"), ("changeover", "B"), ("latching", ""))


def beside(kind, rest, moves, bonded):
    """A bare output, and a turnout with a pair that has nothing to do with it."""
    other = pair("T2.F", 18, 19, follow(1), strict_moves(1))
    return ready(document([servo("D1", 0), servo("D2", 1)], [bare(kind, rest, moves, bonded), other], trips=TRIPS))


def freeze(rig, how):
    if how == "trip":
        rig.control.guard.tripped[0] = 1
    else:
        rig.control.orders.turn_all_off()
    rig.run(100)


def held(forms):
    """Every kind of output without an off, either way of holding it, and every form of its moves."""
    return [(kind, rest, how, moves) for kind, rest in BARE for how in ("trip", "all off") for moves in forms]


def test_a_tripped_output_with_bonded_blades_stays_at_the_trip_and_follows_the_next_throw():
    """It can't be off; held back, it would stand against what is known once its drive has been thrown."""
    at_the_ends = strict_moves(0, lead_ms=0)
    for kind, rest, how, moves in held((middle_moves(0, off=0.5, on=0.5), stretch_moves(0), at_the_ends)):
        rig = beside(kind, rest, moves, True)
        assert rig.control.feeds[0].out.told == B
        freeze(rig, how)
        assert rig.control.feeds[0].out.told == B, "never moves on a trip"
        for to in (1, 0, 1, 0, 1):
            rig.control.orders.throw(0, to)
            rig.control.orders.throw(1, to)
            rig.until_idle(5000)
            assert at(rig) == [to, to], "%s resting at %s, %s, %s" % (kind, rest, how, moves)
            assert rig.control.feeds[0].out.told == (A if to else B), "stands against what is known"
        rig.control.orders.reset()
        rig.until_idle(1000)
        assert rig.control.feeds[0].out.told == A


def test_a_held_output_with_blades_that_touch_refuses_the_throw_and_says_why():
    for kind, rest, how, moves in held((middle_moves(0, off=0.5, on=0.5), stretch_moves(0))):
        rig = beside(kind, rest, moves, False)
        freeze(rig, how)
        for ask in (lambda o: o.throw(0, 1), lambda o: o.throw(0, 0), lambda o: o.trim(0, 0, 1050)):
            try:
                ask(rig.control.orders)
                raise AssertionError("not refused")
            except Refused as refused:
                assert refused.path == "D1" and "T1.F" in refused.reason and "reset" in refused.reason
        assert rig.control.drives[0].ends[0] == 1000
        rig.control.orders.throw(1, 1)
        rig.until_idle(3000)
        assert at(rig) == [0, 1] and rig.control.feeds[0].out.told == B
        rig.control.orders.reset()
        rig.control.orders.throw(0, 1)
        rig.until_idle(3000)
        assert at(rig) == [1, 1] and rig.control.feeds[0].out.told == A


def test_held_while_the_throw_waits_in_the_queue_it_is_given_up_and_told():
    rig = beside("changeover", "A", stretch_moves(0), False)
    rig.control.orders.throw(0, 1)
    rig.control.guard.tripped[0] = 1
    rig.run(LONGEST_WAIT_MS - 200)
    assert rig.control.mover.busy and rig.control.drives[0].pulse_us == 1000
    rig.until_idle(1000)
    assert rig.control.drives[0].pulse_us == 1000 and at(rig) == [UNKNOWN, 0]
    assert [e[3] for e in rig.seen if e[2] == events.LOST] == [0]
    assert not [e for e in rig.seen if e[2] == events.MOVE]
    rig.control.orders.reset()
    rig.control.orders.throw(0, 1)
    rig.until_idle(3000)
    assert at(rig) == [1, 0] and rig.control.feeds[0].out.told == A


def test_no_wait_is_without_an_end():
    """Also for a drive that is turned round, and whatever the feed has: here one that never says it is off."""
    for turned in (False, True):
        rig = ready(document([servo()], [pair("F", 16, 17, follow(0), strict_moves(0))]))
        if turned:
            rig.control.orders.throw(0, 1)
            rig.run(300)
            assert 1000 < rig.control.drives[0].pulse_us < 2000
        rig.control.feeds[0].clear = lambda k, to: False
        rig.control.orders.throw(0, 0 if turned else 1)
        rig.until_idle(LONGEST_WAIT_MS + 500)
        assert at(rig) == [UNKNOWN] and rig.leg(0) == OFF
        assert [e[3] for e in rig.seen if e[2] == events.LOST] == [0]
        assert not rig.control.mover.busy and rig.flash[rig.control.keys[0]][0] == UNKNOWN


def flipped():
    """A feed that three drives decide, tripped once, so that it is on the other bus wire."""
    rows = [
        {"when": [[0, 1], [2, 0]], "feed": "B"},
        {"when": [[0, 0], [1, 1], [2, 0]], "feed": "B"},
        {"when": [[0, 0], [1, 0], [2, 1]], "feed": "A"},
    ]
    moves = strict_moves(0) + strict_moves(1) + strict_moves(2)
    doc = document(
        [servo("D1", 0), servo("D2", 1), servo("D3", 2)],
        [pair("R1", 16, 17, rows, moves, try_other=True, bonded=True)],
        trips=TRIPS,
    )
    rig = Rig(doc)
    positions = rig.known(0)
    positions[rig.control.keys[0]] = (1, 2000)
    rig = Rig(doc, positions)
    rig.run(500)
    assert rig.leg(0) == B
    rig.control.guard.tripped[0] = 1
    rig.run(3000)
    assert rig.control.feeds[0].flipped and rig.leg(0) == A and rig.control.feeds[0].want == B
    return rig


def test_a_flipped_feed_stays_on_through_a_throw_that_its_table_ignores():
    rig = flipped()
    rig.control.orders.throw(1, 1)
    while not rig.control.idle:
        assert rig.ms < 30000, "does not come to rest"
        rig.tick()
        assert rig.leg(0) == A
    assert at(rig) == [1, 1, 0] and rig.control.feeds[0].flipped


def test_a_flipped_feed_goes_off_before_a_drive_that_matters_moves():
    rig = flipped()
    rig.control.orders.throw(2, 1)
    off_ms = None
    while rig.control.drives[2].pulse_us == 1000:
        rig.tick()
        if rig.leg(0) == OFF and off_ms is None:
            off_ms = rig.ms
        assert rig.ms < 30000
    assert off_ms is not None and rig.ms - off_ms >= 25
    rig.until_idle()
    assert at(rig) == [1, 0, 1] and rig.leg(0) == OFF, "no row"


def told_through(rig, ms):
    """What the first feed is told, each change once."""
    out = rig.control.feeds[0].out
    seen = [out.told]
    end = rig.ms + ms
    while rig.ms < end:
        rig.tick()
        if out.told != seen[-1]:
            seen.append(out.told)
    return seen


def slow(feed):
    rig = ready(document([servo("D1", 0, travel_ms=2000)], [feed]))
    assert rig.control.feeds[0].out.told == B
    return rig


def every_kind(moves):
    return [bare(kind, rest, moves, False) for kind, rest in BARE] + [pair("T1.F", 16, 17, follow(0), moves)]


def test_turned_round_before_the_off_point_nothing_changes_over():
    for moves in (middle_moves(0, off=0.5, on=0.5), middle_moves(0), stretch_moves(0)):
        for feed in every_kind(moves):
            rig = slow(feed)
            for _ in range(3):
                rig.control.orders.throw(0, 1)
                assert told_through(rig, 400) == [B]
                assert 1000 < rig.control.drives[0].pulse_us < 1400
                rig.control.orders.throw(0, 0)
                assert told_through(rig, 100) == [B]
            assert told_through(rig, 3000) == [B] and at(rig) == [0] and rig.control.idle
            rig.control.orders.throw(0, 1)
            assert told_through(rig, 5000)[-1] == A and at(rig) == [1]


def test_turned_round_after_the_off_point_it_is_off_or_held_until_it_is_back():
    for moves in (middle_moves(0), stretch_moves(0, lag_ms=400)):
        for feed in every_kind(moves):
            rig = slow(feed)
            has_off = rig.control.feeds[0].out.has_off
            rig.control.orders.throw(0, 1)
            while rig.control.drives[0].pulse_us < 1430:
                rig.tick()
            rig.run(20)
            assert rig.control.feeds[0].out.told == (OFF if has_off else B)
            rig.control.orders.throw(0, 0)
            assert told_through(rig, 5000) == ([OFF, B] if has_off else [B]) and at(rig) == [0]


def test_a_bare_output_changes_over_once_a_throw_and_not_before_its_on_point():
    for moves, pulse_us in ((middle_moves(0), 1600), (stretch_moves(0, lag_ms=200), 1400)):
        for kind, rest in BARE:
            rig = slow(bare(kind, rest, moves, False))
            rig.control.orders.throw(0, 1)
            while rig.control.feeds[0].out.told == B:
                rig.tick()
            assert rig.control.drives[0].pulse_us >= pulse_us
            assert told_through(rig, 5000) == [A]


def test_a_bare_output_stays_where_it_is_when_the_position_is_lost():
    for rest in "AB":
        for setting in (0, 1):
            rig = ready(document([servo("D1", 0)], [bare("changeover", rest, middle_moves(0), True)]), setting)
            told = rig.control.feeds[0].out.told
            assert told == (B, A)[setting]
            rig.control.orders.throw(0, setting)
            while rig.control.drives[0].phase < MOVE:
                rig.tick()
            rig.control.drives[0].stall()
            rig.until_idle(3000)
            assert at(rig) == [UNKNOWN] and rig.control.feeds[0].out.told == told


def test_released_where_the_table_has_no_row_for_what_is_known():
    rig = ready(document([servo()], [changeover("F", 16, "A", follow(0)[:1], middle_moves(0))]))
    assert rig.control.feeds[0].out.told == B
    rig.control.orders.throw(0, 1)
    rig.until_idle()
    assert rig.control.feeds[0].out.told == A, "at rest"


def test_trimmed_past_its_off_point_a_feed_does_not_count_as_having_stayed():
    rig = ready(document([servo("D1", 0, (1000, 2000))], [pair("F", 16, 17, follow(0), middle_moves(0, off=0.1))]))
    rig.control.orders.trim(0, 0, 1150)
    assert told_through(rig, 3000) == [B] and at(rig) == [0]
    rig.control.orders.throw(0, 0)
    assert OFF in told_through(rig, 3000) and rig.leg(0) == B
