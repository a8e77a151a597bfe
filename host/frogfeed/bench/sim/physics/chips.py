"""Chips on the board's I2C buses, to their register maps: MCP23017, PCA9685, INA219, INA226, INA3221.

A chip sees whole transfers: `write(data)` from start to stop, `read(count)`. What the makers' data sheets say of
registers, their values at power-on and what may be written when is kept; a chip in reset, or missing, does not
answer.
"""

from .board import line_of

EIO = 5
ETIMEDOUT = 110


class Chip:
    """One chip. `absent`: it has vanished. `address` is its 7-bit address."""

    def __init__(self, index, spec, board, clock):
        self.index = index
        self.kind = spec["kind"]
        self.address = spec["address"]
        self.board = board
        self.clock = clock
        self.absent = 0
        self.held = 0

    def answers(self):
        """Whether it acknowledges its address."""
        return not self.absent and not self.held

    def power_on(self):
        """Registers as after power-on."""

    def dump(self):
        """Its registers, as JSON."""
        return {}

    def load(self, state):
        """Registers back."""


class Mcp23017(Chip):
    """Port expander. Lines 0 to 15: port A, then port B."""

    IODIR, IPOL, GPINTEN, DEFVAL, INTCON, IOCON, GPPU, INTF, INTCAP, GPIO, OLAT = range(11)

    def __init__(self, index, spec, board, clock):
        Chip.__init__(self, index, spec, board, clock)
        self.registers = [[0] * 11, [0] * 11]
        self.pointer = 0
        self.power_on()
        if spec.get("reset_pin", -1) >= 0:
            board.follow(spec["reset_pin"], 0, self._reset)

    def _reset(self, level):
        self.held = 0 if level else 1
        if self.held:
            self.power_on()

    def power_on(self):
        for port in (0, 1):
            for r in range(11):
                self.registers[port][r] = 0xFF if r == self.IODIR else 0
        self.pointer = 0
        self._lines(0xFFFF)

    def _place(self, address):
        """(register, port) of an address, by the bank bit; None beyond the last."""
        if self.registers[0][self.IOCON] & 0x80:
            register, port = address & 0x0F, address >> 4 & 1
        else:
            register, port = address >> 1, address & 1
        return (register, port) if register < 11 and address <= 0x1A else None

    def _step(self):
        iocon = self.registers[0][self.IOCON]
        if iocon & 0x20:  # SEQOP: stay, or toggle between the ports of a pair
            if not iocon & 0x80:
                self.pointer ^= 1
        elif iocon & 0x80:
            self.pointer = self.pointer + 1 if self.pointer & 0x0F < 10 else (self.pointer & 0x10)
        else:
            self.pointer = (self.pointer + 1) % 22

    def write(self, data):
        """First byte: register address; then values."""
        if not data:
            return
        self.pointer = data[0]
        dirty = 0
        for value in data[1:]:
            place = self._place(self.pointer)
            if place is not None:
                register, port = place
                if register == self.IOCON:
                    self.registers[0][register] = self.registers[1][register] = value
                elif register in (self.INTF, self.INTCAP):
                    pass
                else:
                    if register == self.GPIO:
                        register = self.OLAT
                    self.registers[port][register] = value
                    if register in (self.OLAT, self.IODIR, self.GPPU):
                        dirty |= 0xFF << 8 * port
            self._step()
        if dirty:
            self._lines(dirty)

    def read(self, count):
        """Registers from the pointer on."""
        out = bytearray(count)
        for i in range(count):
            place = self._place(self.pointer)
            if place is not None:
                register, port = place
                out[i] = self._port(port) if register == self.GPIO else self.registers[port][register]
            self._step()
        return out

    def _port(self, port):
        value = 0
        for bit in range(8):
            if self.board.level(line_of(self.index, 8 * port + bit)):
                value |= 1 << bit
        return value ^ self.registers[port][self.IPOL]

    def _lines(self, mask):
        for pin in range(16):
            if mask >> pin & 1:
                port, bit = pin >> 3, pin & 7
                line = line_of(self.index, pin)
                self.board.pull[line] = 1 if self.registers[port][self.GPPU] >> bit & 1 else -1
                driving = 1 - (self.registers[port][self.IODIR] >> bit & 1)
                value = self.registers[port][self.OLAT] >> bit & 1
                if driving != self.board.driving[line] or value != self.board.out[line]:
                    self.board.set_line(line, driving, value)

    def dump(self):
        return {"registers": self.registers, "pointer": self.pointer, "absent": self.absent}

    def load(self, state):
        self.registers = state["registers"]
        self.pointer = state["pointer"]
        self.absent = state["absent"]
        if not self.held:
            self._lines(0xFFFF)


