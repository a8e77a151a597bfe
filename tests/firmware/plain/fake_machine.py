"""A `machine` for tests of the hardware layer: pins that remember, chips on I2C modelled by their registers.

`install()` puts it in the place of `machine` for what is imported afterwards, with an empty board.
"""

import sys


class Board:
    """What is wired to the pins and buses."""

    def __init__(self):
        self.out = {}
        self.outside = {}
        self.mode = {}
        self.handlers = {}
        self.chips = {}
        self.stuck = False
        self.clocks = 0
        self.pulses = {}
        self.analogue = {}
        self.traffic = 0
        self.changes = []

    def level(self, n):
        if self.mode.get(n) == Pin.OUT:
            return self.out.get(n, 0)
        return self.outside.get(n, 1 if self.mode.get(n) == "up" else 0)

    def set(self, n, level):
        """The outside drives a pin; a hard interrupt follows at once."""
        before = self.outside.get(n)
        self.outside[n] = level
        if before != level and n in self.handlers:
            handler, trigger, pin = self.handlers[n]
            if trigger & (Pin.IRQ_RISING if level else Pin.IRQ_FALLING):
                handler(pin)


board = Board()


class Pin:
    IN = 0
    OUT = 1
    OPEN_DRAIN = 2
    PULL_UP = 1
    PULL_DOWN = 2
    IRQ_RISING = 8
    IRQ_FALLING = 4

    def __init__(self, n, mode=-1, pull=-1, value=None):
        self.n = n
        if mode == Pin.IN:
            board.mode[n] = "up" if pull == Pin.PULL_UP else Pin.IN
        elif mode != -1:
            board.mode[n] = mode
            self.value(0 if value is None else value)

    def value(self, level=None):
        if level is None:
            return board.level(self.n)
        if board.mode.get(self.n) == Pin.OPEN_DRAIN and level:
            board.clocks += 1
        if board.out.get(self.n) != level:
            board.out[self.n] = level
            board.changes.append((self.n, level))
            for chip in board.chips.values():
                chip.line(self.n, level)
        return None

    def irq(self, handler=None, trigger=0, hard=False):
        if handler is None:
            board.handlers.pop(self.n, None)
        else:
            assert hard, "a soft interrupt would come late"
            board.handlers[self.n] = (handler, trigger, self)


class PWM:
    def __init__(self, pin, freq=0, duty_ns=0):
        assert freq == 50
        self.n = pin.n
        self.duty_ns(duty_ns)

    def duty_ns(self, ns):
        assert 0 <= ns < 2**30
        board.pulses[self.n] = ns

    def deinit(self):
        board.pulses[self.n] = 0


class ADC:
    def __init__(self, pin):
        self.n = pin.n

    def read_u16(self):
        return board.analogue[self.n]()


class I2C:
    def __init__(self, unit, sda=None, scl=None, freq=0, timeout=0):
        assert timeout and timeout <= 2000, "a stuck bus would hold up the loop"
        self.unit = unit
        self.freq = freq

    def _chip(self, address):
        board.traffic += 1
        chip = board.chips.get(self.unit * 128 + address)
        if chip is None or board.stuck or not chip.answers:
            raise OSError(5)
        return chip

    def writeto_mem(self, address, register, data):
        chip = self._chip(address)
        for value in data:
            chip.write(register, value)
            register = chip.after(register)

    def readfrom_mem_into(self, address, register, data):
        chip = self._chip(address)
        for i in range(len(data)):
            data[i] = chip.read(register)
            register = chip.after(register)


