"""Chips on the board's I2C buses, to their register maps: MCP23017, PCA9685, INA219, INA226, INA3221.

A chip sees whole transfers: `write(data)` from start to stop, `read(count)`. What the makers' data sheets say of
registers, their values at power-on and what may be written when is kept; a chip in reset, or missing, does not
answer.
"""

from .ina import Ina
from .mcp23017 import Mcp23017
from .pca9685 import Pca9685

if False:
    from frogfeed.bench.shapes import BusSpec, ChipSpec, Data
    from frogfeed.bench.sim.physics.board import Board
    from frogfeed.bench.sim.physics.chip import Chip
    from frogfeed.bench.sim.physics.clock import Clock
    from frogfeed.bench.sim.physics.supply import Sensors

EIO = 5
ETIMEDOUT = 110


class Bus:
    """One I2C bus with its chips. A stuck one times out; so does nothing else."""

    def __init__(self, spec: "BusSpec") -> None:
        self.sda = spec["sda"]
        self.scl = spec["scl"]
        self.stuck = 0
        self.chips: "dict[int, Chip]" = {}
        self.transfers = 0

    def chip(self, address: int) -> "Chip":
        """The chip at an address. Raises OSError: EIO where none answers, ETIMEDOUT where the bus is stuck."""
        self.transfers += 1
        if self.stuck:
            raise OSError(ETIMEDOUT)
        chip = self.chips.get(address)
        if chip is None or not chip.answers():
            raise OSError(EIO)
        return chip

    def general_call(self, data: "Data") -> None:
        """A write to address 0."""
        for chip in self.chips.values():
            if chip.answers():
                chip.general_call(data)


def build_chips(
    specs: "list[ChipSpec]", buses: "list[BusSpec]", board: "Board", clock: "Clock", sensors: "Sensors"
) -> "tuple[list[Chip], list[Bus]]":
    """All chips, put on their buses: (chips, buses)."""
    rails = [Bus(b) for b in buses]
    chips: "list[Chip]" = []
    for index in range(len(specs)):
        spec = specs[index]
        kind = spec["kind"]
        if kind == "mcp23017":
            chip: "Chip" = Mcp23017(index, spec, board, clock)
        elif kind == "pca9685":
            chip = Pca9685(index, spec, board, clock)
        else:
            chip = Ina(index, spec, board, clock, sensors)
        chips.append(chip)
        rails[spec["bus"]].chips[spec["address"]] = chip
    return chips, rails
