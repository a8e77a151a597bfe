"""Conductors against IEC 60228, VDE 0295, IEC 60228 annex B, ASTM B258 and IEC 60028.

Values were read in published copies of the standards' tables, except where a comment says otherwise.
"""

from __future__ import annotations

import math

import pytest

from frogfeed.parts import wires

# IEC 60228:2004, class 5, plain copper, maximum ohms per km at 20 °C.
IEC_60228_CLASS_5 = {
    "0.5": 39.0, "0.75": 26.0, "1": 19.5, "1.5": 13.3, "2.5": 7.98, "4": 4.95, "6": 3.30,
}  # fmt: skip

# VDE 0295, fine strand, ohms per km at 20 °C.
VDE_0295 = {"0.14": 138.0, "0.22": 99.0, "0.25": 79.0, "0.34": 56.0}

# Diameter mm, area mm², ohms per km: computed from ASTM B258's formula, agreeing with published tables.
AWG = {
    10: (2.588, 5.261, 3.277),
    12: (2.053, 3.309, 5.211),
    14: (1.628, 2.081, 8.285),
    16: (1.291, 1.309, 13.174),
    18: (1.024, 0.8230, 20.948),
    20: (0.8118, 0.5176, 33.308),
    22: (0.6438, 0.3255, 52.962),
    24: (0.5106, 0.2047, 84.213),
    26: (0.4049, 0.1288, 133.90),
}

# IEC 60228 annex B's tabulated factors that bring a resistance back to 20 °C (they follow 250/(230 + t)).
TO_20 = {5: 1.064, 10: 1.042, 25: 0.980, 30: 0.962, 40: 0.926, 50: 0.893}


@pytest.mark.parametrize(("name", "ohm_per_km"), [*IEC_60228_CLASS_5.items(), *VDE_0295.items()])
def test_metric_sizes_have_the_standards_resistance(name: str, ohm_per_km: float) -> None:
    assert wires.wire(name).ohm_per_m.value * 1000 == pytest.approx(ohm_per_km, rel=1e-9)
    assert wires.wire(name).area_mm2 == float(name)


@pytest.mark.parametrize(("number", "expected"), AWG.items())
def test_awg_sizes_follow_the_formula_and_the_tables(number: int, expected: tuple[float, float, float]) -> None:
    w = wires.wire(f"AWG{number}")
    diameter = 0.005 * 25.4 * 92 ** ((36 - number) / 39)
    assert diameter == pytest.approx(expected[0], rel=5e-4)
    assert w.area_mm2 == pytest.approx(math.pi * diameter**2 / 4, rel=1e-9)
    assert w.area_mm2 == pytest.approx(expected[1], rel=5e-4)
    assert w.ohm_per_m.value * 1000 == pytest.approx(expected[2], rel=5e-4)


def test_every_sixth_awg_halves_the_diameter_nearly() -> None:
    # 92^(6/39) = 2.005: common knowledge of the gauge.
    for n in range(10, 25):
        ratio = wires.awg_diameter_mm(n) / wires.awg_diameter_mm(n + 6)
        assert ratio == pytest.approx(2.0050, abs=1e-3)


@pytest.mark.parametrize(("celsius", "factor"), TO_20.items())
def test_resistance_rises_with_temperature_as_tabulated(celsius: int, factor: float) -> None:
    w = wires.wire("1.5")
    assert w.ohm_per_m.value / w.ohm_per_m_at(celsius) == pytest.approx(factor, abs=0.0035)


def test_the_exact_annex_b_formula() -> None:
    w = wires.wire("0.5")
    for t in (-10, 0, 20, 40, 70):
        assert w.ohm_per_m_at(t) == pytest.approx(w.ohm_per_m.value * (234.5 + t) / 254.5, rel=2e-4)


def test_flexible_wire_resists_more_than_its_area_says() -> None:
    # The maxima of class 5 lie 13 to 16 % above 17.241 / S.
    for name in IEC_60228_CLASS_5:
        w = wires.wire(name)
        assert 1.13 < w.ohm_per_m.value * w.area_mm2 / 0.017241 < 1.16
