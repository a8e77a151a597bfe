"""How the commanded pulse goes from one end to the other: the firmware's eased move, and its inverse.

The ease is smooth at both ends, u² (3 - 2u) of the elapsed fraction u. It is the one that `frogboard.drive`
uses, in whole numbers there; a test compares the two.
"""

from __future__ import annotations

import math
from dataclasses import dataclass


def ease(fraction: float) -> float:
    """The fraction of the way at a fraction of the travel time; 0 before the start and 1 after the end."""
    u = min(max(fraction, 0.0), 1.0)
    return u * u * (3.0 - 2.0 * u)


def ease_inverse(way: float) -> float:
    """The fraction of the travel time at which a fraction of the way is reached, 0 to 1."""
    w = min(max(way, 0.0), 1.0)
    return 0.5 - math.sin(math.asin(1.0 - 2.0 * w) / 3.0)


@dataclass(frozen=True, slots=True)
class Motion:
    """A drive's speed: `travel_ms` from end to end, the servo up to `lag_ms` behind its pulse, one step a
    tick.

    A new pulse takes effect with the next frame of the servo signal, up to `frame_ms` later.
    """

    travel_ms: float
    lag_ms: float
    tick_ms: float = 5.0
    frame_ms: float = 20.0

    @property
    def behind_ms(self) -> float:
        """How far the servo can be behind the commanded pulse at most."""
        return self.lag_ms + self.frame_ms

    def pulse(self, start_us: float, end_us: float, elapsed_ms: float) -> float:
        """The commanded pulse so long after the first step, unrounded."""
        return start_us + (end_us - start_us) * ease(elapsed_ms / self.travel_ms)

    def time_at(self, start_us: float, end_us: float, pulse_us: float) -> float:
        """How long after the first step the commanded pulse reaches `pulse_us`, in ms."""
        return self.travel_ms * ease_inverse((pulse_us - start_us) / (end_us - start_us))
