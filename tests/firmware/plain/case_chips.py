"""The hardware layer against chips that are nothing but their registers."""

from frogboard import events, settings
from frogboard.table import OFF, UNKNOWN, A, B

import fake_machine
from documents import (
    Rig,
    changeover,
    document,
    follow,
    hand,
    latching,
    pair,
    sealed,
    servo,
    stretch_moves,
    strict_moves,
)
from fake_machine import Ina, Mcp23017, Pca9685


def ex(chip, pin, active=1):
    return {"chip": chip, "pin": pin, "active": active}


class HardRig(Rig):
    """A rig whose lines go to the hardware layer, on a fake machine."""

    def __init__(self, doc, board, positions=None):
        self.board = board
        super().__init__(doc, positions)
        from frogboard.pins import Hardware

        self.hardware = Hardware(self.control)

    def tick(self, dt_ms=None):
        self.hardware.read(5)
        super().tick(dt_ms)
        self.hardware.write()


BUS = [{"sda": 4, "scl": 5, "hz": 400000}]
EXPANDER = {"kind": "mcp23017", "bus": 0, "address": 0x20, "reset_pin": 7}
SERVOS = {"kind": "pca9685", "bus": 0, "address": 0x40, "oe_pin": 6}


def on_chips(**more):
    """One turnout: its servo on a servo chip, its pair on an expander, low active, behind an enable on a GPIO."""
    drive = servo(out={"kind": "pca9685", "chip": 1, "channel": 5})
    feed = pair("T1.F", 0, 0, follow(0), strict_moves(0), enable=0)
    feed["a"], feed["b"] = ex(0, 3, 0), ex(0, 12, 0)
    return document(
        [drive],
        [feed],
        buses=BUS,
        chips=[EXPANDER, SERVOS],
        groups=[{"name": "E", "out": {"pin": 9}, "release_ms": 15, "operate_ms": 10}],
        **more,
    )


def started(doc, chips, setting=0):
    board = fake_machine.install()
    for key, chip in chips.items():
        board.chips[key[0] * 128 + key[1]] = chip
    positions = Rig(doc).known(setting)
    return HardRig(doc, board, positions)


def both():
    return {(0, 0x20): Mcp23017(7), (0, 0x40): Pca9685(6)}


def test_an_expander_is_off_before_its_pins_are_outputs():
    chips = both()
    mcp = chips[(0, 0x20)]
    rig = started(on_chips(), chips)
    assert mcp.driven() == {3: 1, 12: 1}, "low active: off is high"
    for seen in mcp.glitches:
        assert all(level == 1 for level in seen.values()), "a leg was on for a moment"
    assert rig.board.out[7] == 1 and rig.board.out[6] == 0


def test_a_throw_over_the_chips():
    chips = both()
    mcp, pca = chips[(0, 0x20)], chips[(0, 0x40)]
    rig = started(on_chips(), chips)
    assert [pca.pulse_us(n) for n in range(16)] == [0] * 16, "no pulse at power-up"
    rig.run(200)
    assert mcp.driven() == {3: 1, 12: 0} and rig.board.out[9] == 1
    rig.control.orders.throw(0, 1)
    seen = []
    while not rig.control.idle:
        rig.tick()
        if pca.pulse_us(5):
            seen.append(pca.pulse_us(5))
        if pca.pulse_us(5) and abs(pca.pulse_us(5) - 1000) > 10 and rig.control.drives[0].phase == 3:
            assert mcp.driven() == {3: 1, 12: 1}
    assert abs(seen[0] - 1000) < 6 and abs(seen[-1] - 2000) < 6 and seen == sorted(seen)
    assert pca.pulse_us(5) == 0, "released at rest"
    assert mcp.driven() == {3: 0, 12: 1}
    assert all(pca.pulse_us(n) == 0 for n in range(16) if n != 5)


def test_a_tick_at_rest_sends_little():
    chips = both()
    rig = started(on_chips(), chips)
    rig.run(500)
    before = rig.board.traffic
    rig.run(1000)
    assert rig.board.traffic - before <= 2 * 1000 // 5 // 20 + 2, "a check of one chip every twenty ticks"