class Mcp23017:
    """Registers 00 to 15 hex, BANK = 0; RESET on a GPIO."""

    def __init__(self, reset_pin):
        self.reset_pin = reset_pin
        self.answers = True
        self.held = True
        self.outside = 0xFFFF
        self.glitches = []
        self.reset()

    def reset(self):
        self.regs = bytearray(0x16)
        self.regs[0] = self.regs[1] = 0xFF

    def line(self, n, level):
        if n == self.reset_pin:
            self.held = not level
            if self.held:
                self.reset()

    def after(self, register):
        return (register + 1) % 0x16

    def write(self, register, value):
        if self.held:
            raise OSError(5)
        if register in (0x12, 0x13):
            register += 2
        self.regs[register] = value
        if register in (0, 1, 0x14, 0x15):
            self.glitches.append(self.driven())

    def read(self, register):
        if self.held:
            raise OSError(5)
        if register in (0x12, 0x13):
            port = register - 0x12
            mask = self.regs[port]
            return (self.outside >> 8 * port & mask) | (self.regs[0x14 + port] & ~mask & 0xFF)
        return self.regs[register]

    def driven(self):
        """Pin -> level, for pins that are outputs now."""
        if self.held:
            return {}
        found = {}
        for n in range(16):
            if not self.regs[n >> 3] >> (n & 7) & 1:
                found[n] = self.regs[0x14 + (n >> 3)] >> (n & 7) & 1
        return found


class Pca9685:
    """Registers 00 to 45 and FA to FE hex; OE on a GPIO."""

    def __init__(self, oe_pin):
        self.oe_pin = oe_pin
        self.answers = True
        self.enabled = False
        self.power_up()

    def power_up(self):
        self.regs = bytearray(256)
        self.regs[0] = 0x11
        self.regs[1] = 0x04
        self.regs[0xFE] = 0x1E
        for n in range(16):
            self.regs[9 + 4 * n] = 0x10

    def line(self, n, level):
        if n == self.oe_pin:
            self.enabled = not level

    def after(self, register):
        return register if not self.regs[0] & 0x20 else 0 if register == 0x45 else (register + 1) & 255

    def write(self, register, value):
        if register == 0xFE:
            assert self.regs[0] & 0x10, "the prescale is written while the chip is awake"
        if 0xFA <= register <= 0xFD:
            for n in range(16):
                self.regs[6 + 4 * n + register - 0xFA] = value
        self.regs[register] = value

    def read(self, register):
        return self.regs[register]

    def pulse_us(self, n):
        """The pulse on a channel, in whole microseconds; 0: none."""
        on_l, on_h, off_l, off_h = self.regs[6 + 4 * n : 10 + 4 * n]
        if not self.enabled or off_h & 0x10 or self.regs[0] & 0x10:
            return 0
        assert self.regs[1] & 0x04 and self.regs[0xFE] == 121
        counts = (off_l | off_h << 8) - (on_l | on_h << 8)
        assert counts > 0
        return counts * 122 // 25


class Ina:
    """A current sensor of any of the three kinds: 16-bit registers, high byte first."""

    def __init__(self, kind):
        self.kind = kind
        self.answers = True
        self.shunt = [0, 0, 0]
        self.regs = {0: {"ina219": 0x399F, "ina226": 0x4127, "ina3221": 0x7127}[kind]}
        self._byte = {}

    def line(self, n, level):
        pass

    def after(self, register):
        return register

    def _count(self, register):
        self._byte[register] = 1 - self._byte.get(register, 1)
        return self._byte[register]

    def write(self, register, value):
        old = self.regs.get(register, 0)
        self.regs[register] = (old & 0x00FF) | value << 8 if self._count(register) == 0 else (old & 0xFF00) | value

    def read(self, register):
        if self.kind == "ina3221" and register in (1, 3, 5):
            word = self.shunt[(register - 1) // 2] << 3 & 0xFFFF
        elif register == 1:
            word = self.shunt[0] & 0xFFFF
        else:
            word = self.regs.get(register, 0)
        return word >> 8 if self._count(register) == 0 else word & 255


class _Module:
    pass


def install():
    """A fresh board; its `machine` is what the hardware layer imports from now on."""
    global board
    board.__init__()
    module = _Module()
    module.Pin, module.PWM, module.ADC, module.I2C = Pin, PWM, ADC, I2C
    sys.modules["machine"] = module
    for name in ("frogboard.pins", "frogboard.buses"):
        if name in sys.modules:
            del sys.modules[name]
    import time

    if not hasattr(time, "sleep_us"):
        time.sleep_us = lambda us: None
    return board
