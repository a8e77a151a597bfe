from frogboard import events
from frogboard.table import OFF, UNKNOWN, A, B

from documents import Rig, document, follow, hand, middle_moves, pair, servo, simple, strict_moves


def ready(doc, setting=0):
    rig = Rig(doc)
    return Rig(doc, rig.known(setting))


def kinds(rig, kind):
    return [e for e in rig.seen if e[2] == kind]


def test_unknown_means_off_and_no_pulse():
    rig = Rig(simple(2))
    rig.run(500)
    assert not any(rig.control.lines)
    assert all(d.out_us == 0 for d in rig.control.drives)


def test_known_positions_bring_the_feeds_on_and_move_nothing():
    rig = ready(simple(2))
    rig.run(500)
    assert [f.out.told for f in rig.control.feeds] == [B, B]
    assert all(d.out_us == 0 for d in rig.control.drives)
    assert rig.writes == 0, "no flash is written for nothing"


def test_a_throw_goes_off_before_it_moves_and_on_after_it_arrived():
    rig = ready(simple())
    rig.run(200)
    rig.control.orders.throw(0, 1)
    off_ms = first_move_ms = arrived_ms = on_ms = None
    drive = rig.control.drives[0]
    for _ in range(400):
        rig.tick()
        leg = rig.leg(0)
        if off_ms is None and leg == OFF:
            off_ms = rig.ms
        if first_move_ms is None and drive.out_us not in (0, 1000):
            first_move_ms = rig.ms
        if arrived_ms is None and drive.out_us == 2000:
            arrived_ms = rig.ms
        if on_ms is None and leg == A:
            on_ms = rig.ms
    assert first_move_ms - off_ms >= 25
    assert arrived_ms - first_move_ms >= 460
    assert on_ms - arrived_ms >= 60
    assert drive.at == 1 and rig.leg(0) == A
    assert rig.flash[rig.control.keys[0]] == (1, 2000)
    assert rig.writes == 2, "a mark before, the position after"
    assert [e[3:5] for e in kinds(rig, events.MOVE)] == [(0, 1)]
    assert [e[3:5] for e in kinds(rig, events.REST)] == [(0, 1)]


def test_bonded_blades_change_over_in_mid_travel():
    rig = ready(document([servo()], [pair("T1.F", 16, 17, follow(0), middle_moves(0))]))
    rig.run(200)
    rig.control.orders.throw(0, 1)
    seen = {}
    for _ in range(400):
        rig.tick()
        seen.setdefault(rig.leg(0), rig.control.drives[0].pulse_us)
    assert seen[B] == 1000
    assert 1400 <= seen[OFF] < 1420
    assert 1600 <= seen[A] < 1900, "and back on while it still moves"


def test_thrown_back_in_mid_travel_the_feed_stays_off_until_it_is_home():
    rig = ready(simple())
    rig.run(200)
    rig.control.orders.throw(0, 1)
    rig.run(350)
    assert rig.leg(0) == OFF and 1000 < rig.control.drives[0].pulse_us < 2000
    rig.control.orders.throw(0, 0)
    while rig.control.drives[0].phase:
        assert rig.leg(0) != A
        if rig.control.drives[0].pulse_us != 1000:
            assert rig.leg(0) == OFF
        rig.tick()
    rig.until_idle()
    assert rig.leg(0) == B and rig.control.drives[0].at == 0


def test_the_supply_budget_holds():
    rig = ready(simple(5))
    rig.run(100)
    for d in range(5):
        rig.control.orders.throw(d, 1)
    most = 0
    while not rig.control.idle:
        rig.tick()
        moving = sum(1 for d in rig.control.drives if d.phase > 1)
        most = max(most, moving)
    assert most == 2
    assert all(d.at == 1 for d in rig.control.drives)
    assert rig.writes == 2, "one mark and one position write for the whole batch"


def test_unknown_drives_go_one_at_a_time_with_their_feeds_off():
    rig = Rig(simple(3))
    for d in range(3):
        rig.control.orders.throw(d, 1)
    while not rig.control.idle:
        rig.tick()
        jumping = [d for d in range(3) if rig.control.drives[d].phase == 5]
        assert len(jumping) <= 1
        for d in jumping:
            assert rig.leg(d) == OFF
    assert [rig.leg(d) for d in range(3)] == [A, A, A]


def test_a_drive_that_lost_its_pulses_and_is_turned_round_does_not_run_to_its_end_beside_another():
    doc = simple(2)
    known = Rig(doc).known(0)
    rig = Rig(doc, {key: known[key] for key in Rig(doc).control.keys[1:]})
    one, other = rig.control.drives
    one.travel_ms = 8000
    rig.run(100)
    rig.control.orders.throw(0, 1)
    rig.control.orders.throw(1, 1)
    while other.phase != 3:
        rig.tick()
    rig.run(100)
    assert one.phase == 5
    other.disturb()
    rig.control.orders.throw(1, 0)
    held = other.out_us
    while one.phase == 5:
        assert other.phase == 1 and other.out_us == held and rig.leg(1) == OFF, "it waits, with its feed off"
        rig.tick()
    rig.until_idle()
    assert one.at == 1 and other.at == 0 and rig.leg(1) == B and not kinds(rig, events.LOST)