def test_an_expander_that_vanishes_latches_its_feeds_and_comes_back():
    chips = both()
    mcp = chips[(0, 0x20)]
    rig = started(on_chips(), chips)
    rig.run(200)
    mcp.answers = False
    rig.run(300)
    assert rig.board.out[7] == 0, "held in reset"
    assert mcp.driven() == {}
    assert rig.control.feeds[0].out.told == OFF and rig.control.feeds[0].fault == 3
    rig.run(3000)
    told = [e for e in rig.seen if e[2] == events.CHIP]
    assert [e[3:5] for e in told][-1] == (0, 0)
    assert len([e for e in told if e[4] == 0]) == 1, "said once"
    mcp.answers = True
    rig.run(1500)
    assert rig.control.feeds[0].fault == 0
    assert mcp.driven() == {3: 1, 12: 0}


def test_a_reset_does_not_make_an_expander_answer():
    """Its feeds stay latched, by the name of what they have, and come on with the chip and not before."""
    chips = both()
    mcp = chips[(0, 0x20)]
    rig = started(on_chips(), chips)
    rig.run(200)
    mcp.answers = False
    rig.run(300)
    for reset in (rig.control.orders.reset, lambda: rig.control.orders.reset(0)):
        assert reset() == 0, "nothing was cleared"
        for _ in range(100):
            rig.tick()
            assert rig.control.feeds[0].fault == 3 and rig.control.feeds[0].told == OFF
    mcp.answers = True
    rig.run(1500)
    assert rig.control.feeds[0].fault == 0 and mcp.driven() == {3: 1, 12: 0}


def test_a_latching_relay_whose_pulses_may_be_lost_is_pulsed_again():
    """Its lines hang on an expander: what it was told while that was silent, or in mid-pulse, did not arrive."""
    for bonded in (False, True):
        feed = latching("T1.F", 0, 0, follow(0), stretch_moves(0), bonded=bonded, pulse_ms=50)
        feed["set"], feed["reset"] = ex(0, 3), ex(0, 12)
        chips = {(0, 0x20): Mcp23017(7)}
        mcp = chips[(0, 0x20)]
        rig = started(document([servo()], [feed], buses=BUS, chips=[EXPANDER]), chips)
        mcp.answers = False
        rig.run(400)
        assert rig.control.feeds[0].out.told == OFF, "nobody knows its side"
        mcp.answers = True
        pulsed = set()
        for _ in range(400):
            rig.tick()
            pulsed |= {n for n, level in mcp.driven().items() if level}
        assert pulsed == {12}, "the side that its table says"
        assert rig.control.feeds[0].out.told == B and mcp.driven() == {3: 0, 12: 0}


def test_a_relay_whose_expander_comes_back_moves_before_its_enable_closes():
    """Without a coil it fell to its rest side: closed with the coil, the enable would feed that for a moment."""
    feed = changeover("T1.F", 0, "A", follow(0), strict_moves(0), enable=0)
    feed["coil"] = ex(0, 3)
    chips = {(0, 0x20): Mcp23017(7)}
    mcp = chips[(0, 0x20)]
    groups = [{"name": "E", "out": {"pin": 9}, "release_ms": 15, "operate_ms": 10}]
    rig = started(document([servo()], [feed], buses=BUS, chips=[EXPANDER], groups=groups), chips)
    rig.run(200)
    assert mcp.driven() == {3: 1} and rig.board.out[9] == 1
    mcp.answers = False
    rig.run(400)
    assert rig.board.out[9] == 0
    mcp.answers = True
    moved_ms = None
    while not rig.board.out[9]:
        rig.tick()
        if moved_ms is None and mcp.driven().get(3):
            moved_ms = rig.ms
    assert moved_ms is not None and rig.ms - moved_ms >= 15 + 5


def test_an_expander_that_was_reset_behind_our_back_is_noticed():
    chips = both()
    mcp = chips[(0, 0x20)]
    rig = started(on_chips(), chips)
    rig.run(200)
    mcp.reset()
    rig.run(400)
    assert [e for e in rig.seen if e[2] == events.CHIP and e[4] == 0]
    rig.run(2000)
    assert mcp.driven() == {3: 1, 12: 0}


