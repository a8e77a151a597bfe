"""The tick's steady state on the real MicroPython: no allocation, with sixteen drives in motion; and what it costs."""

import time

import fake_machine
from documents import Rig, changeover, document, follow, pair, servo, strict_moves
from fake_machine import Ina, Mcp23017, Pca9685

try:
    import micropython
except ImportError:
    micropython = None


def sixteen(chips=True):
    """Sixteen turnouts: eight servos and pairs on pins would not fit more, so servos and pairs are on chips."""
    drives = [servo("D%d" % i, out={"kind": "pca9685", "chip": 0, "channel": i}, travel_ms=3000) for i in range(16)]
    feeds = []
    for i in range(16):
        feed = pair("T%d.F" % i, 0, 0, follow(i), strict_moves(i))
        for leg, pin in (("a", 2 * i), ("b", 2 * i + 1)):
            feed[leg] = {"chip": 1 + pin // 16, "pin": pin % 16, "active": 1}
        feeds.append(feed)
    doc = document(drives, feeds, max_moving=16, tick_ms=20)
    doc["buses"] = [{"sda": 4, "scl": 5, "hz": 400000}, {"sda": 2, "scl": 3, "hz": 400000}]
    doc["chips"] = [
        {"kind": "pca9685", "bus": 0, "address": 0x40, "oe_pin": 6},
        {"kind": "mcp23017", "bus": 0, "address": 0x20, "reset_pin": 7},
        {"kind": "mcp23017", "bus": 0, "address": 0x21, "reset_pin": 8},
        {"kind": "ina226", "bus": 1, "address": 0x40},
    ]
    doc["sensors"] = [
        {"name": "C1", "kind": "ina", "chip": 3, "na_per_count": 125000, "trip_ma": 3000, "watches": list(range(16))},
        {"name": "C2", "kind": "adc", "pin": 26, "na_per_count": 408000, "measure": "rms", "zero_count": 33100},
        {"name": "C3", "kind": "adc", "pin": 27, "na_per_count": 408000},
    ]
    doc["inputs"] = [{"name": "I%d" % i, "pin": 16 + i} for i in range(4)]
    return doc


def behind_enables():
    """The same turnouts, fed by relays instead of pairs: four behind each of four enables."""
    doc = sixteen()
    doc["groups"] = [{"name": "E%d" % g, "out": {"pin": 9 + g}, "release_ms": 15, "operate_ms": 10} for g in range(4)]
    for i, legs in enumerate(doc["feeds"]):
        relay = changeover(legs["name"], 0, "A", legs["table"], legs["moves"], enable=i // 4)
        relay["coil"] = legs["a"]
        doc["feeds"][i] = relay
    return doc


def moving(count=16, doc=None):
    """The hardware layer and control of a board (None: the first), `count` servos in mid-travel."""
    board = fake_machine.install()
    board.chips = {
        0x40: Pca9685(6),
        0x20: Mcp23017(7),
        0x21: Mcp23017(8),
        128 + 0x40: Ina("ina226"),
    }
    board.analogue = {26: lambda: 33100, 27: lambda: 33100}
    doc = doc or sixteen()
    positions = Rig(doc).known(0)
    rig = Rig(doc, positions, tick_ms=5)
    from frogboard.pins import Hardware

    hardware = Hardware(rig.control)
    for _ in range(100):
        hardware.read(5)
        rig.tick()
        hardware.write()
    for d in range(count):
        rig.control.orders.throw(d, 1)
    for _ in range(60):
        hardware.read(5)
        rig.tick()
        hardware.write()
    assert rig.control.mover.moving == count
    return rig, hardware


def test_no_allocation_with_sixteen_drives_in_motion():
    rig, hardware = moving()
    control = rig.control
    if micropython is None:
        return
    idle = control.idle
    micropython.heap_lock()
    try:
        for _ in range(100):
            hardware.read(5)
            control.step(5)
            hardware.write()
            idle = control.idle
    finally:
        micropython.heap_unlock()
    assert not idle and control.mover.moving == 16


def test_no_allocation_at_rest():
    if micropython is None:
        return
    rig, hardware = moving()
    for _ in range(2000):
        hardware.read(5)
        rig.tick()
        hardware.write()
    control = rig.control
    assert control.idle
    micropython.heap_lock()
    try:
        for _ in range(100):
            hardware.read(5)
            control.step(5)
            hardware.write()
            idle = control.idle
    finally:
        micropython.heap_unlock()
    assert idle


def test_no_allocation_while_enables_open_and_close():
    """A throw of all sixteen, from rest to rest; flash, and what the orders themselves take, are let off."""
    rig, hardware = moving(0, behind_enables())
    control = rig.control
    for d in range(16):
        control.orders.throw(d, 1)
    opened = closed = 0
    for _ in range(2000):
        hardware.read(5)
        while len(control.log):
            control.log.take()
        was = sum([group.on for group in control.groups])
        if micropython is not None:
            micropython.heap_lock()
        try:
            control.step(5)
        finally:
            if micropython is not None:
                micropython.heap_unlock()
        now = sum([group.on for group in control.groups])
        opened += now < was
        closed += now > was
        hardware.write()
        if control.mover.wants_flash:
            control.mover.marked()
    assert opened and closed and control.idle and not any([feed.active for feed in control.feeds])


def test_an_event_allocates_nothing_either():
    if micropython is None:
        return
    rig, hardware = moving()
    control = rig.control
    micropython.heap_lock()
    try:
        for i in range(200):
            control.log.put(4, 1, i & 1)
        control.guard.chip(control.feeds[3], False)
        control.step(5)
    finally:
        micropython.heap_unlock()


def count_up(n):
    x = 0
    for _ in range(n):
        x += 1
    return x


def test_what_a_tick_costs():
    """Printed, not judged: microseconds here, and how often `x += 1` in a loop could have run meanwhile."""
    if not hasattr(time, "ticks_us"):
        return
    began = time.ticks_us()
    count_up(100000)
    unit = time.ticks_diff(time.ticks_us(), began)
    for count in (0, 4, 16):
        rig, _ = moving(count)
        control = rig.control
        for _ in range(700 if count == 0 else 1):
            control.step(5)
        began = time.ticks_us()
        for _ in range(100):
            control.step(5)
        took = time.ticks_diff(time.ticks_us(), began)
        print("  logic of a tick, %d of 16 drives moving: %d us, %d loops" % (count, took // 100, took * 1000 // unit))
