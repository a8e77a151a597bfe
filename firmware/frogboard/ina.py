"""Current sensors INA219, INA226 and INA3221, by their registers (TI SBOS448, SBOS547, SBOS576).

Only the shunt voltage is read: 10 uV a count (INA219), 2.5 uV (INA226), 40 uV (INA3221). Words go high byte first.
Every method raises OSError where the chip does not answer.
"""

if False:
    from machine import I2C

CONFIG = 0x00
SHUNT_3221 = (0x01, 0x03, 0x05)
CRITICAL_3221 = (0x07, 0x09, 0x0B)
SHUNT = 0x01
MASK_226 = 0x06
ALERT_226 = 0x07
OVER_SHUNT = 0x8000
"""INA226 mask register: ALERT goes low while the shunt voltage is over the limit."""

CONFIG_219 = 0x399D
"""32 V, +-320 mV, 12 bits (532 us), shunt only, over and over."""
CONFIG_226 = 0x4205
"""Mean of four, 140 us each, shunt only, over and over."""
CONFIG_3221 = 0x7205
"""All three inputs, mean of four, 140 us each, shunt only, over and over."""


class CurrentChip:
    """One chip. `alert_counts[n]` is the limit at which input n's ALERT goes low in hardware (0: none)."""

    def __init__(self, bus: "I2C", address: int, kind: str, alert_counts: "list[int]") -> None:
        self._bus = bus
        self._address = address
        self.kind = kind
        self._alert = alert_counts
        self._two = bytearray(2)
        self._config = {"ina219": CONFIG_219, "ina226": CONFIG_226, "ina3221": CONFIG_3221}[kind]

    def use(self, bus: "I2C") -> None:
        """Go on with another bus object, after the old one was given up."""
        self._bus = bus

    def hold(self) -> None:
        """It has nothing to turn off."""

    def start(self) -> None:
        """Set it up, its alert limits too."""
        self._put(CONFIG, self._config)
        if self.kind == "ina226":
            self._put(ALERT_226, self._alert[0])
            self._put(MASK_226, OVER_SHUNT if self._alert[0] else 0)
        elif self.kind == "ina3221":
            for n in range(3):
                self._put(CRITICAL_3221[n], (self._alert[n] << 3) & 0x7FF8 if self._alert[n] else 0x7FF8)
        if not self.verify():
            raise OSError("%s at 0x%02x does not hold what it was told" % (self.kind, self._address))

    def counts(self, channel: int) -> int:
        """The shunt voltage of an input (1 to 3) in counts, its sign dropped."""
        register = SHUNT_3221[channel - 1] if self.kind == "ina3221" else SHUNT
        word = self._get(register)
        value = word - 0x10000 if word & 0x8000 else word
        if self.kind == "ina3221":
            value >>= 3
        return min(32767, -value if value < 0 else value)

    def verify(self) -> bool:
        """Whether it is still set up: after a reset of its own it is not."""
        return self._get(CONFIG) == self._config

    def _put(self, register: int, word: int) -> None:
        self._two[0] = word >> 8
        self._two[1] = word & 255
        self._bus.writeto_mem(self._address, register, self._two)

    def _get(self, register: int) -> int:
        self._bus.readfrom_mem_into(self._address, register, self._two)
        return self._two[0] << 8 | self._two[1]