def test_a_servo_chip_that_fails_in_a_move_leaves_the_drive_unknown_and_the_feed_off():
    chips = both()
    pca = chips[(0, 0x40)]
    rig = started(on_chips(), chips)
    rig.run(200)
    rig.control.orders.throw(0, 1)
    rig.run(300)
    assert 1000 < rig.control.drives[0].pulse_us < 2000
    pca.answers = False
    rig.tick()
    assert rig.board.out[6] == 1, "OE turns it off"
    rig.run(3000)
    assert rig.control.drives[0].at == UNKNOWN and rig.control.feeds[0].out.told == OFF
    pca.power_up()
    pca.answers = True
    rig.run(1500)
    rig.control.orders.throw(0, 1)
    rig.until_idle()
    assert rig.control.drives[0].at == 1 and rig.control.feeds[0].out.told == A


def test_a_servo_chip_that_lost_power_sends_held_pulses_again():
    doc = on_chips()
    doc["drives"][0]["rest"] = "hold"
    chips = both()
    pca = chips[(0, 0x40)]
    rig = started(doc, chips)
    rig.run(200)
    assert abs(pca.pulse_us(5) - 1000) < 6
    pca.power_up()
    rig.run(3000)
    assert abs(pca.pulse_us(5) - 1000) < 6


def test_a_stuck_bus_is_clocked_free():
    chips = both()
    rig = started(on_chips(), chips)
    rig.run(100)
    rig.board.stuck = True
    rig.board.outside[4] = 0
    rig.board.mode[4] = 0
    rig.run(2500)
    assert rig.board.clocks >= 9
    assert rig.control.feeds[0].out.told == OFF and rig.board.out[6] == 1 and rig.board.out[7] == 0
    rig.board.stuck = False
    rig.board.outside[4] = 1
    rig.run(3000)
    assert rig.control.feeds[0].out.told == B


def contact_on_an_expander():
    """A hand-thrown turnout with one position contact, read by an expander."""
    return document(
        [hand("D1", [0, -1])],
        [pair("T1.F", 16, 17, follow(0), [])],
        buses=BUS,
        chips=[EXPANDER],
        inputs=[{"name": "I", "pin": 9, "chip": 0}],
    )


def test_contacts_on_an_expander_that_vanishes_are_unknown():
    doc = contact_on_an_expander()
    chips = {(0, 0x20): Mcp23017(7)}
    rig = started(doc, chips)
    rig.run(200)
    assert rig.control.drives[0].at == 1 and rig.leg(0) == A, "open: the other setting"
    assert chips[(0, 0x20)].regs[0x0D] == 0x02, "pull-up"
    chips[(0, 0x20)].outside &= ~(1 << 9)
    rig.run(200)
    assert rig.control.drives[0].at == 0 and rig.leg(0) == B
    chips[(0, 0x20)].answers = False
    rig.tick()
    assert rig.control.drives[0].at == UNKNOWN and rig.leg(0) == OFF
    told = len(rig.seen)
    for _ in range(600):
        rig.tick()
        assert rig.control.drives[0].at == UNKNOWN and rig.leg(0) == OFF, "not after the debounce time either"
    assert rig.control.idle and not [e for e in rig.seen[told:] if e[2] == events.INPUT], "nobody saw it open"
    chips[(0, 0x20)].answers = True
    rig.run(1500)
    assert rig.control.drives[0].at == 0 and rig.leg(0) == B


def test_a_contact_on_an_expander_that_never_answered_is_unknown():
    doc = contact_on_an_expander()
    chips = {(0, 0x20): Mcp23017(7)}
    chips[(0, 0x20)].answers = False
    rig = started(doc, chips)
    for _ in range(600):
        rig.tick()
        assert rig.control.drives[0].at == UNKNOWN and rig.leg(0) == OFF


