"""Rail by code number: outline of NMRA RP-15.1, and what resistance may be expected of it.

RP-15.1 leaves the web without a dimension and no published ohms per metre were found, so the resistance is
an estimate: nickel silver of 28.7 µΩ·cm (6 % IACS) on an outline with a web of 0.3 to 0.55 of the head. It is
good for an order of magnitude, never for an error; a measurement beats it.
"""

from __future__ import annotations

from dataclasses import dataclass

from frogfeed.parts.values import Confidence, Figure

_INCH = 25.4
_RP = "NMRA RP-15.1"
_AREA = "calc on an assumed web: 0.3 to 0.55 of the head's width; 28.7 µΩ·cm"


@dataclass(frozen=True, slots=True)
class Rail:
    """One rail code; `ohm_per_m` is one rail at 20 °C, the middle of the range low to high."""

    code: int
    height_mm: Figure
    base_mm: Figure
    head_mm: Figure
    ohm_per_m: Figure
    ohm_per_m_low: float
    ohm_per_m_high: float


def _rail(
    code: int, height: float, base: float, head: float, low: float, high: float, seen: bool = True
) -> Rail:
    sure = Confidence.SEEN if seen else Confidence.INFERRED
    source = _RP if seen else f"between its neighbours in {_RP}"
    return Rail(
        code,
        Figure(height * _INCH, sure, source),
        Figure(base * _INCH, sure, source),
        Figure(head * _INCH, sure, source),
        Figure((low + high) / 2, Confidence.INFERRED, _AREA),
        low,
        high,
    )


RAILS: dict[int, Rail] = {
    r.code: r
    for r in (
        _rail(148, 0.148, 0.132, 0.066, 0.055, 0.080),
        _rail(125, 0.125, 0.125, 0.063, 0.065, 0.093),
        _rail(124, 0.124, 0.125, 0.063, 0.065, 0.094, seen=False),
        _rail(100, 0.100, 0.090, 0.045, 0.11, 0.16),
        _rail(83, 0.083, 0.080, 0.040, 0.15, 0.21),
        _rail(80, 0.080, 0.078, 0.039, 0.155, 0.22, seen=False),
        _rail(75, 0.075, 0.074, 0.037, 0.175, 0.24, seen=False),
        _rail(70, 0.070, 0.070, 0.035, 0.20, 0.28),
        _rail(55, 0.055, 0.055, 0.028, 0.32, 0.44),
        _rail(40, 0.040, 0.040, 0.020, 0.60, 0.84),
    )
}

CODES: tuple[int, ...] = tuple(sorted(RAILS))
"""Every rail code that a layout file may use."""


def rail(code: int) -> Rail:
    """The rail of this code, or the nearest one known (by height), since the estimate is coarse anyway."""
    return RAILS.get(code) or RAILS[min(CODES, key=lambda c: (abs(c - code), c))]
