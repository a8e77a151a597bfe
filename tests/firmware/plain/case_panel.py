from frogboard import events, lamp, settings
from frogboard.panel import FLICKER_MS, REFUSED_MS
from frogboard.table import UNKNOWN

from documents import Rig, changeover, document, follow, pair, sealed, servo, stretch_moves, strict_moves


def panel_doc():
    drives = [servo("D%d" % (i + 1), i) for i in range(3)]
    feeds = [pair("T%d.F" % (i + 1), 8 + 2 * i, 9 + 2 * i, follow(i), strict_moves(i)) for i in range(3)]
    doc = document(drives, feeds, max_moving=3)
    doc["inputs"] = [{"name": "I%d" % i, "pin": 16 + i} for i in range(5)]
    doc["panel"] = {
        "buttons": [
            {"input": 0, "does": "toggle", "moves": [[0, 1]]},
            {"input": 1, "does": "set", "moves": [[0, 0], [1, 1], [2, 1]]},
            {"input": 2, "does": "all_off"},
            {"input": 3, "does": "reset"},
        ],
        "lamps": [
            {"out": {"pin": 26}, "shows": "set", "moves": [[0, 1]]},
            {"out": {"pin": 27}, "shows": "fault"},
            {"out": {"pin": 28, "active": 0}, "shows": "all_off"},
        ],
    }
    doc["trips"] = [{"name": "K", "input": {"pin": 22}, "watches": [1]}]
    return doc


def ready():
    doc = panel_doc()
    rig = Rig(doc)
    rig = Rig(doc, rig.known(0))
    rig.run(500)
    return rig


def press(rig, i, ms=100):
    rig.control.inputs.raw[i] = 1
    rig.run(ms)
    rig.control.inputs.raw[i] = 0
    rig.run(100)


def lamps(rig):
    return list(rig.control.lines[-3:])


def test_a_button_throws_one_drive_there_and_back():
    rig = ready()
    press(rig, 0)
    rig.until_idle()
    assert [d.at for d in rig.control.drives] == [1, 0, 0]
    press(rig, 0)
    press(rig, 0)
    rig.until_idle()
    assert rig.control.drives[0].at == 1, "a second press on the way turns it round"


def test_a_button_throws_a_stored_route():
    rig = ready()
    press(rig, 0)
    rig.until_idle()
    press(rig, 1)
    rig.until_idle()
    assert [d.at for d in rig.control.drives] == [0, 1, 1]


def test_a_button_must_be_pressed_long_enough_and_holding_it_is_one_press():
    rig = ready()
    press(rig, 0, 15)
    rig.run(500)
    assert rig.control.drives[0].at == 0
    press(rig, 0, 3000)
    rig.until_idle()
    assert rig.control.drives[0].at == 1


def test_a_button_held_at_power_up_is_no_press():
    doc = panel_doc()
    rig = Rig(doc, Rig(doc).known(0))
    rig.control.inputs.raw[0] = 1
    rig.run(3000)
    assert rig.control.drives[0].at == 0


def test_all_off_and_reset():
    rig = ready()
    press(rig, 2)
    assert rig.control.orders.all_off and not any(rig.control.lines[:6])
    assert lamps(rig)[2] == 1
    press(rig, 3)
    assert not rig.control.orders.all_off and lamps(rig)[2] == 0
    rig.run(200)
    assert [rig.leg(f) for f in range(3)] == [2, 2, 2]


def test_lamps_show_position_movement_and_fault():
    rig = ready()
    assert lamps(rig) == [0, 0, 0]
    rig.control.orders.throw(0, 1)
    rig.run(50)
    seen = set()
    while rig.control.drives[0].phase:
        seen.add(lamps(rig)[0])
        rig.tick()
    assert seen == {0, 1}, "it blinks on the way"
    rig.run(1000)
    assert lamps(rig)[0] == 1
    rig.control.guard.tripped[0] = 1
    rig.tick()
    seen = set()
    for _ in range(120):
        seen.add(lamps(rig)[1])
        rig.tick()
    assert seen == {0, 1}


def test_inputs_are_told():
    rig = ready()
    rig.seen = []
    press(rig, 4)
    found = [e[3:5] for e in rig.seen if e[2] == events.INPUT]
    assert found == [(4, 1), (4, 0)]


def test_the_status_lamp_has_a_pattern_of_its_own_for_each_state():
    seen = set()
    for state in (lamp.OK, lamp.NO_SETTINGS, lamp.MOVING, lamp.FAULT, lamp.ALL_OFF, lamp.REFUSED):
        one = lamp.Lamp()
        pattern = "".join(str(one.tick(125, state)) for _ in range(16)) if state else "1" * 16
        assert "1" in pattern and pattern not in seen
        seen.add(pattern)
    assert lamp.Lamp().tick(5, lamp.OK) == 1