def test_current_chips_are_read_in_turn_and_trip():
    doc = document([servo()], [pair("T1.F", 16, 17, follow(0), strict_moves(0), retries=0)])
    doc["buses"] = [{"sda": 4, "scl": 5, "hz": 400000}, {"sda": 2, "scl": 3, "hz": 400000}]
    doc["chips"] = [
        {"kind": "ina219", "bus": 1, "address": 0x40},
        {"kind": "ina226", "bus": 1, "address": 0x41},
        {"kind": "ina3221", "bus": 1, "address": 0x42},
    ]
    limit = {"trip_ma": 1500, "trip_ms": 20, "watches": [0]}
    doc["sensors"] = [
        dict(name="C1", kind="ina", chip=0, na_per_count=100000),
        dict(name="C2", kind="ina", chip=1, na_per_count=125000, alert_ma=3500, **limit),
        dict(name="C3", kind="ina", chip=2, channel=3, na_per_count=400000, alert_ma=1200),
    ]
    chips = {(1, 0x40): Ina("ina219"), (1, 0x41): Ina("ina226"), (1, 0x42): Ina("ina3221")}
    rig = started(doc, chips)
    assert chips[(1, 0x41)].regs[7] == 28000 and chips[(1, 0x41)].regs[6] == 0x8000, "over the shunt's limit"
    critical = chips[(1, 0x42)].regs
    assert critical[0x0B] == 3000 << 3 and critical[0x07] == critical[0x09] == 0x7FF8, "the other inputs: never"
    chips[(1, 0x40)].shunt[0] = -5000
    chips[(1, 0x41)].shunt[0] = 8000
    chips[(1, 0x42)].shunt[2] = 1000
    rig.run(200)
    assert [rig.control.milliamps(i) for i in range(3)] == [500, 1000, 400]
    assert rig.leg(0) == B
    chips[(1, 0x41)].shunt[0] = -13000
    began = rig.ms
    while rig.leg(0) == B:
        rig.tick()
        assert rig.ms - began <= 3 * 5 + 20 + 5, "sampling time of three sensors on the bus, and the trip time"
    assert rig.control.feeds[0].latched
    chips[(1, 0x41)].answers = False
    rig.run(1000)
    assert rig.control.milliamps(1) is None


def test_a_limit_that_a_sensor_chip_cannot_read_is_refused():
    doc = document([servo()], [])
    doc["buses"] = [{"sda": 4, "scl": 5, "hz": 400000}]
    doc["chips"] = [{"kind": "ina3221", "bus": 0, "address": 0x40}]
    for key in ("trip_ma", "alert_ma"):
        for ma, taken in ((1638, True), (1639, False)):
            doc["sensors"] = [{"name": "C", "kind": "ina", "chip": 0, "na_per_count": 400000, key: ma}]
            assert (settings.load(sealed(doc))[1] is None) == taken, (key, ma)


def forgetful(moment_ms):
    """A throw to the right in which the servo chip loses its registers after so long; the rig, and its chips."""
    chips = both()
    rig = started(on_chips(), chips)
    rig.run(200)
    rig.control.orders.throw(0, 1)
    rig.run(moment_ms)
    chips[(0, 0x40)].power_up()
    return rig, chips[(0, 0x40)]


def test_a_servo_chip_that_forgets_in_mid_throw_is_set_up_again_and_the_throw_ends_by_itself():
    whole_ms = 25 + 60 + 500 + 120
    for moment_ms in range(100, whole_ms, 40):
        rig, chip = forgetful(moment_ms)
        pulses_ms = 0
        out = rig.control.feeds[0].out
        while rig.control.mover.busy:
            assert rig.ms < 15000
            was = out.told
            rig.tick()
            if out.told == A and was == OFF:
                assert pulses_ms > 500, "on again only after pulses for a whole travel"
            if chip.regs[0] & 0x10:
                pulses_ms = 0
            elif chip.pulse_us(5):
                pulses_ms += 5
        rig.run(500)
        assert rig.control.drives[0].at == 1 and out.told == A
        assert not [e for e in rig.seen if e[2] == events.LOST], "nobody has to throw a second time"


def test_a_servo_chip_that_never_comes_back_ends_with_the_position_unknown():
    rig, chip = forgetful(300)
    chip.answers = False
    rig.run(15000)
    assert not rig.control.mover.busy and rig.control.drives[0].at == UNKNOWN
    assert len([e for e in rig.seen if e[2] == events.LOST]) == 1


def test_adc_mean_and_rms():
    doc = document([servo()], [pair("T1.F", 16, 17, follow(0), strict_moves(0))], control="dcc")
    doc["sensors"] = [
        dict(name="C1", kind="adc", pin=26, measure="rms", zero_count=33100, na_per_count=408000),
        dict(name="C2", kind="adc", pin=27, measure="mean", zero_count=33100, na_per_count=408000),
    ]
    rig = started(doc, {})
    square = [0]

    def dcc():
        square[0] += 1
        return 33100 + (4000 if square[0] & 4 else -4000)

    rig.board.analogue[26] = dcc
    rig.board.analogue[27] = lambda: 33100 - 2000
    rig.tick()
    assert abs(rig.control.milliamps(0) - 1632) < 20, "a square wave reads as its amplitude"
    assert abs(rig.control.milliamps(1) - 816) < 5
    rig.board.analogue[27] = dcc
    rig.tick()
    assert rig.control.milliamps(1) < 10, "and its mean reads as nothing"


