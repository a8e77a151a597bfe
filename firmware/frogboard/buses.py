"""The chips on the I2C buses and the analogue inputs, behind the same flat arrays as the pins.

A chip that does not answer, or does not hold what it was told, is held in reset or disabled, its feeds are latched
off, its inputs and readings count as unknown; every `RETRY_MS` it is set up afresh, the bus unstuck before. One
tick sends at most what `bus_time` counts: changed expander ports, changed servo outputs up to the budget, one
read of each expander with inputs, one sensor a bus, and one check of one chip.
"""

import array
import time

from machine import ADC, I2C, Pin

from frogboard import events
from frogboard.ina import CurrentChip
from frogboard.inputs import UNSEEN
from frogboard.mcp23017 import Expander
from frogboard.pca9685 import ServoChip
from frogboard.samples import mean, rms
from frogboard.settings_rules import i2c_unit

if False:
    from typing import Any

    from frogboard.control import Control

RETRY_MS = 1000
CHECK_MS = 100
"""So often one chip is checked, in turn."""
TIMEOUT_US = 1000
WAKE_US = 1000
"""A servo chip's oscillator needs half of this to start."""
SAMPLES = 24
"""Readings of an analogue input a tick, taken as fast as they come: a few periods of a DCC signal."""


class Chips:
    """All chips of one board, and its analogue inputs."""

    def __init__(self, control: "Control", now: bytearray, sent_us: "array.array[int]") -> None:
        """`now` and `sent_us` are the hardware layer's: which lines are on and what pulses were sent."""
        doc = control.doc
        self._control = control
        self._now = now
        self._sent_us = sent_us
        self.pulses_lost = False
        """Pulses that were sent are there no more."""
        self._specs = doc["chips"]
        self._bus_specs = doc["buses"]
        self._buses = [_open(spec) for spec in self._bus_specs]
        self._holds: "list[Any]" = [self._hold_pin(spec) for spec in self._specs]
        self._chips: "list[Any]" = [self._make(i) for i in range(len(self._specs))]
        self._alive = bytearray(len(self._chips))
        self._told = bytearray([2] * len(self._chips))
        self._retry = array.array("h", [0] * len(self._chips))
        self._ticks = 0
        self._since_ms = 0
        self._turn = 0
        self._servo_chips = [i for i, s in enumerate(self._specs) if s["kind"] == "pca9685"]
        self._servo_turn = 0
        self._expanders = [i for i, s in enumerate(self._specs) if s["kind"] == "mcp23017"]
        self._inputs: "list[list[tuple[int, int, int]]]" = [
            [(n, s["pin"], s["active"]) for n, s in enumerate(doc["inputs"]) if s["chip"] == i]
            for i in range(len(self._chips))
        ]
        self._lines = [(r["chip"], r["pin"], r["active"]) for r in control.line_refs]
        self._servos = [_servo(spec) for spec in doc["drives"]]
        self._budget = doc["max_moving"] + 1
        self._left = self._budget
        self._rounds = [self._round(b) for b in range(len(self._buses))]
        self._next = bytearray(len(self._buses))
        self._adc = [(n, ADC(Pin(s["pin"])), s) for n, s in enumerate(doc["sensors"]) if s["kind"] == "adc"]
        self._burst = array.array("H", [0] * SAMPLES)
        for i in range(len(self._chips)):
            self._start(i)

    def _hold_pin(self, spec: "dict[str, Any]") -> "Pin | None":
        if spec["kind"] == "mcp23017":
            return Pin(spec["reset_pin"], Pin.OUT, value=0)
        if spec["kind"] == "pca9685":
            return Pin(spec["oe_pin"], Pin.OUT, value=1)
        return None

    def _make(self, i: int) -> "Any":
        spec = self._specs[i]
        bus = self._buses[spec["bus"]]
        if spec["kind"] == "pca9685":
            return ServoChip(bus, spec["address"], self._holds[i])
        doc = self._control.doc
        if spec["kind"] != "mcp23017":
            alerts = [0, 0, 0]
            for s in doc["sensors"]:
                if s["kind"] == "ina" and s["chip"] == i and s["alert_ma"]:
                    alerts[s["channel"] - 1] = s["alert_ma"] * 1000000 // s["na_per_count"]
            return CurrentChip(bus, spec["address"], spec["kind"], alerts)
        outputs = off = pullups = 0
        for ref in self._control.line_refs:
            if ref["chip"] == i:
                outputs |= 1 << ref["pin"]
                off |= (1 - ref["active"]) << ref["pin"]
        for one in doc["inputs"]:
            if one["chip"] == i and one["pull"] == "up":
                pullups |= 1 << one["pin"]
        return Expander(bus, spec["address"], self._holds[i], outputs, off, pullups)

    def _round(self, bus: int) -> "list[tuple[int, int, int]]":
        """(sensor, chip, input) of one bus, in the order in which they take their turns."""
        found = []
        for n, s in enumerate(self._control.doc["sensors"]):
            if s["kind"] == "ina" and self._specs[s["chip"]]["bus"] == bus:
                found.append((n, s["chip"], s["channel"]))
        return found

    # --- every tick ---

    def read(self, dt_ms: int) -> None:
        """`dt_ms` since the last time. Inputs of the expanders, the next sensor of each bus, the analogue inputs."""
        self._left = self._budget
        for i in self._expanders:
            if self._inputs[i] and self._alive[i]:
                self._read_inputs(i)
        for b in range(len(self._buses)):
            if self._rounds[b]:
                self._read_sensor(b)
        for n, adc, spec in self._adc:
            for k in range(SAMPLES):
                self._burst[k] = adc.read_u16()
            how = rms if spec["measure"] == "rms" else mean
            self._control.guard.reading[n] = how(self._burst, spec["zero_count"])
        self._look_after(dt_ms)

    def _read_inputs(self, i: int) -> None:
        chip = self._chips[i]
        try:
            chip.read()
        except OSError:
            self._lose(i)
            return
        for n, pin, active in self._inputs[i]:
            self._control.inputs.raw[n] = 1 if (chip.port >> pin & 1) == active else 0

    def _read_sensor(self, b: int) -> None:
        turn = self._next[b]
        n, i, channel = self._rounds[b][turn]
        self._next[b] = (turn + 1) % len(self._rounds[b])
        if not self._alive[i]:
            return
        try:
            self._control.guard.reading[n] = self._chips[i].counts(channel)
        except OSError:
            self._lose(i)

    def set(self, line: int, on: int) -> bool:
        """Put an output line of an expander on or off; `write` sends it in this tick. False: not while it is dead."""
        i, pin, active = self._lines[line]
        if not self._alive[i]:
            return False
        self._chips[i].put(pin, active if on else 1 - active)
        return True

    def write(self) -> None:
        """Send the expanders' changed ports."""
        for i in self._expanders:
            if self._alive[i]:
                try:
                    self._chips[i].write()
                except OSError:
                    self._lose(i)

    def pulse(self, d: int, us: int) -> bool:
        """Send drive d's pulse. Whether it was sent; if not, ask again in the next tick."""
        i, channel = self._servos[d]
        if not self._alive[i]:
            self._disturb(i)
            return False
        if self._left <= 0:
            return False
        self._left -= 1
        try:
            self._chips[i].pulse(channel, us)
        except OSError:
            self._lose(i)
            return False
        return True

    # --- chips that fail ---

    def _look_after(self, dt_ms: int) -> None:
        """Now and then: check one chip that works, and start those that do not.

        While drives move a servo chip every eighth tick, and while one settles every second: one that forgot sends no
        pulses, and no drive may count as arrived. Settling takes five ticks at least, enough for two chips in turn.
        """
        self._ticks = (self._ticks + 1) & 7
        self._since_ms += dt_ms
        if self._since_ms >= CHECK_MS:
            self._since_ms = 0
            if self._chips:
                self._turn = (self._turn + 1) % len(self._chips)
                self._check(self._turn)
        elif self._servo_chips and self._control.mover.moving and not self._ticks & self._often:
            self._servo_turn = (self._servo_turn + 1) % len(self._servo_chips)
            self._check(self._servo_chips[self._servo_turn])
        for i in range(len(self._chips)):
            if not self._alive[i]:
                self._retry[i] -= dt_ms if dt_ms < RETRY_MS else RETRY_MS
                if self._retry[i] <= 0:
                    self._start(i)
                    return

    @property
    def _often(self) -> int:
        """Which bits of the count of ticks are 0 where a servo chip is looked at."""
        return 1 if self._control.mover.settling else 7

    def _check(self, i: int) -> None:
        try:
            if self._alive[i] and not self._chips[i].verify():
                self._lose(i)
        except OSError:
            self._lose(i)

    def _start(self, i: int) -> None:
        """Set a chip up. Where it fails it stays held and is tried again later."""
        spec = self._specs[i]
        self._retry[i] = RETRY_MS
        try:
            self._chips[i].start()
        except OSError:
            self._lose(i)
            if self._lonely(spec["bus"]):
                self._unstick(spec["bus"])
            return
        if spec["kind"] == "pca9685":
            time.sleep_us(WAKE_US)
        self._alive[i] = 1
        self._tell(i, 1)

    def _lonely(self, bus: int) -> bool:
        """Whether nothing on a bus answers."""
        for i in range(len(self._chips)):
            if self._specs[i]["bus"] == bus and self._alive[i]:
                return False
        return True

    def _unstick(self, b: int) -> None:
        """Nine clocks let go a chip that holds the data line (I2C-bus specification, bus clear); then afresh."""
        spec = self._bus_specs[b]
        sda = Pin(spec["sda"], Pin.IN, Pin.PULL_UP)
        scl = Pin(spec["scl"], Pin.OPEN_DRAIN, value=1)
        for _ in range(9):
            if sda.value():
                break
            scl.value(0)
            time.sleep_us(5)
            scl.value(1)
            time.sleep_us(5)
        self._buses[b] = _open(spec)
        for i in range(len(self._chips)):
            if self._specs[i]["bus"] == b:
                self._chips[i].use(self._buses[b])

    def _lose(self, i: int) -> None:
        """A chip stopped answering, or forgot: hold it off, and say so to whoever relies on it."""
        self._alive[i] = 0
        self._retry[i] = RETRY_MS
        self._chips[i].hold()
        for line in range(len(self._lines)):
            if self._lines[line][0] == i:
                self._now[line] = 0
        for n, _, _ in self._inputs[i]:
            self._control.inputs.raw[n] = UNSEEN
        for turns in self._rounds:
            for n, chip, _ in turns:
                if chip == i:
                    self._control.guard.reading[n] = -1
        self._disturb(i)
        self._tell(i, 0)

    def _disturb(self, i: int) -> None:
        """Servos on a chip that fails: those that move do not arrive for certain; pulses sent are there no more."""
        for d in range(len(self._servos)):
            if self._servos[d][0] == i:
                self._sent_us[d] = 0
                drive: "Any" = self._control.drives[d]
                if drive.out_us:
                    self.pulses_lost = True
                if drive.phase > 1:
                    drive.disturb()

    def _tell(self, i: int, ok: int) -> None:
        if self._told[i] == ok:
            return
        self._told[i] = ok
        self._control.log.put(events.CHIP, i, ok)
        for f in range(len(self._control.feeds)):
            chips = [self._lines[line][0] for line in self._control.all_lines(f)]
            if i in chips:
                whole = ok == 1 and all(c < 0 or self._alive[c] for c in chips)
                self._control.guard.chip(self._control.feeds[f], whole)

    def off(self) -> None:
        """Hold all chips in reset or disabled; never raises."""
        for chip in self._chips:
            try:
                chip.hold()
            except Exception:
                continue


def _open(spec: "dict[str, Any]") -> I2C:
    return I2C(
        i2c_unit(spec["sda"]),
        sda=Pin(spec["sda"]),
        scl=Pin(spec["scl"]),
        freq=spec["hz"],
        timeout=TIMEOUT_US,
    )


def _servo(spec: "dict[str, Any]") -> "tuple[int, int]":
    out = spec["out"]
    if out is None or out["kind"] != "pca9685":
        return -1, -1
    return out["chip"], out["channel"]
