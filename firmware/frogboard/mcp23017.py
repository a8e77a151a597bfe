"""The MCP23017 port expander, by its registers (Microchip DS20001952C), BANK = 0: two ports, A first.

Held in reset, all its pins are inputs, which is off. `start` writes the output latches before it makes any pin an
output. Every method raises OSError where the chip does not answer; a chip that answers otherwise than it was told
has been reset by something else, and `verify` says so.
"""

if False:
    from machine import I2C, Pin

IODIR = 0x00
IPOL = 0x02
GPINTEN = 0x04
IOCON = 0x0A
GPPU = 0x0C
GPIO = 0x12
OLAT = 0x14


class Expander:
    """Sixteen pins; bit n of a word is pin n (0 to 7 port A, 8 to 15 port B)."""

    def __init__(self, bus: "I2C", address: int, reset: "Pin", outputs: int, off: int, pullups: int) -> None:
        self._bus = bus
        self._address = address
        self._reset = reset
        self._outputs = outputs
        self._off = off
        self._pullups = pullups
        self._two = bytearray(2)
        self.latch = off
        """The output levels wanted; `write` sends them."""
        self.sent = off
        self.port = 0
        """The levels last read."""

    def hold(self) -> None:
        """Hold it in reset: all pins inputs. Can't fail."""
        self._reset.value(0)
        self.latch = self._off
        self.sent = self._off

    def start(self) -> None:
        """Out of reset, latches at their off levels, then outputs."""
        self.hold()
        self._reset.value(1)
        self._write(IOCON, 0)
        self._write(OLAT, self._off)
        self._write(IPOL, 0)
        self._write(GPINTEN, 0)
        self._write(GPPU, self._pullups)
        self._write(IODIR, 0xFFFF & ~self._outputs)
        if not self.verify():
            raise OSError("MCP23017 at 0x%02x does not hold what it was told" % self._address)

    def use(self, bus: "I2C") -> None:
        """Go on with another bus object, after the old one was given up."""
        self._bus = bus

    def put(self, pin: int, level: int) -> None:
        """Set the wanted level of an output; sent by `write`."""
        if level:
            self.latch |= 1 << pin
        else:
            self.latch &= ~(1 << pin)

    def write(self) -> None:
        """Send both ports' latches in one transfer, if they differ from what was sent."""
        if self.latch != self.sent:
            self._write(OLAT, self.latch)
            self.sent = self.latch

    def read(self) -> None:
        """Read both ports' pins."""
        self.port = self._read(GPIO)

    def verify(self) -> bool:
        """Whether directions and latches still are what they were told."""
        if self._read(IODIR) != 0xFFFF & ~self._outputs:
            return False
        return self._read(OLAT) == self.sent

    def _write(self, register: int, word: int) -> None:
        self._two[0] = word & 255
        self._two[1] = word >> 8
        self._bus.writeto_mem(self._address, register, self._two)

    def _read(self, register: int) -> int:
        self._bus.readfrom_mem_into(self._address, register, self._two)
        return self._two[0] | self._two[1] << 8