def trip_doc(feed, **more):
    doc = document([servo()], [feed], **more)
    doc["trips"] = [{"name": "K1", "input": {"pin": 20, "active": 0}, "watches": [0]}]
    return doc


def test_a_hardware_trip_clears_the_pins_within_the_interrupt():
    rig = started(trip_doc(pair("T1.F", 16, 17, follow(0), strict_moves(0), retries=1)), {})
    rig.run(200)
    assert rig.board.out[17] == 1
    rig.board.set(20, 0)
    assert rig.board.out[16] == 0 and rig.board.out[17] == 0, "before any tick"
    rig.board.set(20, 1)
    rig.run(100)
    assert rig.control.feeds[0].fault == 1 and not rig.control.feeds[0].latched
    rig.run(2500)
    assert rig.board.out[17] == 1, "tried again"
    rig.board.set(20, 0)
    rig.run(100)
    rig.board.set(20, 1)
    rig.run(5000)
    assert rig.board.out[17] == 0 and rig.control.feeds[0].latched
    rig.control.orders.reset()
    rig.run(200)
    assert rig.board.out[17] == 1


def test_a_trip_of_legs_on_an_expander_opens_their_enable_at_once():
    doc = on_chips()
    doc["trips"] = [{"name": "K1", "input": {"pin": 20, "active": 0}, "watches": [0]}]
    doc["feeds"][0]["retries"] = 0
    chips = both()
    rig = started(doc, chips)
    rig.run(200)
    assert rig.board.out[9] == 1
    rig.board.set(20, 0)
    assert rig.board.out[9] == 0, "before any tick"
    rig.tick()
    assert chips[(0, 0x20)].driven() == {3: 1, 12: 1}
    rig.board.set(20, 1)
    rig.run(1000)
    assert rig.control.feeds[0].latched and chips[(0, 0x20)].driven() == {3: 1, 12: 1}


def test_a_trip_of_a_changeover_behind_an_enable_is_told_and_bounded():
    """However often it is tried again, a short that stays latches it."""
    feed = changeover("T1.F", 16, "A", follow(0), strict_moves(0), enable=0, retries=2, retry_ms=300)
    doc = document([servo()], [feed], groups=[{"name": "E", "out": {"pin": 9}, "release_ms": 15, "operate_ms": 10}])
    doc["trips"] = [{"name": "K1", "input": {"pin": 20, "active": 0}, "watches": [0]}]
    rig = started(doc, {})
    rig.run(200)
    closed = 0
    for _ in range(600):
        was = rig.board.out[9]
        if was and rig.board.out[16] == 1:
            rig.board.set(20, 0)
            assert rig.board.out[9] == 0, "before any tick"
            rig.board.set(20, 1)
            closed += 1
        rig.tick()
    assert closed == 3 and rig.control.feeds[0].latched and rig.board.out[9] == 0
    assert len([e for e in rig.seen if e[2] == events.TRIP]) == 3
    assert len([e for e in rig.seen if e[2] == events.FAULT]) == 1
    rig.control.orders.reset()
    rig.run(200)
    assert rig.board.out[9] == 1 and rig.control.feeds[0].out.told == 2


def test_a_bare_changeover_never_moves_on_a_trip():
    rig = started(trip_doc(changeover("T1.F", 16, "A", follow(0), stretch_moves(0))), {})
    rig.run(200)
    assert rig.board.out[16] == 1, "B is the working side"
    rig.board.set(20, 0)
    rig.run(500)
    assert rig.board.out[16] == 1
    assert rig.control.feeds[0].latched and [e for e in rig.seen if e[2] == events.FAULT]


def test_off_is_off_whatever_happened():
    chips = both()
    doc = on_chips()
    doc["trips"] = [{"name": "K1", "input": {"pin": 20, "active": 0}, "watches": [0]}]
    rig = started(doc, chips)
    rig.run(200)
    rig.hardware.off()
    assert rig.board.out[9] == 0 and rig.board.out[7] == 0 and rig.board.out[6] == 1
    assert not rig.board.handlers
