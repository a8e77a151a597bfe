"""The one loop: read the pins, step the logic, write the pins, save, talk, feed the watchdog, wait for the next tick.

Uses `machine` and `time` only. `run` returns what is to happen next, with everything off.
"""

import time

import machine

from frogboard import lamp, proof, usb
from frogboard.board import RELOAD, Board
from frogboard.link import Link
from frogboard.pins import Hardware
from frogboard.store import Store
from frogboard.table import UNKNOWN

if False:
    from typing import Any

HOLD = "hold"
GONE = "gone"
LONGEST_SLEEP_MS = 500
"""Well below the shortest watchdog time."""
HEALTHY_MS = 60000
"""After running for this long, crashes before it are forgiven."""
MOST_CRASHES = 3
"""After so many in a row the settings are left alone: outputs off, link alive."""
LAMP_TICKS = 8
"""Every so many ticks the lamp's state is worked out anew: nobody sees it sooner."""
LAST_WORDS_MS = 300
"""How long the answer to a request for a restart may take to be read."""


def run(root: str) -> str:
    """Run until a restart is wanted: "reset", "maintenance", "hold" where the button was held, or "gone" where the
    other end of the serial port does not exist any more (not on a board). All is off then.

    `root` is the folder of the stored files. Any exception comes out of here, with everything off too.
    """
    store = Store(root)
    store.prepare()
    board = Board(store, _ident(), _cause())
    crashes, board.crash = store.crashes()
    port = usb.Usb()
    link = Link(port, board)
    board.lines = link.counts
    watchdog: "Any" = None
    while True:
        if crashes >= MOST_CRASHES:
            board.refuse("it crashed %d times in a row: %s" % (crashes, board.crash))
            crashes = 0
        else:
            board.load()
        if watchdog is None:
            if _held(board):
                return HOLD
            port.open()
            watchdog = machine.WDT(timeout=_watchdog_ms(board))
        hardware = _hardware(board)
        loop = Loop(board, port, link, watchdog, hardware)
        try:
            action = loop.run()
        finally:
            loop.off()
        board.restart = ""
        if action != RELOAD:
            port.close()
            return action


def _hardware(board: Board) -> "Hardware | None":
    """The pins, or None where there are no settings or this chip can't do what they say."""
    if board.control is None:
        return None
    try:
        return Hardware(board.control)
    except (ValueError, OSError) as error:
        board.refuse("this chip can't do what they say: %s" % error)
        return None


def _watchdog_ms(board: Board) -> int:
    return board.control.doc["watchdog_ms"] if board.control is not None else 5000


def _ident() -> str:
    return "".join("%02x" % byte for byte in machine.unique_id())


def _cause() -> str:
    cause = machine.reset_cause()
    for name, word in (("PWRON_RESET", "power"), ("WDT_RESET", "watchdog"), ("SOFT_RESET", "soft")):
        if getattr(machine, name, None) == cause:
            return word
    return "other"


def _held(board: Board) -> bool:
    """Whether the button that leaves the board at its prompt is held down."""
    control = board.control
    if control is None or control.doc["hold_input"] < 0:
        return False
    spec = control.doc["inputs"][control.doc["hold_input"]]
    pull = {"up": machine.Pin.PULL_UP, "down": machine.Pin.PULL_DOWN}.get(spec["pull"])
    pin = machine.Pin(spec["pin"], machine.Pin.IN, pull) if pull is not None else machine.Pin(spec["pin"])
    time.sleep_ms(2)
    return bool(pin.value() == spec["active"])


