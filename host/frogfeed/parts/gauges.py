"""Track and wheel standards by gauge: what clears what, in mm, each figure with its source.

NMRA scales use S-3.2 (February 2010 revision) for track and S-4.2 with RP-25 for wheels, unless a row says
otherwise; NEM gauges use NEM 110 and NEM 310 (2009). Two revisions of S-3.2 differ, so the one used is named.
"""

from __future__ import annotations

from dataclasses import dataclass

from frogfeed.parts.values import Confidence, Figure

_INCH = 25.4
_S32 = "NMRA S-3.2, February 2010"
_S42 = "NMRA S-4.2"
_RP25 = "NMRA RP-25"
_RP3 = "NMRA RP-3"
_RP4 = "NMRA RP-4"
_NEM110 = "NEM 110, 2009"
_NEM310 = "NEM 310, 2009"

SEEN, CALC, INFERRED = Confidence.SEEN, Confidence.CALC, Confidence.INFERRED


@dataclass(frozen=True, slots=True)
class Gauge:
    """One track and wheel standard; every length in mm.

    `gauge` between the rails; `check` (check gauge, least); `span` (guard faces, most); `flangeway`;
    `blade_gap` how far an open blade must stand off at the gauge line; `back_to_back` of the wheels, least;
    `tyre` the wheel's whole width; `tread` what of it can lie on a rail head (tyre less flange, widest);
    `flange` thickness.
    """

    name: str
    revision: str
    wheels: str
    gauge: Figure
    check: Figure
    span: Figure
    flangeway: Figure
    blade_gap: Figure
    back_to_back: Figure
    tyre: Figure
    tread: Figure
    flange: Figure

    @property
    def default_throw_mm(self) -> Figure:
        """A blade throw at the tie bar where the layout states none: a quarter over the open-blade gap.

        No published throw at the tie bar was found; the quarter (for taper and lash) is from memory.
        """
        value = round(self.blade_gap.value * 1.25 + 0.05, 1)
        return Figure(value, Confidence.MEMORY, "1.25 times the open-blade gap")


def _inch(value: float, sure: Confidence, source: str) -> Figure:
    return Figure(round(value * _INCH, 4), sure, source)


def _mm(value: float, sure: Confidence, source: str) -> Figure:
    return Figure(value, sure, source)


@dataclass(frozen=True, slots=True)
class _Track:
    """Inches: gauge, check, span, flangeway, blade spread."""

    g: float
    c: float
    s: float
    f: float
    p: float
    sure: Confidence
    source: str


@dataclass(frozen=True, slots=True)
class _Wheels:
    """Inches: back to back, tyre, tread, flange; the tyre of S-4.2 or RP-4, the contour of RP-25."""

    b: float
    n: float
    w: float
    t: float
    sure: Confidence
    contour_sure: Confidence
    source: str
    contour: str


def _derived(sure: Confidence) -> Confidence:
    """How sure a figure is that was computed from one this sure."""
    return CALC if sure.firm else sure


def _nmra(name: str, track: _Track, wheels: _Wheels) -> Gauge:
    return Gauge(
        name=name,
        revision=track.source,
        wheels=f"{wheels.source}, {wheels.contour}",
        gauge=_inch(track.g, track.sure, track.source),
        check=_inch(track.c, track.sure, track.source),
        span=_inch(track.s, track.sure, track.source),
        flangeway=_inch(track.f, track.sure, track.source),
        blade_gap=_inch(track.g - track.p, _derived(track.sure), f"gauge less spread, {track.source}"),
        back_to_back=_inch(wheels.b, wheels.sure, wheels.source),
        tyre=_inch(wheels.n, wheels.sure, wheels.source),
        tread=_inch(wheels.w, wheels.contour_sure, wheels.contour),
        flange=_inch(wheels.t, wheels.contour_sure, wheels.contour),
    )


def _nem(
    name: str,
    g: float,
    c: float,
    e: float,
    s: float,
    f: float,
    b: float,
    n: float,
    t_min: float,
    t_max: float,
    sure: Confidence,
    wheel_sure: Confidence,
) -> Gauge:
    calc, wheel_calc = _derived(sure), _derived(wheel_sure)
    return Gauge(
        name=name,
        revision=_NEM110,
        wheels=_NEM310,
        gauge=_mm(g, SEEN, _NEM110),
        check=_mm(c, sure, _NEM110),
        span=_mm(s, sure, _NEM110),
        flangeway=_mm(f, sure, _NEM110),
        blade_gap=_mm(round(g - e, 4), calc, f"gauge less E, {_NEM110}"),
        back_to_back=_mm(b, wheel_sure, _NEM310),
        tyre=_mm(n, wheel_sure, _NEM310),
        tread=_mm(round(n - t_min, 4), wheel_calc, f"N less T, {_NEM310}"),
        flange=_mm(t_max, wheel_sure, _NEM310),
    )


