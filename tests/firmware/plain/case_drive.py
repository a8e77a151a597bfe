from frogboard import drive
from frogboard.table import UNKNOWN

from documents import servo


def made(**more):
    return drive.Drive(servo(rest="release", **more))


def test_ease_starts_and_ends_gently_and_never_goes_back():
    for whole in (1, 5, 100, 500, 30000):
        last = 0
        for t in range(0, whole + 1, max(1, whole // 200)):
            now = drive.eased(t, whole)
            assert last <= now <= 1024
            last = now
        assert drive.eased(whole, whole) == 1024
    assert drive.eased(100, 1000) < 1024 // 10
    assert drive.eased(500, 1000) == 512
    assert drive.eased(29999, 30000) < 2**30


def test_a_known_drive_goes_from_its_remembered_end_and_is_known_at_rest_only():
    d = made()
    d.remember(0, 1000)
    assert d.out_us == 0, "no pulse before the first move"
    d.begin(1)
    d.step(5, False)
    assert d.out_us == 0 and d.at == 0, "waits for its feeds"
    d.step(5, True)
    assert d.out_us == 1000 and d.at == UNKNOWN, "the first pulse is the remembered end"
    pulses = []
    for _ in range(300):
        d.step(5, True)
        pulses.append(d.out_us)
        if d.phase == drive.REST:
            break
    assert d.at == 1 and d.out_us == 0 and d.pulse_us == 2000
    moving = [p for p in pulses if p]
    assert moving == sorted(moving) and moving[-1] == 2000
    assert max(b - a for a, b in zip(moving, moving[1:])) <= 1000 * 5 * 3 // 2 // 500 + 5, (
        "faster than the steepest part of the curve"
    )
    assert len(pulses) * 5 >= 60 + 500 + 100


def test_an_unknown_drive_gets_the_commanded_end_at_once():
    d = made()
    d.begin(1)
    d.step(5, True)
    assert d.out_us == 2000 and d.at == UNKNOWN
    ms = 0
    while d.phase != drive.REST:
        d.step(5, True)
        ms += 5
        assert d.out_us in (2000, 0)
    assert ms >= 600 and d.at == 1


def test_the_time_of_a_jump_begins_with_the_pulse_that_is_sent_again():
    """Pulses are sent after a step: the step after those that were lost still has nothing to count."""
    d = made()
    d.begin(1)
    for _ in range(20):
        d.step(5, True)
    d.disturb()
    d.step(500, True)
    ms = 0
    while d.phase != drive.REST:
        d.step(5, True)
        ms += 5
    assert ms > 620 and d.at == 1


def test_turned_round_in_mid_travel_it_goes_back_from_where_it_is():
    d = made()
    d.remember(0, 1000)
    d.begin(1)
    for _ in range(60):
        d.step(5, True)
    there = d.pulse_us
    assert 1000 < there < 2000
    d.begin(0)
    d.step(5, False)
    assert d.out_us == there, "stands still until its feeds are off"
    last = there
    for _ in range(300):
        d.step(5, True)
        if d.phase == drive.REST:
            break
        assert d.out_us <= last
        last = d.out_us
    assert d.at == 0 and d.pulse_us == 1000


def test_a_late_tick_never_makes_the_pulse_jump():
    d = made()
    d.remember(0, 1000)
    d.begin(1)
    for _ in range(14):
        d.step(5, True)
    assert d.phase == drive.MOVE
    last = d.pulse_us
    for _ in range(100):
        d.step(200, True)
        assert d.pulse_us - last <= 1000 * 10 * 3 // 2 // 500 + 5, "faster than the steepest part of the curve"
        last = d.pulse_us


def test_downwards_works_like_upwards():
    d = drive.Drive(servo(ends=(2000, 1000), rest="hold"))
    d.remember(0, 2000)
    assert d.out_us == 2000
    d.begin(1)
    for _ in range(300):
        d.step(5, True)
        assert 1000 <= d.out_us <= 2000
    assert d.at == 1 and d.out_us == 1000, "held at rest"


def test_a_stalled_move_leaves_it_unknown():
    d = made()
    d.remember(0, 1000)
    d.begin(1)
    d.step(5, True)
    d.step(5, True)
    d.stall()
    for _ in range(300):
        d.step(5, True)
    assert d.phase == drive.REST and d.at == UNKNOWN
