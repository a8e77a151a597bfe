"""From a servo's pulse to its blade: horn angle, rod travel, blade displacement, and back.

The horn stands square to the rod at the middle of the drive's two pulses, so the rod moves by `horn * ratio
* sin(angle)`. The blade follows the rod with lost motion (a spring's or a slot's play): it may lie anywhere
within half of it on either side of the rod, and ends at the stock rails. All of this is common practice.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

MAX_ANGLE_DEG = 80.0
"""Beyond this from the middle a horn moves the rod hardly any further (sine); such ends are refused."""


@dataclass(frozen=True, slots=True)
class Linkage:
    """A drive's geometry between its setting 0 and its setting 1.

    `pulse_us` are the pulses at setting 0 and 1, in either order; the blade stands at 0 mm at setting 0,
    where one blade touches, and at `throw_mm` at setting 1, where the other does. A blade within
    `clearance_mm` of a stock rail may touch it.
    """

    pulse_us: tuple[int, int]
    us_per_degree: float
    horn_mm: float
    ratio: float
    throw_mm: float
    lost_motion_mm: float
    clearance_mm: float

    @property
    def middle_us(self) -> float:
        """The pulse at which the horn stands square to the rod."""
        return (self.pulse_us[0] + self.pulse_us[1]) / 2.0

    @property
    def sign(self) -> int:
        """1 where longer pulses move towards setting 1, else -1."""
        return 1 if self.pulse_us[1] >= self.pulse_us[0] else -1

    @property
    def half_angle_deg(self) -> float:
        """How far the horn turns to either side of the middle."""
        return abs(self.pulse_us[1] - self.pulse_us[0]) / 2.0 / self.us_per_degree

    @property
    def reach_mm(self) -> float:
        """How far the rod moves to either side of the middle of the throw."""
        return self.horn_mm * self.ratio * math.sin(math.radians(min(self.half_angle_deg, 90.0)))

    @property
    def needed_reach_mm(self) -> float:
        """The least reach that presses the blade home for certain at both ends."""
        return (self.throw_mm + self.lost_motion_mm) / 2.0

    def rod_mm(self, pulse_us: float) -> float:
        """Where the rod stands, as the blade displacement without lost motion and without stops."""
        angle = math.radians((pulse_us - self.middle_us) * self.sign / self.us_per_degree)
        return self.throw_mm / 2.0 + self.horn_mm * self.ratio * math.sin(angle)

    def blade_mm(self, pulse_us: float) -> tuple[float, float]:
        """The least and the greatest displacement at which the blade may stand while the rod is at this
        pulse.
        """
        rod = self.rod_mm(pulse_us)
        play = self.lost_motion_mm / 2.0
        return self._stop(rod - play), self._stop(rod + play)

    def pulse_at(self, rod_mm: float) -> float:
        """The pulse that puts the rod there (unrounded). Raises ValueError where the horn cannot reach it."""
        sine = (rod_mm - self.throw_mm / 2.0) / (self.horn_mm * self.ratio)
        if abs(sine) > 1.0:
            raise ValueError(f"{rod_mm:.2f} mm lies beyond the horn's reach")
        return self.middle_us + self.sign * math.degrees(math.asin(sine)) * self.us_per_degree

    def last_touch_mm(self, towards: int) -> float:
        """The rod's place up to which the leaving blade may still touch, on the way to setting `towards`."""
        free = self.clearance_mm + self.lost_motion_mm / 2.0
        return free if towards == 1 else self.throw_mm - free

    def first_touch_mm(self, towards: int) -> float:
        """The rod's place from which the arriving blade may begin to touch, on the way to setting
        `towards`.
        """
        free = self.clearance_mm + self.lost_motion_mm / 2.0
        return self.throw_mm - free if towards == 1 else free

    @property
    def open_mm(self) -> float:
        """The rod's travel in which neither blade can touch; zero or less means both may touch at once."""
        return self.throw_mm - 2.0 * self.clearance_mm - self.lost_motion_mm

    def _stop(self, mm: float) -> float:
        return min(max(mm, 0.0), self.throw_mm)


def default_pulses(
    us_per_degree: float, horn_mm: float, ratio: float, throw_mm: float, lost_motion_mm: float, middle_us: int
) -> tuple[int, int] | None:
    """Pulse ends that press the blade home with half a millimetre to spare on either side, about `middle_us`.

    None where the horn is too short to get there within `MAX_ANGLE_DEG`.
    """
    reach = (throw_mm + lost_motion_mm) / 2.0 + 0.5
    sine = reach / (horn_mm * ratio)
    if sine > math.sin(math.radians(MAX_ANGLE_DEG)):
        return None
    half = math.ceil(math.degrees(math.asin(sine)) * us_per_degree)
    return middle_us - half, middle_us + half
