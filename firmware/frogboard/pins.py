"""The hardware layer: GPIO, PWM and the chips, behind the flat arrays of `control`. Uses `machine` only.

Everything starts off: outputs are made outputs at their off level, chips are held in reset or disabled until their
registers say off, and no pulse is sent before `write` is asked to. `off` puts everything back to that.
"""

import array

from machine import PWM, Pin

if False:
    from typing import Any

    from frogboard.buses import Chips
    from frogboard.control import Control

FRAME_HZ = 50


class Hardware:
    """All pins of one board. `read` before a step, `write` after it; both allocate nothing when nothing changes."""

    def __init__(self, control: "Control") -> None:
        doc = control.doc
        self._control = control
        count = len(control.line_refs)
        self._now = bytearray(count)
        self._pins: "list[Pin | None]" = []
        self._level = bytearray(count)
        for i, ref in enumerate(control.line_refs):
            self._level[i] = ref["active"]
            gpio = ref["chip"] < 0
            self._pins.append(Pin(ref["pin"], Pin.OUT, value=1 - ref["active"]) if gpio else None)
        self._pwm: "list[PWM | None]" = []
        self._pwm_pins: "list[int]" = []
        self._sent_us = array.array("h", [0] * len(control.drives))
        self._resend = True
        self.chips = _chips(control, self._now, self._sent_us)
        for spec in doc["drives"]:
            out = spec["out"]
            self._pwm_pins.append(out["pin"] if out is not None and out["kind"] == "pwm" else -1)
            self._pwm.append(None)
            if out is not None and out["kind"] == "pwm":
                Pin(out["pin"], Pin.OUT, value=0)
        self._inputs = [_input(spec) for spec in doc["inputs"]]
        self._active = bytes([spec["active"] for spec in doc["inputs"]])
        self._trips = [TripInput(control, self, i) for i in range(len(doc["trips"]))]

    def gpio(self, line: int) -> "Pin | None":
        """The pin of an output line, or None where an expander has it."""
        return self._pins[line]

    def read(self, dt_ms: int) -> None:
        """Bring inputs and sensor readings up to date; `dt_ms` have passed since the last time."""
        raw = self._control.inputs.raw
        for i in range(len(self._inputs)):
            pin = self._inputs[i]
            if pin is not None:
                raw[i] = 1 if pin.value() == self._active[i] else 0
        self.chips.read(dt_ms)
        for trip in self._trips:
            trip.look()

    def write(self) -> None:
        """Bring the pins up to date: what goes off, then the expanders, what goes on, the pulses."""
        lines = self._control.lines
        now = self._now
        if lines != now:
            self._write_lines(lines, now)
        else:
            self.chips.write()
        if self._control.mover.queued or self._resend or self.chips.pulses_lost:
            self._write_pulses()
        for trip in self._trips:
            trip.confirm()

    def _write_lines(self, lines: bytearray, now: bytearray) -> None:
        for i in range(len(lines)):
            if lines[i] != now[i]:
                pin = self._pins[i]
                if pin is None:
                    if self.chips.set(i, lines[i]):
                        now[i] = lines[i]
                elif not lines[i]:
                    pin.value(1 - self._level[i])
                    now[i] = 0
        self.chips.write()
        for i in range(len(lines)):
            if lines[i] and not now[i]:
                pin = self._pins[i]
                if pin is not None:
                    pin.value(self._level[i])
                    now[i] = 1

    def _write_pulses(self) -> None:
        """Send what differs; once more with the next tick where something could not be sent, or ended just now."""
        self._resend = self._control.mover.queued > 0
        self.chips.pulses_lost = False
        drives = self._control.drives
        for d in range(len(drives)):
            us = drives[d].out_us
            if us != self._sent_us[d]:
                self._pulse(d, us)
                if us != self._sent_us[d]:
                    self._resend = True

    def cleared(self, line: int) -> None:
        """An interrupt has put this line off already."""
        self._now[line] = 0

    def _pulse(self, d: int, us: int) -> None:
        number = self._pwm_pins[d]
        if number < 0:
            if self.chips.pulse(d, us):
                self._sent_us[d] = us
            return
        pwm = self._pwm[d]
        if us == 0:
            if pwm is not None:
                pwm.duty_ns(0)
        elif pwm is None:
            self._pwm[d] = PWM(Pin(number), freq=FRAME_HZ, duty_ns=us * 1000)
        else:
            pwm.duty_ns(us * 1000)
        self._sent_us[d] = us

    def off(self) -> None:
        """Everything off, whatever state this object is in; never raises."""
        for i in range(len(self._pins)):
            pin = self._pins[i]
            if pin is not None:
                try:
                    pin.value(1 - self._level[i])
                except Exception:
                    continue
        self.chips.off()
        for d in range(len(self._pwm)):
            pwm = self._pwm[d]
            try:
                if pwm is not None:
                    pwm.duty_ns(0)
                    pwm.deinit()
                if self._pwm_pins[d] >= 0:
                    Pin(self._pwm_pins[d], Pin.OUT, value=0)
            except Exception:
                continue
        for trip in self._trips:
            trip.off()


