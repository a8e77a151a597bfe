"""What every chip on a bus has in common."""

if False:
    from typing import Any

    from frogfeed.bench.shapes import ChipSpec, Data
    from frogfeed.bench.sim.physics.board import Board
    from frogfeed.bench.sim.physics.clock import Clock


class Chip:
    """One chip. `absent`: it has vanished. `address` is its 7-bit address."""

    def __init__(self, index: int, spec: "ChipSpec", board: "Board", clock: "Clock") -> None:
        self.index = index
        self.kind = spec["kind"]
        self.address = spec["address"]
        self.board = board
        self.clock = clock
        self.absent = 0
        self.held = 0

    def answers(self) -> bool:
        """Whether it acknowledges its address."""
        return not self.absent and not self.held

    def power_on(self) -> None:
        """Registers as after power-on."""

    def write(self, data: "Data") -> None:
        """Bytes of one transfer, from start to stop."""
        raise NotImplementedError

    def read(self, count: int) -> bytearray:
        """So many bytes of one transfer."""
        raise NotImplementedError

    def general_call(self, data: "Data") -> None:
        """A write to address 0: most chips do not listen there."""

    def dump(self) -> "dict[str, Any]":
        """Its registers, as JSON."""
        return {}

    def load(self, state: "dict[str, Any]") -> None:
        """Registers back."""