def test_flash_that_does_not_work_moves_nothing():
    rig = ready(simple())
    rig.flash_works = False
    rig.run(100)
    rig.control.orders.throw(0, 1)
    rig.run(1000)
    assert rig.control.drives[0].at == 0 and rig.leg(0) == B
    assert kinds(rig, events.UNSAVED)


def test_a_hand_thrown_turnout_is_off_as_soon_as_its_contact_is_lost():
    doc = document([hand("D1", [0, 1])], [pair("T1.F", 16, 17, follow(0), [])])
    doc["inputs"] = [{"name": "I1", "pin": 10}, {"name": "I2", "pin": 11}]
    rig = Rig(doc)
    rig.control.inputs.raw[0] = 1
    rig.run(10)
    assert rig.leg(0) == OFF, "not before debounce"
    rig.run(100)
    assert rig.leg(0) == B
    rig.control.inputs.raw[0] = 0
    rig.tick()
    assert rig.leg(0) == OFF
    rig.control.inputs.raw[0] = 1
    rig.tick()
    assert rig.leg(0) == OFF, "dead time holds for a bounce too"
    rig.control.inputs.raw[0] = 0
    rig.control.inputs.raw[1] = 1
    rig.run(200)
    assert rig.leg(0) == A
    rig.control.inputs.raw[0] = 1
    rig.tick()
    assert rig.leg(0) == OFF, "both contacts at once can't be"


def test_a_contact_that_bounces_says_nothing_neither_made_nor_open():
    """With one contact, open is the other setting: open for a moment while it bounces, it is not there."""
    for contacts in ([0, -1], [0, 1]):
        doc = document([hand("D1", contacts)], [pair("T1.F", 16, 17, follow(0), [], dead_ms=0, release_ms=0)])
        doc["inputs"] = [{"name": "I1", "pin": 10}, {"name": "I2", "pin": 11}]
        rig = Rig(doc)
        raw = rig.control.inputs.raw
        raw[1] = 1
        rig.run(200)
        assert rig.leg(0) == A
        raw[1] = 0
        for level in (1, 0, 1, 1, 0, 0, 0, 1, 0, 0, 1):
            raw[0] = level
            rig.tick()
            assert rig.leg(0) == OFF, "known by a contact that bounces"
        rig.run(10)
        assert rig.leg(0) == OFF, "not before debounce"
        rig.run(50)
        assert rig.leg(0) == B and rig.control.idle


def test_all_off_holds_until_reset():
    rig = ready(simple(2))
    rig.run(100)
    assert rig.control.orders.turn_all_off() == (2, 0)
    rig.run(100)
    assert not any(rig.control.lines)
    rig.control.orders.throw(0, 1)
    rig.until_idle()
    assert not any(rig.control.lines)
    rig.control.orders.reset()
    rig.run(100)
    assert [rig.leg(0), rig.leg(1)] == [A, B]


def test_a_feed_that_another_drive_decides_stays_on_through_a_throw():
    rows = [
        {"when": [[0, 0], [1, 0]], "feed": "A"},
        {"when": [[0, 1]], "feed": "B"},
        {"when": [[0, 0], [1, 1]], "feed": "B"},
    ]
    doc = document(
        [servo("D1", 0), servo("D2", 1)],
        [pair("X.F", 16, 17, rows, strict_moves(0) + strict_moves(1))],
    )
    rig = ready(doc)
    rig.control.orders.throw(0, 1)
    rig.until_idle()
    assert rig.leg(0) == B
    rig.control.orders.throw(1, 1)
    while not rig.control.idle:
        rig.tick()
        assert rig.leg(0) == B
    rig.control.orders.throw(0, 0)
    dark = 0
    while not rig.control.idle:
        rig.tick()
        dark += rig.leg(0) == OFF
    assert dark == 0, "with the second drive at right it is B either way"


def test_nothing_is_idle_that_still_has_to_happen():
    """Skipping idle time with one long step must end as ticking through it does."""
    for setting in (0, 1):
        slow, fast = ready(simple(2), setting), ready(simple(2), setting)
        for rig in (slow, fast):
            rig.until_idle()
            rig.control.orders.throw(0, 1 - setting)
            rig.until_idle()
        slow.run(5000)
        fast.tick(5000)
        fast.tick()
        assert list(slow.control.lines) == list(fast.control.lines)
        assert [d.at for d in slow.control.drives] == [d.at for d in fast.control.drives]


def test_trim_moves_there_and_the_windows_go_with_it():
    for pulse in (900, 1100):
        rig = ready(simple())
        rig.run(100)
        rig.control.orders.trim(0, 0, pulse)
        rig.until_idle()
        assert rig.control.drives[0].pulse_us == pulse and rig.leg(0) == B
        assert rig.control.trims() == [(0, 0, pulse)]
        rig.control.orders.throw(0, 1)
        while rig.control.drives[0].pulse_us == pulse:
            rig.tick()
        assert rig.leg(0) == OFF
        rig.until_idle()
        assert rig.leg(0) == A


def test_positions_come_back_only_where_they_fit():
    doc = simple()
    rig = Rig(doc)
    key = rig.control.keys[0]
    for found, at in (((0, 1000), 0), ((1, 2050), 1), ((1, 1000), UNKNOWN), ((2, 1500), UNKNOWN)):
        again = Rig(doc, {key: found})
        assert again.control.drives[0].at == at