_N_TYRES = "the track follows the pattern of HOn2, which has the same tyre"

GAUGES: dict[str, Gauge] = {
    g.name: g
    for g in (
        _nmra(
            "O",
            _Track(1.252, 1.181, 1.102, 0.077, 1.156, SEEN, _S32),
            _Wheels(1.118, 0.172, 0.127, 0.048, SEEN, INFERRED, _S42, f"{_RP25} code 175, the nearest"),
        ),
        _nmra(
            "S",
            _Track(0.883, 0.839, 0.798, 0.050, 0.814, SEEN, "NMRA S-3.2, undated older page"),
            _Wheels(0.800, 0.108, 0.080, 0.030, SEEN, SEEN, _S42, f"{_RP25} code 110"),
        ),
        _nmra(
            "OO",
            _Track(0.752, 0.707, 0.657, 0.048, 0.688, SEEN, _S32),
            _Wheels(0.666, 0.108, 0.080, 0.030, SEEN, SEEN, _S42, f"{_RP25} code 110"),
        ),
        _nmra(
            "HO",
            _Track(0.651, 0.607, 0.557, 0.048, 0.588, SEEN, _S32),
            _Wheels(0.566, 0.108, 0.080, 0.030, SEEN, SEEN, _S42, f"{_RP25} code 110"),
        ),
        _nmra(
            "TT",
            _Track(0.471, 0.437, 0.405, 0.036, 0.430, INFERRED, "inferred from NMRA S-4.2 and RP-3 TT fine"),
            _Wheels(0.407, 0.077, 0.056, 0.023, SEEN, INFERRED, _S42, f"{_RP25} code 79, the nearest tyre"),
        ),
        _nmra(
            "N",
            _Track(0.353, 0.323, 0.296, 0.033, 0.312, INFERRED, f"inferred from NMRA S-4.2: {_N_TYRES}"),
            _Wheels(0.297, 0.071, 0.052, 0.020, SEEN, INFERRED, _S42, f"{_RP25} code 72, the nearest tyre"),
        ),
        _nmra(
            "HO-fine",
            _Track(0.649, 0.613, 0.580, 0.040, 0.600, SEEN, _RP3),
            _Wheels(0.581, 0.086, 0.063, 0.025, SEEN, INFERRED, _RP4, f"{_RP25} code 88, the nearest tyre"),
        ),
        _nmra(
            "TT-fine",
            _Track(0.471, 0.441, 0.414, 0.033, 0.430, SEEN, _RP3),
            _Wheels(0.415, 0.071, 0.052, 0.020, SEEN, INFERRED, _RP4, f"{_RP25} code 72, the nearest tyre"),
        ),
        _nmra(
            "N-fine",
            _Track(0.353, 0.332, 0.313, 0.025, 0.322, SEEN, _RP3),
            _Wheels(0.314, 0.053, 0.040, 0.014, SEEN, INFERRED, _RP4, f"{_RP25} code 54, the nearest tyre"),
        ),
        _nmra(
            "Proto48",
            _Track(1.177, 1.132, 1.091, 0.053, 1.117, SEEN, _RP3),
            _Wheels(1.093, 0.115, 0.085, 0.031, SEEN, INFERRED, _RP4, f"{_RP25} code 116, the nearest tyre"),
        ),
        _nem("6.5", 6.5, 5.9, 5.6, 5.2, 0.7, 5.25, 1.6, 0.4, 0.45, SEEN, SEEN),
        _nem("9", 9.0, 8.1, 7.8, 7.3, 0.8, 7.4, 2.2, 0.5, 0.6, SEEN, SEEN),
        _nem("12", 12.0, 11.0, 10.7, 10.1, 0.9, 10.2, 2.5, 0.6, 0.7, SEEN, SEEN),
        _nem("16.5", 16.5, 15.3, 15.0, 14.3, 1.0, 14.4, 2.9, 0.7, 0.9, INFERRED, SEEN),
    )
}

NAMES: tuple[str, ...] = tuple(GAUGES)
"""Every gauge key that a layout file may use."""


def gauge(name: str) -> Gauge:
    """The standard of this gauge key. Raises KeyError where there is none."""
    return GAUGES[name]