class NoChips:
    """In the place of `buses.Chips` where the board has neither chips nor sensors."""

    pulses_lost = False

    def read(self, dt_ms: int) -> None:
        """Nothing to read."""

    def set(self, line: int, on: int) -> bool:
        """There is no such line."""
        return False

    def write(self) -> None:
        """Nothing to write."""

    def pulse(self, d: int, us: int) -> bool:
        """There is no such output."""
        return False

    def off(self) -> None:
        """Nothing to turn off."""


def _chips(control: "Control", now: bytearray, sent_us: "array.array[int]") -> "Chips | NoChips":
    """The chips, and the code for them only where there are any: it takes room."""
    if not control.doc["chips"] and not control.doc["sensors"]:
        return NoChips()
    from frogboard.buses import Chips

    return Chips(control, now, sent_us)


def _input(spec: "dict[str, Any]") -> "Pin | None":
    if spec["chip"] >= 0:
        return None
    if spec["pull"] == "none":
        return Pin(spec["pin"], Pin.IN)
    return Pin(spec["pin"], Pin.IN, Pin.PULL_UP if spec["pull"] == "up" else Pin.PULL_DOWN)


class TripInput:
    """A hardware trip: a hard interrupt that clears GPIO pins and leaves a flag, nothing else."""

    def __init__(self, control: "Control", hardware: Hardware, index: int) -> None:
        spec = control.doc["trips"][index]
        ref = spec["input"]
        lines: "list[int]" = []
        for f in spec["watches"]:
            lines += [n for n in control.feed_lines(f) if n not in lines and hardware.gpio(n) is not None]
        self._lines = lines
        self._pins: "list[Any]" = [hardware.gpio(n) for n in lines]
        self._off = bytes([1 - control.line_refs[n]["active"] for n in lines])
        self._hardware = hardware
        self._control = control
        self._index = index
        self._flag = bytearray(1)
        self._active = ref["active"]
        pull = Pin.PULL_UP if self._active == 0 else Pin.PULL_DOWN
        self._input = Pin(ref["pin"], Pin.IN, pull)
        edge = Pin.IRQ_RISING if self._active else Pin.IRQ_FALLING
        self._input.irq(handler=self._strike, trigger=edge, hard=True)

    def _strike(self, pin: "Pin") -> None:
        for i in range(len(self._pins)):
            self._pins[i].value(self._off[i])
        self._flag[0] = 1

    def confirm(self) -> None:
        """After the tick's writing: an interrupt in the midst of it has the last word."""
        if self._flag[0]:
            self._strike(self._input)

    def look(self) -> None:
        """In the tick: pass the flag on; a trip that is still active strikes again."""
        if self._input.value() == self._active:
            self._strike(self._input)
        if self._flag[0]:
            self._flag[0] = 0
            for line in self._lines:
                self._hardware.cleared(line)
                self._control.lines[line] = 0
            self._control.guard.tripped[self._index] = 1

    def off(self) -> None:
        """No more interrupts."""
        try:
            self._input.irq(handler=None)
        except Exception:
            return
