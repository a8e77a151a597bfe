"""The port expander MCP23017."""

from .board import line_of
from .chip import Chip

if False:
    from typing import Any

    from frogfeed.bench.shapes import ChipSpec, Data
    from frogfeed.bench.sim.physics.board import Board
    from frogfeed.bench.sim.physics.clock import Clock


class Mcp23017(Chip):
    """Port expander. Lines 0 to 15: port A, then port B."""

    IODIR, IPOL, GPINTEN, DEFVAL, INTCON, IOCON, GPPU, INTF, INTCAP, GPIO, OLAT = range(11)

    def __init__(self, index: int, spec: "ChipSpec", board: "Board", clock: "Clock") -> None:
        Chip.__init__(self, index, spec, board, clock)
        self.registers = [[0] * 11, [0] * 11]
        self.pointer = 0
        self.power_on()
        if spec.get("reset_pin", -1) >= 0:
            board.follow(spec["reset_pin"], 0, self._reset)

    def _reset(self, level: int) -> None:
        self.held = 0 if level else 1
        if self.held:
            self.power_on()

    def power_on(self) -> None:
        for port in (0, 1):
            for r in range(11):
                self.registers[port][r] = 0xFF if r == self.IODIR else 0
        self.pointer = 0
        self._lines(0xFFFF)

    def _place(self, address: int) -> "tuple[int, int] | None":
        """(register, port) of an address, by the bank bit; None beyond the last."""
        if self.registers[0][self.IOCON] & 0x80:
            register, port = address & 0x0F, address >> 4 & 1
        else:
            register, port = address >> 1, address & 1
        return (register, port) if register < 11 and address <= 0x1A else None

    def _step(self) -> None:
        iocon = self.registers[0][self.IOCON]
        if iocon & 0x20:  # SEQOP: stay, or toggle between the ports of a pair
            if not iocon & 0x80:
                self.pointer ^= 1
        elif iocon & 0x80:
            self.pointer = self.pointer + 1 if self.pointer & 0x0F < 10 else (self.pointer & 0x10)
        else:
            self.pointer = (self.pointer + 1) % 22

    def write(self, data: "Data") -> None:
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

    def read(self, count: int) -> bytearray:
        """Registers from the pointer on."""
        out = bytearray(count)
        for i in range(count):
            place = self._place(self.pointer)
            if place is not None:
                register, port = place
                out[i] = self._port(port) if register == self.GPIO else self.registers[port][register]
            self._step()
        return out

    def _port(self, port: int) -> int:
        value = 0
        for bit in range(8):
            if self.board.level(line_of(self.index, 8 * port + bit)):
                value |= 1 << bit
        return value ^ self.registers[port][self.IPOL]

    def _lines(self, mask: int) -> None:
        for pin in range(16):
            if mask >> pin & 1:
                port, bit = pin >> 3, pin & 7
                line = line_of(self.index, pin)
                self.board.pull[line] = 1 if self.registers[port][self.GPPU] >> bit & 1 else -1
                driving = 1 - (self.registers[port][self.IODIR] >> bit & 1)
                value = self.registers[port][self.OLAT] >> bit & 1
                if driving != self.board.driving[line] or value != self.board.out[line]:
                    self.board.set_line(line, driving, value)

    def dump(self) -> "dict[str, Any]":
        return {"registers": self.registers, "pointer": self.pointer, "absent": self.absent}

    def load(self, state: "dict[str, Any]") -> None:
        self.registers = state["registers"]
        self.pointer = state["pointer"]
        self.absent = state["absent"]
        if not self.held:
            self._lines(0xFFFF)
