"""What every chip on a bus has in common."""


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
