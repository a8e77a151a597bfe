"""The board's lines: what each pin drives, what drives it, and who is told.

Lines 0 to 47 are the microcontroller's pins; chip number c has lines from 64 + 32 c on (expander pins, servo chip
outputs). A line that nobody drives takes its outside level, else its own pull. A sink is told when its line turns
active or not; only a driven line is ever active, since resistors hold everything off while a pin floats.
"""

MCU_LINES = 48
CHIP_BASE = 64
CHIP_LINES = 32


def line_of(chip, pin):
    """The line of a pin reference: chip -1 is the microcontroller."""
    return pin if chip < 0 else CHIP_BASE + CHIP_LINES * chip + pin


class Board:
    """Levels, sinks, pulses and interrupts of one board."""

    def __init__(self, chips, clock, records):
        count = CHIP_BASE + CHIP_LINES * chips
        self.clock = clock
        self.records = records
        self.driving = [0] * count
        self.out = [0] * count
        self.outside = [-1] * count
        self.pull = [-1] * count
        self.sinks = [None] * count
        self.active = [0] * count
        self.servo_of = [-1] * count
        self.followers = {}
        self.servos = None
        self.irqs = {}
        self.masked = 0
        self.waiting = []
        self.kernel = None  # told when something comes in, so that a sleeper wakes

    def set_line(self, line, driving, value):
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
            rest, function = self.followers[line]
            function(value if driving else rest)

    def follow(self, line, rest, function):
        """Call `function(level)` with every level of a line, held at `rest` by a resistor while nobody drives it."""
        self.followers[line] = (rest, function)
        self.outside[line] = rest
        function(self.out[line] if self.driving[line] else rest)

    def add_sink(self, line, active, function, argument):
        """Tell `function(argument, on)` when the line turns active or not."""
        sink = self.sinks[line]
        if sink is None:
            self.sinks[line] = (active, [(function, argument)])
        else:
            sink[1].append((function, argument))

    def level(self, line):
        """The level read at a line."""
        if self.driving[line]:
            return self.out[line]
        outside = self.outside[line]
        if outside >= 0:
            return outside
        return 1 if self.pull[line] == 1 else 0

    def apply(self, line, level):
        """Something outside pulls the line to a level; -1 lets it go."""
        self.outside[line] = level
        if self.kernel is not None:
            self.kernel.woken = True
        if line in self.irqs:
            self._interrupt(line)

    def pulse(self, line, pulse_ns):
        """The servo pulse on a line is now this long; 0 is none."""
        servo = self.servo_of[line]
        if servo >= 0:
            self.servos.set_pulse(servo, pulse_ns)

    # ---- interrupts -----------------------------------------------------------------------------------

    def watch_line(self, line, rising, falling, handler, pin):
        """Call `handler(pin)` at edges of a line; None stops it."""
        if handler is None:
            self.irqs.pop(line, None)
        else:
            self.irqs[line] = [self.level(line), rising, falling, handler, pin]

    def _interrupt(self, line):
        irq = self.irqs[line]
        level = self.level(line)
        if level == irq[0]:
            return
        irq[0] = level
        if irq[1] if level else irq[2]:
            if self.masked:
                self.waiting.append(line)
            else:
                irq[3](irq[4])

    def mask(self, masked):
        """Interrupts wait while masked; those that came are served afterwards. Returns the state before."""
        before = self.masked
        self.masked = masked
        while not masked and self.waiting:
            line = self.waiting.pop(0)
            irq = self.irqs.get(line)
            if irq is not None:
                irq[3](irq[4])
        return before

    def release_all(self):
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

    def dump(self):
        """Which lines are driven, and how."""
        return {"driving": self.driving, "out": self.out, "active": self.active}

    def load(self, state):
        """The lines as a previous life left them, before `release_all` lets go of the microcontroller's."""
        self.driving = state["driving"]
        self.out = state["out"]
        self.active = state["active"]
