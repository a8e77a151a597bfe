"""Copper wire by size: IEC 60228 class 5 (flexible) in mm², and AWG (ASTM B258, solid).

Resistance at 20 °C is the standard's maximum for class 5 and the formula's for AWG. Sizes below 0.5 mm²
are not in IEC 60228; they follow VDE 0295 fine strand. Current-carrying capacity is for insulated wire among
others at 30 °C (multicore, two or three loaded); figures for AWG sizes that were not read are placed between
those that were and marked inferred. Heating by a short uses t = k²S²/I² (IEC 60364-5-54), within 5 s.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from frogfeed.parts.values import Confidence, Figure

ALPHA_20 = 0.00393
"""Temperature coefficient of copper's resistance at 20 °C, per kelvin (IEC 60228 annex B)."""

COPPER_OHM_MM2_PER_M = 0.017241
"""Resistivity of annealed copper at 20 °C (IEC 60028)."""

K_PVC = 115.0
"""Adiabatic factor of PVC-insulated copper, A·s^0.5/mm², from 70 °C to 160 °C (IEC 60364-5-54)."""

ADIABATIC_LIMIT_S = 5.0
"""Beyond this the adiabatic formula does not hold: what the wire carries for good decides."""


@dataclass(frozen=True, slots=True)
class Wire:
    """One conductor size: nominal area, resistance at 20 °C, current for good at 30 °C ambient."""

    name: str
    area_mm2: float
    ohm_per_m: Figure
    ampacity_a: Figure

    def ohm_per_m_at(self, celsius: float) -> float:
        """Resistance of one metre at a temperature, by IEC 60228 annex B."""
        return self.ohm_per_m.value * (1.0 + ALPHA_20 * (celsius - 20.0))

    @property
    def i2t_a2s(self) -> float:
        """Let-through energy I²t that heats PVC insulation from 70 to 160 °C: k²S²."""
        return (K_PVC * self.area_mm2) ** 2

    def stands_s(self, amps: float) -> float:
        """How long the wire stands a fault current, in seconds; infinite where it may carry it for good.

        Beyond `ADIABATIC_LIMIT_S` the figure is no promise: read it as "longer than that, and not for good".
        """
        if amps <= self.ampacity_a.value:
            return math.inf
        return self.i2t_a2s / amps**2


def awg_diameter_mm(number: int) -> float:
    """Diameter of an AWG size: 0.127 mm times 92^((36 - n)/39) (ASTM B258)."""
    return 0.127 * float(92.0 ** ((36 - number) / 39.0))


_IEC = "IEC 60228:2004, class 5, plain"
_VDE = "VDE 0295, fine strand"
_CAPACITY = "multicore, two or three loaded, 30 °C (VDE 0298-4)"
_SMALL = "VDE 0891-1 basis; another text reads higher"

_METRIC: tuple[tuple[str, float, float, str, float, Confidence, str], ...] = (
    ("0.14", 0.14, 138.0, _VDE, 3.0, Confidence.SEEN, _SMALL),
    ("0.22", 0.22, 99.0, _VDE, 4.3, Confidence.INFERRED, "between 0.14 and 0.25"),
    ("0.25", 0.25, 79.0, _VDE, 5.0, Confidence.SEEN, _SMALL),
    ("0.34", 0.34, 56.0, _VDE, 8.0, Confidence.SEEN, _SMALL),
    ("0.5", 0.5, 39.0, _IEC, 9.0, Confidence.SEEN, _CAPACITY),
    ("0.75", 0.75, 26.0, _IEC, 12.0, Confidence.SEEN, _CAPACITY),
    ("1", 1.0, 19.5, _IEC, 15.0, Confidence.SEEN, _CAPACITY),
    ("1.5", 1.5, 13.3, _IEC, 18.0, Confidence.SEEN, _CAPACITY),
    ("2.5", 2.5, 7.98, _IEC, 26.0, Confidence.SEEN, _CAPACITY),
    ("4", 4.0, 4.95, _IEC, 34.0, Confidence.SEEN, _CAPACITY),
    ("6", 6.0, 3.30, _IEC, 44.0, Confidence.SEEN, _CAPACITY),
)

_NEC: dict[int, float] = {18: 10.0, 17: 12.0, 16: 13.0, 14: 18.0, 12: 25.0}
"""NEC 400.5(A), flexible cord, two current-carrying conductors."""


def _metric() -> dict[str, Wire]:
    return {
        name: Wire(name, area, Figure(per_km / 1000.0, Confidence.SEEN, source), Figure(amps, sure, text))
        for name, area, per_km, source, amps, sure, text in _METRIC
    }


def _between(area: float) -> float:
    """Capacity at an area by straight line in log-log between the metric sizes."""
    sizes = [(a, amps) for _, a, _, _, amps, _, _ in _METRIC]
    low = max((s for s in sizes if s[0] <= area), default=sizes[0])
    high = min((s for s in sizes if s[0] > area), default=sizes[-1])
    if low == high or low[0] >= area:
        return min(low[1], low[1] * area / low[0])
    slope = math.log(high[1] / low[1]) / math.log(high[0] / low[0])
    return float(low[1] * (area / low[0]) ** slope)


def _awg() -> dict[str, Wire]:
    found: list[Wire] = []
    ceiling = math.inf
    for number in range(10, 31):
        area = math.pi * awg_diameter_mm(number) ** 2 / 4.0
        if number in _NEC:
            capacity = Figure(_NEC[number], Confidence.SEEN, "NEC 400.5(A), flexible cord")
        else:
            amps = math.floor(min(_between(area), ceiling) * 10.0) / 10.0
            capacity = Figure(amps, Confidence.INFERRED, "between sizes that were read")
        ceiling = min(ceiling, capacity.value)
        ohm = Figure(COPPER_OHM_MM2_PER_M / area, Confidence.CALC, "ASTM B258 diameter, IEC 60028 copper")
        found.append(Wire(f"AWG{number}", area, ohm, capacity))
    return {w.name: w for w in reversed(found)}


WIRES: dict[str, Wire] = {**_metric(), **_awg()}

NAMES: tuple[str, ...] = tuple(WIRES)
"""Every wire size that a layout file may use: mm² as "0.5" or "1.5", or "AWG24"."""

METRIC: tuple[Wire, ...] = tuple(WIRES[name] for name, *_ in _METRIC)
"""The metric sizes, thinnest first: the ladder for proposals."""


def wire(name: str) -> Wire:
    """The wire of this size. Raises KeyError where there is none."""
    return WIRES[name]
