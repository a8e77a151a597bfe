"""The status lamp: one lamp, six things to say. No hardware.

Steady: all is well. A wink every two seconds: no valid settings, the board waits for a push. Slow blinking (half a
second): drives move, or a position is not known. Fast blinking (an eighth): a feed is off for a fault. Two
winks: all off. Three winks: a panel button was refused. Dark: no power, or the program does not run.
"""

OK = 0
NO_SETTINGS = 1
MOVING = 2
FAULT = 3
ALL_OFF = 4
REFUSED = 5

_PATTERN = (
    (1000, 0xFFFF),
    (125, 0x0001),
    (125, 0x0F0F),
    (125, 0x5555),
    (125, 0x0005),
    (125, 0x0015),
)
"""(length of a step in ms, 16 steps as bits, first step lowest)."""


class Lamp:
    """Counts time; `on` is what the lamp should be."""

    def __init__(self) -> None:
        self.on = 0
        self._ms = 0
        self._step = 0

    def tick(self, dt_ms: int, state: int) -> int:
        """`dt_ms` have passed and the board is in `state`. 1: lit."""
        length, bits = _PATTERN[state]
        self._ms += min(dt_ms, length)
        while self._ms >= length:
            self._ms -= length
            self._step = (self._step + 1) & 15
        self.on = bits >> self._step & 1
        return self.on

    @staticmethod
    def deadline_ms(state: int) -> int:
        """How long it may be left alone."""
        return 60000 if state == OK else 125
