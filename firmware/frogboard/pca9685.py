"""The PCA9685 sixteen-channel PWM chip as a servo chip, by its registers (NXP PCA9685 Rev. 4).

OE is high, which turns all outputs low, until the chip has been set up with every channel full off. 50 Hz: prescale
121 of the 25 MHz oscillator, so a count is 122 / 25 = 4.88 us. Every method raises OSError where it does not answer.
"""

if False:
    from machine import I2C, Pin

MODE1 = 0x00
MODE2 = 0x01
LED0_ON_L = 0x06
ALL_LED_ON_L = 0xFA
PRE_SCALE = 0xFE

AI = 0x20
SLEEP = 0x10
OUTDRV = 0x04
FULL_OFF = 0x10
"""In a channel's OFF_H."""
PRESCALE_50_HZ = 121


class ServoChip:
    """Sixteen servo outputs."""

    def __init__(self, bus: "I2C", address: int, enable: "Pin") -> None:
        self._bus = bus
        self._address = address
        self._enable = enable
        self._one = bytearray(1)
        self._four = bytearray(4)

    def hold(self) -> None:
        """All outputs low, by the OE pin. Can't fail."""
        self._enable.value(1)

    def use(self, bus: "I2C") -> None:
        """Go on with another bus object, after the old one was given up."""
        self._bus = bus

    def start(self) -> None:
        """Set it up with every channel full off, then enable the outputs. The caller waits 1 ms before pulses."""
        self.hold()
        self._put(MODE1, SLEEP | AI)
        self._put(PRE_SCALE, PRESCALE_50_HZ)
        self._put(MODE2, OUTDRV)
        self._four[0] = self._four[1] = self._four[2] = 0
        self._four[3] = FULL_OFF
        self._bus.writeto_mem(self._address, ALL_LED_ON_L, self._four)
        self._put(MODE1, AI)
        if not self.verify() or self._get(PRE_SCALE) != PRESCALE_50_HZ:
            raise OSError("PCA9685 at 0x%02x does not hold what it was told" % self._address)
        self._enable.value(0)

    def pulse(self, channel: int, us: int) -> None:
        """Send pulses of `us` microseconds on a channel; 0: none."""
        four = self._four
        four[0] = four[1] = 0
        if us == 0:
            four[2] = 0
            four[3] = FULL_OFF
        else:
            counts = us * 25 // 122
            four[2] = counts & 255
            four[3] = counts >> 8
        self._bus.writeto_mem(self._address, LED0_ON_L + 4 * channel, four)

    def verify(self) -> bool:
        """Whether it is awake, as it was told: after a reset of its own it is asleep."""
        return self._get(MODE1) & (SLEEP | AI) == AI

    def _put(self, register: int, value: int) -> None:
        self._one[0] = value
        self._bus.writeto_mem(self._address, register, self._one)

    def _get(self, register: int) -> int:
        self._bus.readfrom_mem_into(self._address, register, self._one)
        return self._one[0]
