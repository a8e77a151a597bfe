"""A machine for tests: pins and pulses are kept, and every change is written to the file `pins` as a line."""

import sys
import time

PWRON_RESET = 1
WDT_RESET = 3
SOFT_RESET = 5

_log = open("pins", "a")
levels = {}


def _held():
    """Pins that a hand holds low: the numbers in the file `held`."""
    try:
        with open("held") as file:
            return [int(word) for word in file.read().split()]
    except OSError:
        return []


for _pin in _held():
    levels[_pin] = 0
inputs = {}


def _record(what, pin, value):
    _log.write("%d %s %d %d\n" % (time.ticks_ms(), what, pin, value))
    _log.flush()


class Pin:
    IN = 0
    OUT = 1
    PULL_UP = 1
    PULL_DOWN = 2
    IRQ_RISING = 8
    IRQ_FALLING = 4

    def __init__(self, number, mode=-1, pull=-1, value=None):
        if number > 29:
            raise ValueError("invalid pin")
        self.number = number
        self._pull = pull
        if mode == Pin.OUT:
            self.value(0 if value is None else value)

    def value(self, level=None):
        if level is None:
            return levels.get(self.number, 1 if self._pull == Pin.PULL_UP else 0)
        if levels.get(self.number) != level:
            levels[self.number] = level
            _record("pin", self.number, level)
        return None

    def irq(self, handler=None, trigger=0, hard=False):
        pass


class PWM:
    def __init__(self, pin, freq=0, duty_ns=0):
        self._number = pin.number
        self.duty_ns(duty_ns)

    def duty_ns(self, ns):
        assert 0 <= ns < 2**30
        _record("pulse", self._number, ns)

    def deinit(self):
        pass


class ADC:
    def __init__(self, pin):
        pass

    def read_u16(self):
        return 0


class WDT:
    def __init__(self, id=0, timeout=5000):
        _record("watchdog", 0, timeout)

    def feed(self):
        pass


def reset():
    _record("reset", 0, 0)
    sys.exit(75)


def reset_cause():
    try:
        with open("cause") as file:
            return int(file.read())
    except OSError:
        return PWRON_RESET


def unique_id():
    return b"\xe6\x61\x41\x03\xe7\x45\x2d\x2f"