class Loop:
    """One run of the control loop with one set of settings (or without any)."""

    def __init__(self, board: Board, port: "usb.Usb", link: Link, watchdog: "Any", hardware: "Hardware | None") -> None:
        self.board = board
        self.port = port
        self.watchdog = watchdog
        self.control = board.control
        self.hardware = hardware
        self.link = link
        self.tick_ms = 5
        self.lamp = lamp.Lamp()
        self.lamp_pin: "machine.Pin | None" = None
        self._lamp_wait = 0
        self._lamp_shows = lamp.OK
        self._skipped = 0
        self._talking = False
        self._healthy_ms = 0
        self._on_trial = proof.wanted()
        if self.control is not None and self.hardware is not None:
            self.tick_ms = self.control.doc["tick_ms"]
            board.write_pins = self.hardware.write
            if self.control.doc["led_pin"] >= 0:
                self.lamp_pin = machine.Pin(self.control.doc["led_pin"], machine.Pin.OUT, value=0)
        self._sleep_idle: "Any" = getattr(time, "sleep_idle_ms", None)
        """A simulated clock may offer this: sleep for so long or until something comes in from outside."""
        self._start = time.ticks_ms()
        self._written = self._start

    def run(self) -> str:
        """Tick until a restart is wanted."""
        last_words = LAST_WORDS_MS
        while True:
            dt_ms = self.tick()
            if self.port.gone:
                return GONE
            if self.board.restart:
                last_words -= dt_ms
                if not self.port.sending or last_words <= 0:
                    return self.board.restart
            self._wait()

    def tick(self) -> int:
        """One tick; how many ms had passed since the one before."""
        board = self.board
        control = self.control
        began_us = time.ticks_us()
        now = time.ticks_ms()
        passed = time.ticks_diff(now, self._start)
        since_written = time.ticks_diff(now, self._written) + self.tick_ms
        dt_ms = min(passed, since_written)
        self._start = now
        if dt_ms > 2 * self.tick_ms and self._skipped == 0:
            board.late = (board.late + 1) & 0x3FFFFFF
        moving = False
        if control is not None and self.hardware is not None:
            self.hardware.read(passed)
            control.step(dt_ms)
            self.hardware.write()
            self._written = time.ticks_ms()
            moving = control.mover.moving > 0
            if control.mover.wants_flash:
                board.save()
        board.tick(passed)
        self._talking = self.link.step(moving)
        self._light(passed)
        self._forgive(passed)
        self.watchdog.feed()
        took = time.ticks_diff(time.ticks_us(), began_us)
        if took > board.worst_us:
            board.worst_us = took
        return passed

    def _forgive(self, passed_ms: int) -> None:
        """Once, when it has run well for long enough and nothing moves: crashes before are forgotten.

        New firmware stays as soon as a laptop has had its answer, or after the same time without one.
        """
        healthy = self._healthy_ms >= HEALTHY_MS
        if not healthy:
            self._healthy_ms += min(passed_ms, 1000)
        if self.control is not None and self.control.mover.busy:
            return
        if self._on_trial and (healthy or self.board.greeted) and not self.port.sending:
            self._on_trial = False
            try:
                proof.give()
            except OSError:
                pass
        elif healthy and self.board.crash:
            self.board.crash = ""
            self.board.store.forgive()

    def _light(self, passed_ms: int) -> None:
        if self.lamp_pin is None:
            return
        self._lamp_wait -= 1
        if self._lamp_wait <= 0 or self._skipped:
            self._lamp_wait = LAMP_TICKS
            self._lamp_shows = self.lamp_state
        self.lamp_pin.value(self.lamp.tick(passed_ms, self._lamp_shows))

    @property
    def lamp_state(self) -> int:
        """What the status lamp says."""
        control = self.control
        if control is None:
            return lamp.NO_SETTINGS
        if control.panel.refusing:
            return lamp.REFUSED
        if control.orders.all_off:
            return lamp.ALL_OFF
        for feed in control.feeds:
            if feed.fault:
                return lamp.FAULT
        if control.mover.busy:
            return lamp.MOVING
        for drive in control.drives:
            if drive.at == UNKNOWN:
                return lamp.MOVING
        return lamp.OK

    def deadline_ms(self) -> int:
        """How long nothing will happen unless something comes in from outside; one tick where something will."""
        control = self.control
        if self.link.busy or self.board.restart or (control is not None and not control.idle):
            return self.tick_ms
        longest = lamp.Lamp.deadline_ms(self.lamp_state) if self.lamp_pin is not None else 60000
        if (self.board.crash or self._on_trial) and self._healthy_ms < HEALTHY_MS:
            longest = 500
        if self.board.due_ms >= 0:
            longest = min(longest, self.board.due_ms)
        return max(self.tick_ms, min(longest, LONGEST_SLEEP_MS))

    def _wait(self) -> None:
        """Until the next tick, or with a clock that can skip until the next deadline."""
        if self._sleep_idle is not None:
            deadline = self.deadline_ms()
            if deadline > self.tick_ms:
                self._skipped = 1
                self._sleep_idle(deadline)
                return
        self._skipped = 0
        while True:
            rest = self.tick_ms - time.ticks_diff(time.ticks_ms(), self._start)
            if rest <= 0:
                return
            if not self._spare():
                time.sleep_ms(rest)
                return
            self._talking = self.link.step(False)
            if not self._talking:
                time.sleep_ms(1)

    def _spare(self) -> bool:
        """Whether the time until the next tick is the link's: somebody talks or pushes, and nothing moves or waits."""
        if self.board.restart or self.port.gone or not (self._talking or self.board.push.what is not None):
            return False
        return self.control is None or not self.control.mover.busy

    def off(self) -> None:
        """Everything off; never raises."""
        if self.hardware is not None:
            self.hardware.off()
        self.board.write_pins = _nothing
        if self.lamp_pin is not None:
            self.lamp_pin.value(0)


def _nothing() -> None:
    return None
