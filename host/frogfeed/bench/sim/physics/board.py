"""The board's lines: what each pin drives, what drives it, and who is told.

Lines 0 to 47 are the microcontroller's pins; chip number c has lines from 64 + 32 c on (expander pins, servo chip
outputs). A line that nobody drives takes its outside level, else its own pull. A sink is told when its line turns
active or not; only a driven line is ever active, since resistors hold everything off while a pin floats.
"""

if False:
    from collections.abc import Callable
    from typing import Any, TypeVar

    from frogfeed.bench.shapes import LinesState
    from frogfeed.bench.sim.kernel import Kernel
    from frogfeed.bench.sim.physics.clock import Clock
    from frogfeed.bench.sim.physics.records import Records
    from frogfeed.bench.sim.physics.servos import Servos

    T = TypeVar("T")
    Sink = tuple[int, list[tuple[Callable[[Any, int], None], Any]]]

MCU_LINES = 48
CHIP_BASE = 64
CHIP_LINES = 32


def line_of(chip: int, pin: int) -> int:
    """The line of a pin reference: chip -1 is the microcontroller."""
    return pin if chip < 0 else CHIP_BASE + CHIP_LINES * chip + pin


class Irq:
    """Who is called at a line's edges, and the level at the last look."""

    def __init__(self, level: int, rising: int, falling: int, handler: "Callable[[Any], None]", pin: object) -> None:
        self.level = level
        self.rising = rising
        self.falling = falling
        self.handler = handler
        self.pin = pin


class Board:
    """Levels, sinks, pulses and interrupts of one board."""

    servos: "Servos"  # set by the world; a board without servos needs none

    def __init__(self, chips: int, clock: "Clock", records: "Records") -> None:
        count = CHIP_BASE + CHIP_LINES * chips
        self.clock = clock
        self.records = records
        self.driving = [0] * count
        self.out = [0] * count
        self.outside = [-1] * count
        self.pull = [-1] * count
        self.sinks: "list[Sink | None]" = [None] * count
        self.active = [0] * count
        self.servo_of = [-1] * count
        self.followers: "dict[int, tuple[int, Callable[[int], None]]]" = {}
        self.irqs: "dict[int, Irq]" = {}
        self.masked = 0
        self.waiting: "list[int]" = []
        self.kernel: "Kernel | None" = None  # told when something comes in, so that a sleeper wakes

    def set_line(self, line: int, driving: int, value: int) -> None:
        """A pin is now driven to `value`, or floats."""
        self.driving[line] = driving
        self.out[line] = value
        sink = self.sinks[line]
        if sink is not None:
            on = 1 if driving and value == sink[0] else 0
            if on != self.active[line]:
                self.active[line] = on
                for function, argument in sink[1]:
                    function(argument, on)
        if line in self.irqs:
            self._interrupt(line)
        if line in self.followers:
            rest, follower = self.followers[line]
            follower(value if driving else rest)

    def follow(self, line: int, rest: int, function: "Callable[[int], None]") -> None:
        """Call `function(level)` with every level of a line, held at `rest` by a resistor while nobody drives it."""
        self.followers[line] = (rest, function)
        self.outside[line] = rest
        function(self.out[line] if self.driving[line] else rest)

    def add_sink(self, line: int, active: int, function: "Callable[[T, int], None]", argument: "T") -> None:
        """Tell `function(argument, on)` when the line turns active or not."""
        sink = self.sinks[line]
        if sink is None:
            self.sinks[line] = (active, [(function, argument)])
        else:
            sink[1].append((function, argument))

    def level(self, line: int) -> int:
        """The level read at a line."""
        if self.driving[line]:
            return self.out[line]
        outside = self.outside[line]
        if outside >= 0:
            return outside
        return 1 if self.pull[line] == 1 else 0

    def apply(self, line: int, level: int) -> None:
        """Something outside pulls the line to a level; -1 lets it go."""
        self.outside[line] = level
        if self.kernel is not None:
            self.kernel.woken = True
        if line in self.irqs:
            self._interrupt(line)

    def pulse(self, line: int, pulse_ns: int) -> None:
        """The servo pulse on a line is now this long; 0 is none."""
        servo = self.servo_of[line]
        if servo >= 0:
            self.servos.set_pulse(servo, pulse_ns)

    # ---- interrupts -----------------------------------------------------------------------------------

    def watch_line(self, line: int, rising: int, falling: int, handler: "Callable[[T], None] | None", pin: "T") -> None:
        """Call `handler(pin)` at edges of a line; None stops it."""
        if handler is None:
            self.irqs.pop(line, None)
        else:
            self.irqs[line] = Irq(self.level(line), rising, falling, handler, pin)

    def _interrupt(self, line: int) -> None:
        irq = self.irqs[line]
        level = self.level(line)
        if level == irq.level:
            return
        irq.level = level
        if irq.rising if level else irq.falling:
            if self.masked:
                self.waiting.append(line)
            else:
                irq.handler(irq.pin)

    def mask(self, masked: int) -> int:
        """Interrupts wait while masked; those that came are served afterwards. Returns the state before."""
        before = self.masked
        self.masked = masked
        while not masked and self.waiting:
            line = self.waiting.pop(0)
            irq = self.irqs.get(line)
            if irq is not None:
                irq.handler(irq.pin)
        return before

    def release_all(self) -> None:
        """A reset of the microcontroller: its pins float, its interrupts are gone. Chips keep their state."""
        self.irqs.clear()
        self.waiting.clear()
        self.masked = 0
        for line in range(MCU_LINES):
            self.pull[line] = -1
            if self.driving[line]:
                self.set_line(line, 0, 0)
            if self.servo_of[line] >= 0:
                self.pulse(line, 0)

    def dump(self) -> "LinesState":
        """Which lines are driven, and how."""
        return {"driving": self.driving, "out": self.out, "active": self.active}

    def load(self, state: "LinesState") -> None:
        """The lines as a previous life left them, before `release_all` lets go of the microcontroller's."""
        self.driving = state["driving"]
        self.out = state["out"]
        self.active = state["active"]