class Pca9685(Chip):
    """Sixteen PWM outputs for servos, 25 MHz clock. Outputs follow their registers at the end of a transfer."""

    RESTART, AI, SLEEP = 0x80, 0x20, 0x10

    def __init__(self, index, spec, board, clock):
        Chip.__init__(self, index, spec, board, clock)
        self.registers = bytearray(256)
        self.pointer = 0
        self.oe = 1
        self.waiting = 0
        self.woke_at = 0
        self.power_on()
        if spec.get("oe_pin", -1) >= 0:
            board.follow(spec["oe_pin"], 1, self._enable)
        else:
            self.oe = 0

    def power_on(self):
        registers = self.registers
        for r in range(256):
            registers[r] = 0
        registers[0] = 0x11
        registers[1] = 0x04
        registers[2], registers[3], registers[4], registers[5] = 0xE2, 0xE4, 0xE8, 0xE0
        for channel in range(16):
            registers[9 + 4 * channel] = 0x10
        registers[0xFE] = 0x1E
        self.pointer = 0
        self.waiting = 0
        self._outputs(0xFFFF)

    def _enable(self, level):
        self.oe = level
        self._outputs(0xFFFF)

    def write(self, data):
        """First byte: register address; then values, each to the next register where AI is set."""
        if not data:
            return
        self.pointer = data[0]
        dirty = 0
        for value in data[1:]:
            dirty |= self._put(self.pointer, value)
            self._step()
        if dirty:
            self._outputs(dirty)

    def _step(self):
        if self.registers[0] & self.AI:
            if self.pointer == 0x45:
                self.pointer = 0
            else:
                self.pointer = (self.pointer + 1) & 0xFF

    def _put(self, address, value):
        """Store one value; the channels that it touches, as bits."""
        registers = self.registers
        if address == 0:
            return self._mode1(value)
        if 6 <= address <= 0x45:
            registers[address] = value & 0x1F if (address - 6) & 1 else value
            self._no_restart()
            return 1 << ((address - 6) >> 2)
        if 0xFA <= address <= 0xFD:
            for channel in range(16):
                at = 6 + 4 * channel + address - 0xFA
                registers[at] = value & 0x1F if (address - 0xFA) & 1 else value
            self._no_restart()
            return 0xFFFF
        if address == 0xFE:
            if registers[0] & self.SLEEP:
                registers[address] = value if value >= 3 else 3
            return 0
        if address < 6:
            registers[address] = value
        return 0

    def _no_restart(self):
        self.registers[0] &= 0x7F
        self.waiting = 0

    def _mode1(self, value):
        registers = self.registers
        was_asleep = registers[0] & self.SLEEP
        keep = registers[0] & self.RESTART
        if value & self.RESTART and keep and not value & self.SLEEP and self.clock.now - self.woke_at >= 500:
            keep = 0
            self.waiting = 0
        if not was_asleep and value & self.SLEEP and self._any_on():
            keep = self.RESTART
        if was_asleep and not value & self.SLEEP:
            self.woke_at = self.clock.now
            self.waiting = 1 if keep else 0
        registers[0] = (value & 0x7F) | keep
        return 0xFFFF

    def _any_on(self):
        for channel in range(16):
            if self._counts(channel):
                return True
        return False

    def _counts(self, channel):
        """How many of 4096 counts a channel is on."""
        registers = self.registers
        at = 6 + 4 * channel
        if registers[at + 3] & 0x10:
            return 0
        if registers[at + 1] & 0x10:
            return 4096
        on = registers[at] | (registers[at + 1] & 0x0F) << 8
        off = registers[at + 2] | (registers[at + 3] & 0x0F) << 8
        return (off - on) & 0x0FFF

    def _outputs(self, mask):
        stopped = self.registers[0] & self.SLEEP or self.oe or self.waiting
        tick_ns = (self.registers[0xFE] + 1) * 40
        for channel in range(16):
            if mask >> channel & 1:
                self.board.pulse(line_of(self.index, channel), 0 if stopped else self._counts(channel) * tick_ns)

    def read(self, count):
        """Registers from the pointer on."""
        out = bytearray(count)
        for i in range(count):
            out[i] = 0 if 0xFA <= self.pointer <= 0xFD else self.registers[self.pointer]
            self._step()
        return out

    def general_call(self, data):
        """A write to address 0: 06 resets it."""
        if len(data) == 1 and data[0] == 6:
            self.power_on()

    def dump(self):
        return {
            "registers": list(self.registers),
            "pointer": self.pointer,
            "waiting": self.waiting,
            "absent": self.absent,
        }

    def load(self, state):
        self.registers = bytearray(state["registers"])
        self.pointer = state["pointer"]
        self.waiting = state["waiting"]
        self.absent = state["absent"]
        self._outputs(0xFFFF)