def test_a_stall_makes_the_drive_unknown_and_keeps_its_feed_off():
    doc = panel_doc()
    doc["sensors"] = [
        {"name": "S", "kind": "adc", "pin": 26, "na_per_count": 408000, "role": "servo", "trip_ma": 600, "trip_ms": 50}
    ]
    doc["panel"]["lamps"] = []
    rig = Rig(doc, Rig(doc).known(0))
    rig.run(500)
    rig.control.orders.throw(0, 1)
    rig.run(250)
    rig.control.guard.reading[0] = 2000
    rig.run(100)
    rig.control.guard.reading[0] = 0
    rig.until_idle()
    assert rig.control.drives[0].at == UNKNOWN and rig.leg(0) == 0
    assert [e for e in rig.seen if e[2] == events.STALL] and [e for e in rig.seen if e[2] == events.LOST]
    rig.control.orders.throw(0, 1)
    rig.until_idle()
    assert rig.control.drives[0].at == 1 and rig.leg(0) == 1, "thrown once more, undisturbed"


def held():
    """Three turnouts, the second with a bare changeover and blades that touch: at a fault it may not be thrown."""
    doc = panel_doc()
    doc["feeds"][1] = changeover("T2.F", 10, "B", follow(1), stretch_moves(1))
    doc["panel"]["lamps"].append({"name": "t2", "out": {"pin": 29}, "shows": "fault", "feed": 1})
    doc["panel"]["lamps"].append({"name": "t1", "out": {"pin": 2}, "shows": "fault", "feed": 0})
    for i, drive in enumerate(doc["drives"]):
        drive["out"]["pin"] = (0, 1, 4)[i]
    rig = Rig(doc, Rig(doc).known(0))
    rig.run(500)
    rig.seen = []
    return rig


def patterns(rig, ms):
    """How often each lamp changed, over a time."""
    count = len(rig.doc["panel"]["lamps"])
    before, changes = list(rig.control.lines[-count:]), [0] * count
    for _ in range(ms // rig.tick_ms):
        rig.tick()
        now = list(rig.control.lines[-count:])
        changes = [c + (a != b) for c, a, b in zip(changes, before, now)]
        before = now
    return changes


def refusals(rig):
    return [e[3:] for e in rig.seen if e[2] == events.REFUSED]


def test_a_route_with_a_drive_that_may_not_move_is_refused_whole_and_shown():
    rig = held()
    rig.control.guard.tripped[0] = 1
    rig.tick()
    press(rig, 1)
    assert refusals(rig) == [(1, 1, 1)], "drive D2, held by T2.F, which has tripped"
    assert rig.control.panel.refusing and rig.control.panel.busy and not rig.control.idle
    changed = patterns(rig, 1200)
    assert changed[0] == changed[2] == 0
    assert changed[1] >= 1200 // FLICKER_MS - 1 and changed[3] == changed[4] == changed[1], "all fault lamps flicker"
    rig.run(REFUSED_MS)
    assert not rig.control.panel.refusing and [d.at for d in rig.control.drives] == [0, 0, 0]
    changed = patterns(rig, 1000)
    assert 3 <= changed[1] == changed[3] <= 5 and changed[4] == 0, "the fault itself blinks, where it is"


def test_after_a_reset_the_same_button_is_obeyed():
    rig = held()
    press(rig, 2)
    press(rig, 1)
    assert refusals(rig) == [(1, 1, 0)], "all is off"
    press(rig, 3)
    assert not rig.control.panel.refusing
    press(rig, 1)
    rig.until_idle()
    assert len(refusals(rig)) == 1 and [d.at for d in rig.control.drives] == [0, 1, 1]


def test_a_button_whose_drives_are_free_is_obeyed_while_another_feed_is_held():
    rig = held()
    rig.control.guard.tripped[0] = 1
    rig.tick()
    press(rig, 0)
    rig.run(3000)
    assert refusals(rig) == [] and rig.control.drives[0].at == 1


def test_a_lamp_of_a_feed_that_is_not_there_is_refused():
    doc = panel_doc()
    for feed, shows in ((3, "fault"), (1, "all_off")):
        doc["panel"]["lamps"][1] = {"out": {"pin": 27}, "shows": shows, "feed": feed}
        checked, reason = settings.load(sealed(doc))
        assert checked is None and reason.startswith("panel.lamps[1].feed:"), reason
