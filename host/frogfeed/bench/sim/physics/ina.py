"""The current sensors INA219, INA226 and INA3221 (TI SBOS448, SBOS547, SBOS576)."""

from .chip import Chip

if False:
    from typing import Any

    from frogfeed.bench.shapes import ChipSpec, Data
    from frogfeed.bench.sim.physics.board import Board
    from frogfeed.bench.sim.physics.clock import Clock
    from frogfeed.bench.sim.physics.supply import Sensors


OVER_SHUNT, LATCH = 0x8000, 1
"""Bits of the INA226's mask register: alert where the shunt is over its limit; hold it until the mask is read."""


class Ina(Chip):
    """Current sensors: INA219, INA226 and INA3221. Registers are 16 bits, high byte first."""

    POWER_ON = {
        "ina219": {0: 0x399F},
        "ina226": {0: 0x4127, 6: 0, 7: 0, 0xFE: 0x5449, 0xFF: 0x2260},
        "ina3221": {
            0: 0x7127, 0xFE: 0x5449, 0xFF: 0x3220,
            7: 0x7FF8, 8: 0x7FF8, 9: 0x7FF8, 10: 0x7FF8, 11: 0x7FF8, 12: 0x7FF8,
            14: 0x7FFE, 15: 2, 16: 0x2710, 17: 0x2328,
        },
    }  # fmt: skip
    CONVERSION_US = {"ina219": 1064}
    """Shunt and bus at the power-on setting; that of the others is in their registers."""
    FULL = {"ina219": 32000, "ina226": 32767, "ina3221": 4095}

    def __init__(self, index: int, spec: "ChipSpec", board: "Board", clock: "Clock", sensors: "Sensors") -> None:
        Chip.__init__(self, index, spec, board, clock)
        self.sensors = sensors
        self.channels: "dict[int, int]" = {}
        for number in range(len(sensors.sensors)):
            sensor = sensors.sensors[number]
            if sensor["chip"] == index:
                self.channels[sensor["channel"]] = number
                sensors.alerters[number] = self
        self.latched = False
        self.values: "dict[int, int]" = dict(self.POWER_ON[self.kind])
        self.pointer = 0

    def power_on(self) -> None:
        self.values = dict(self.POWER_ON[self.kind])
        self.pointer = 0
        self.latched = False
        self.sensors.look()

    def write(self, data: "Data") -> None:
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
                self.sensors.look()

    def _shunt(self, channel: int) -> int:
        number = self.channels.get(channel)
        if number is None:
            return 0
        counts = self.sensors.reading(number, self._conversion_us())
        full = self.FULL[self.kind]
        return full if counts > full else -full if counts < -full else counts

    def _conversion_us(self) -> int:
        """From one finished mean to the next."""
        if self.kind == "ina219":
            return self.CONVERSION_US[self.kind]
        config = self.values[0]
        times = (140, 204, 332, 588, 1100, 2116, 4156, 8244)
        averages = (1, 4, 16, 64, 128, 256, 512, 1024)
        shunt = times[config >> 3 & 7] if config & 1 else 0
        bus = times[config >> 6 & 7] if config & 2 else 0
        inputs = 1 if self.kind == "ina226" else sum([config >> n & 1 for n in (12, 13, 14)])
        return averages[config >> 9 & 7] * (shunt + bus) * inputs

    def alert_us(self) -> int:
        """How long a step of the current takes to the alert: the mean under way, and one whole."""
        return 2 * self._conversion_us()

    def alerting(self) -> bool:
        """Whether the chip pulls its ALERT (INA226) or CRITICAL output (INA3221) low."""
        if self.absent:
            return False
        over = False
        for channel, number in self.channels.items():
            counts = self.sensors.shunt(number)
            if self.kind == "ina226":
                over = self.values[6] & OVER_SHUNT != 0 and counts > _signed(self.values[7])
            elif self.kind == "ina3221":
                over = over or counts > _signed(self.values[5 + 2 * channel]) >> 3
        if over and self.kind == "ina226" and self.values[6] & LATCH:
            self.latched = True
        return over or self.latched

    def _value(self, register: int) -> int:
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

    def read(self, count: int) -> bytearray:
        """The register pointed to, again and again. To read the INA226's mask lets a latched alert go."""
        value = self._value(self.pointer)
        if self.latched and self.pointer == 6:
            self.latched = False
            self.sensors.look()
        out = bytearray(count)
        for i in range(count):
            out[i] = value & 0xFF if i & 1 else value >> 8
        return out

    def dump(self) -> "dict[str, Any]":
        return {
            "values": [[k, v] for k, v in self.values.items()],
            "pointer": self.pointer,
            "absent": self.absent,
            "latched": self.latched,
        }

    def load(self, state: "dict[str, Any]") -> None:
        self.values = {k: v for k, v in state["values"]}
        self.pointer = state["pointer"]
        self.absent = state["absent"]
        self.latched = state["latched"]


def _signed(word: int) -> int:
    return word - 0x10000 if word & 0x8000 else word
