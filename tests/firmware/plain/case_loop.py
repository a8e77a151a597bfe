"""The whole loop, with pins, chips and a clock that are not real: what a tick takes, and what is done between ticks."""

import sys

import case_steady
from case_link import Port
from frogboard import frame
from frogboard.board import Board
from frogboard.link import Link
from frogboard.store import Store

import fake_machine
from documents import sealed, simple
from fake_flash import fresh

try:
    import micropython
except ImportError:
    micropython = None


class Clock:
    """In the place of `time`: it moves by what is slept, and by `cost_us` whenever it is looked at."""

    def __init__(self):
        self.us = 1000000
        self.cost_us = 1

    def ticks_us(self):
        self.us += self.cost_us
        return self.us

    def ticks_ms(self):
        self.us += self.cost_us
        return self.us // 1000

    def ticks_diff(self, end, start):
        return end - start

    def sleep_ms(self, ms):
        self.us += ms * 1000

    def sleep_us(self, us):
        self.us += us


class Dog:
    def __init__(self):
        self.fed = 0

    def feed(self):
        self.fed += 1


class Lines(Port):
    """A serial port that takes no memory while nothing comes and nothing is to be sent."""

    gone = False


def loop_of(doc):
    """A loop over a board that has these settings, with every position known: (loop, clock)."""
    board_pins = fake_machine.install()
    board_pins.chips = {
        0x40: fake_machine.Pca9685(6),
        0x20: fake_machine.Mcp23017(7),
        0x21: fake_machine.Mcp23017(8),
        128 + 0x40: fake_machine.Ina("ina226"),
    }
    board_pins.analogue = {26: lambda: 33100, 27: lambda: 33100}
    clock = Clock()
    before = sys.modules.get("time")
    sys.modules["time"] = clock
    for name in ("frogboard.app", "frogboard.pins", "frogboard.buses"):
        if name in sys.modules:
            del sys.modules[name]
    try:
        import frogboard.app
        from frogboard.pins import Hardware
    finally:
        del sys.modules["time"]
        if before is not None:
            sys.modules["time"] = before
    store = Store(fresh("loop"))
    store.commit_settings(sealed(doc))
    board = Board(store, "e6614103e7452d2f", "power")
    board.load()
    positions = {}
    for key, spec in zip(board.control.keys, doc["drives"]):
        positions[key] = (0, spec["pulse_us"][0])
    board.control.remember(positions, [])
    port = Lines()
    link = Link(port, board)
    board.lines = link.counts
    loop = frogboard.app.Loop(board, port, link, Dog(), Hardware(board.control))
    return loop, clock


def ticks(loop, count):
    for _ in range(count):
        loop.tick()
        loop._wait()


def taking_nothing(loop, count):
    """Ticks with the heap locked: any memory taken is an exception."""
    micropython.heap_lock()
    try:
        for _ in range(count):
            loop.tick()
            loop._wait()
    finally:
        micropython.heap_unlock()


def settled(loop):
    ticks(loop, 400)
    loop.port.outgoing = bytearray()
    while len(loop.board.log):
        loop.board.log.take()
    assert loop.control.idle and not loop.link.busy


def test_a_tick_of_the_whole_loop_takes_no_memory():
    loop, _ = loop_of(case_steady.sixteen())
    settled(loop)
    fed = loop.watchdog.fed
    if micropython is not None:
        taking_nothing(loop, 100)
        assert loop.watchdog.fed == fed + 100
    for d in range(16):
        loop.control.orders.throw(d, 1)
    ticks(loop, 60)
    while len(loop.board.log):
        loop.board.log.take()
    ticks(loop, 5)
    assert loop.control.mover.moving == 16
    if micropython is not None:
        taking_nothing(loop, 50)
    assert loop.control.mover.moving == 16


def test_the_lock_sees_memory_that_is_taken():
    if micropython is None:
        return
    loop, _ = loop_of(simple())
    settled(loop)
    loop.control.log.put = lambda *_: bytearray(100)
    loop.control.orders.throw(0, 1)
    try:
        taking_nothing(loop, 20)
    except MemoryError:
        return
    raise AssertionError("memory was taken under the lock")


def begin(port, size):
    port.incoming += frame.pack(
        {
            "jsonrpc": "2.0",
            "id": 1,
            "method": "push.begin",
            "params": {"what": "layout", "size": size, "crc32": "00000000"},
        }
    )


def chunk(port, at):
    params = {"at": at, "data": "QUJD" * 160}
    port.incoming += frame.pack({"jsonrpc": "2.0", "id": 2, "method": "push.chunk", "params": params})


def test_while_a_push_is_under_way_the_time_left_of_a_tick_is_the_links():
    loop, clock = loop_of(simple())
    settled(loop)
    begin(loop.port, 4800)
    ticks(loop, 10)
    assert loop.board.push.what == "layout"
    began = clock.us
    for n in range(3):
        chunk(loop.port, 480 * n)
    ticks(loop, 2)
    assert loop.board.push.at == 1440, "three chunks do not fit into two ticks"
    assert 9000 < clock.us - began < 12000, "the ticks did not go on as ever: %d" % (clock.us - began)


def test_at_rest_the_time_left_is_the_links_and_with_a_drive_in_motion_a_tick_takes_its_few_bytes():
    loop, clock = loop_of(simple())
    settled(loop)
    for n in range(20):
        loop.port.incoming += frame.pack({"jsonrpc": "2.0", "id": n, "method": "hello"})
    began = clock.us
    ticks(loop, 10)
    assert loop.link.counts()[0] >= 11, "one a tick, and more in between"
    assert 49000 < clock.us - began < 52000, "the ticks went on as ever"
    settled(loop)
    begin(loop.port, 4800)
    ticks(loop, 10)
    loop.control.orders.throw(0, 1)
    ticks(loop, 20)
    assert loop.control.mover.moving == 1 and loop.board.push.what == "layout"
    chunk(loop.port, 0)
    waiting = len(loop.port.incoming)
    began = clock.us
    ticks(loop, 4)
    assert 0 < waiting - len(loop.port.incoming) <= 4 * 48
    assert 19000 < clock.us - began < 22000, clock.us - began


def test_looking_at_the_real_port_takes_no_memory():
    if micropython is None:
        return
    from frogboard import usb

    port = usb.Usb()
    into = bytearray(64)
    port.receive(into, 0, 64)
    micropython.heap_lock()
    try:
        for _ in range(50):
            assert port.receive(into, 0, 64) == 0
            assert port.push(64) == 0
            assert not port.sending
    finally:
        micropython.heap_unlock()
