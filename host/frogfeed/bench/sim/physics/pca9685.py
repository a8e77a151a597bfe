"""The servo chip PCA9685."""

from .board import line_of
from .chip import Chip

if False:
    from typing import Any

    from frogfeed.bench.shapes import ChipSpec, Data
    from frogfeed.bench.sim.physics.board import Board
    from frogfeed.bench.sim.physics.clock import Clock


class Pca9685(Chip):
    """Sixteen PWM outputs for servos, 25 MHz clock. Outputs follow their registers at the end of a transfer."""

    RESTART, AI, SLEEP = 0x80, 0x20, 0x10

    def __init__(self, index: int, spec: "ChipSpec", board: "Board", clock: "Clock") -> None:
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

    def power_on(self) -> None:
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

    def _enable(self, level: int) -> None:
        self.oe = level
        self._outputs(0xFFFF)

    def write(self, data: "Data") -> None:
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

    def _step(self) -> None:
        if self.registers[0] & self.AI:
            if self.pointer == 0x45:
                self.pointer = 0
            else:
                self.pointer = (self.pointer + 1) & 0xFF

    def _put(self, address: int, value: int) -> int:
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

    def _no_restart(self) -> None:
        self.registers[0] &= 0x7F
        self.waiting = 0

    def _mode1(self, value: int) -> int:
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

    def _any_on(self) -> bool:
        for channel in range(16):
            if self._counts(channel):
                return True
        return False

    def _counts(self, channel: int) -> int:
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

    def _outputs(self, mask: int) -> None:
        stopped = self.registers[0] & self.SLEEP or self.oe or self.waiting
        tick_ns = (self.registers[0xFE] + 1) * 40
        for channel in range(16):
            if mask >> channel & 1:
                self.board.pulse(line_of(self.index, channel), 0 if stopped else self._counts(channel) * tick_ns)

    def read(self, count: int) -> bytearray:
        """Registers from the pointer on."""
        out = bytearray(count)
        for i in range(count):
            out[i] = 0 if 0xFA <= self.pointer <= 0xFD else self.registers[self.pointer]
            self._step()
        return out

    def general_call(self, data: "Data") -> None:
        """A write to address 0: 06 resets it."""
        if len(data) == 1 and data[0] == 6:
            self.power_on()

    def dump(self) -> "dict[str, Any]":
        return {
            "registers": list(self.registers),
            "pointer": self.pointer,
            "waiting": self.waiting,
            "absent": self.absent,
        }

    def load(self, state: "dict[str, Any]") -> None:
        self.registers = bytearray(state["registers"])
        self.pointer = state["pointer"]
        self.waiting = state["waiting"]
        self.absent = state["absent"]
        self._outputs(0xFFFF)