class Ina(Chip):
    """Current sensors: INA219, INA226 and INA3221. Registers are 16 bits, high byte first."""

    POWER_ON = {
        "ina219": {0: 0x399F},
        "ina226": {0: 0x4127, 0xFE: 0x5449, 0xFF: 0x2260},
        "ina3221": {
            0: 0x7127, 0xFE: 0x5449, 0xFF: 0x3220,
            7: 0x7FF8, 8: 0x7FF8, 9: 0x7FF8, 10: 0x7FF8, 11: 0x7FF8, 12: 0x7FF8,
            14: 0x7FFE, 15: 2, 16: 0x2710, 17: 0x2328,
        },
    }  # fmt: skip
    CONVERSION_US = {"ina219": 1064, "ina226": 2200, "ina3221": 6600}
    """Shunt and bus at the power-on setting, all channels."""
    FULL = {"ina219": 32000, "ina226": 32767, "ina3221": 4095}

    def __init__(self, index, spec, board, clock, sensors):
        Chip.__init__(self, index, spec, board, clock)
        self.sensors = sensors
        self.channels = {}
        for number in range(len(sensors.sensors)):
            sensor = sensors.sensors[number]
            if sensor["chip"] == index:
                self.channels[sensor["channel"]] = number
        self.values = {}
        self.pointer = 0
        self.power_on()

    def power_on(self):
        self.values = dict(self.POWER_ON[self.kind])
        self.pointer = 0

    def write(self, data):
        """Register number; then, if there, two bytes for it."""
        if not data:
            return
        self.pointer = data[0]
        if len(data) >= 3:
            value = data[1] << 8 | data[2]
            if self.pointer == 0 and value & 0x8000:
                self.power_on()
            elif self.pointer in (0, 5, 6, 7) or self.kind == "ina3221":
                self.values[self.pointer] = value

    def _shunt(self, channel):
        number = self.channels.get(channel)
        if number is None:
            return 0
        counts = self.sensors.reading(number, self._conversion_us())
        full = self.FULL[self.kind]
        return full if counts > full else -full if counts < -full else counts

    def _conversion_us(self):
        if self.kind != "ina226":
            return self.CONVERSION_US[self.kind]
        config = self.values[0]
        times = (140, 204, 332, 588, 1100, 2116, 4156, 8244)
        averages = (1, 4, 16, 64, 128, 256, 512, 1024)
        return averages[config >> 9 & 7] * (times[config >> 6 & 7] + times[config >> 3 & 7])

    def _value(self, register):
        if self.kind == "ina3221":
            if register in (1, 3, 5):
                return self._shunt((register + 1) // 2) << 3 & 0xFFFF
            if register in (2, 4, 6):
                return 12000 // 8 << 3
        elif register == 1:
            return self._shunt(1) & 0xFFFF
        elif register == 2:
            return (12000 // 4 << 3 | 2) if self.kind == "ina219" else 12000 * 100 // 125
        elif register == 4 and self.values.get(5):
            calibration = self.values[5]
            shift = 4096 if self.kind == "ina219" else 2048
            return self._shunt(1) * calibration // shift & 0xFFFF
        return self.values.get(register, 0)

    def read(self, count):
        """The register pointed to, again and again."""
        value = self._value(self.pointer)
        out = bytearray(count)
        for i in range(count):
            out[i] = value & 0xFF if i & 1 else value >> 8
        return out

    def dump(self):
        return {"values": [[k, v] for k, v in self.values.items()], "pointer": self.pointer, "absent": self.absent}

    def load(self, state):
        self.values = {k: v for k, v in state["values"]}
        self.pointer = state["pointer"]
        self.absent = state["absent"]


class Bus:
    """One I2C bus with its chips. A stuck one times out; so does nothing else."""

    def __init__(self, spec):
        self.sda = spec["sda"]
        self.scl = spec["scl"]
        self.stuck = 0
        self.chips = {}
        self.transfers = 0

    def chip(self, address):
        """The chip at an address. Raises OSError: EIO where none answers, ETIMEDOUT where the bus is stuck."""
        self.transfers += 1
        if self.stuck:
            raise OSError(ETIMEDOUT)
        chip = self.chips.get(address)
        if chip is None or not chip.answers():
            raise OSError(EIO)
        return chip

    def general_call(self, data):
        """A write to address 0."""
        for chip in self.chips.values():
            if chip.kind == "pca9685" and chip.answers():
                chip.general_call(data)


def build_chips(specs, buses, board, clock, sensors):
    """All chips, put on their buses: (chips, buses)."""
    rails = [Bus(b) for b in buses]
    chips = []
    for index in range(len(specs)):
        spec = specs[index]
        kind = spec["kind"]
        if kind == "mcp23017":
            chip = Mcp23017(index, spec, board, clock)
        elif kind == "pca9685":
            chip = Pca9685(index, spec, board, clock)
        else:
            chip = Ina(index, spec, board, clock, sensors)
        chips.append(chip)
        rails[spec["bus"]].chips[spec["address"]] = chip
    return chips, rails
