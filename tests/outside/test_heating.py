"""Heating by a short against IEC 60364-5-54 (k = 115), capacity against VDE 0298-4 and NEC 400.5(A)."""

from __future__ import annotations

import math

import pytest

from frogfeed.electrics.heating import for_good_a, let_through
from frogfeed.layout.reading import read_layout_text
from frogfeed.parts import wires
from frogfeed.parts.values import Confidence

# k²S² in A²s and the time in s at 5, 10 and 20 A: from t = k²S²/I² with k = 115 (PVC, 70 to 160 °C).
ADIABATIC = {
    "AWG30": (34.3, 1.37, 0.343, 0.086),
    "AWG28": (86.8, 3.47, 0.868, 0.217),
    "0.14": (259, 10.4, 2.59, 0.648),
    "AWG24": (554, 22.2, 5.54, 1.39),
    "0.5": (3306, 132, 33.1, 8.27),
    "0.75": (7439, 298, 74, 18.6),
    "1.5": (29756, 1190, 298, 74),
    "2.5": (82656, 3306, 827, 207),
}

# Multicore, two or three loaded, 30 °C (VDE 0298-4); 0.14 to 0.34 on a VDE 0891-1 basis, the lower of two texts.
CAPACITY = {"0.5": 9, "0.75": 12, "1": 15, "1.5": 18, "2.5": 26, "4": 34, "6": 44, "0.14": 3, "0.25": 5}

# NEC 400.5(A), flexible cord, two current-carrying conductors.
NEC = {"AWG18": 10, "AWG17": 12, "AWG16": 13, "AWG14": 18, "AWG12": 25}


@pytest.mark.parametrize(("name", "expected"), ADIABATIC.items())
def test_let_through_and_time_agree_with_the_standard(name: str, expected: tuple[float, ...]) -> None:
    w = wires.wire(name)
    assert w.i2t_a2s == pytest.approx(expected[0], rel=0.006)
    for amps, seconds in zip((5, 10, 20), expected[1:], strict=True):
        if amps > w.ampacity_a.value:
            assert w.stands_s(amps) == pytest.approx(seconds, rel=0.02)
        else:
            assert w.stands_s(amps) == math.inf


@pytest.mark.parametrize(("name", "amps"), [*CAPACITY.items(), *NEC.items()])
def test_capacities_are_those_read(name: str, amps: float) -> None:
    figure = wires.wire(name).ampacity_a
    assert figure.value == amps
    assert figure.confidence is Confidence.SEEN


def test_a_supply_that_limits_lets_through_its_limit_for_its_trip_time() -> None:
    text = """[layout]
name = "X"
gauge = "OO"
control = "dc"
[district.main]
volts = 12.0
trip_a = 2.0
trip_ms = 250
limit_a = 4.0
[district.soft]
trip_a = 1.5
limit_a = 2.5
protection = "foldback"
[place]
a = { kind = "buffer" }
b = { kind = "buffer" }
[lines]
l = ["a", { feed = "main", left = "A" }, "b"]
"""
    layout = read_layout_text(text, "x.toml")
    found = let_through(layout, "main", 37.0)
    assert (found.amps, found.a2s, found.limited) == (4.0, pytest.approx(4.0**2 * 0.25), True)
    assert let_through(layout, "main", 3.0).amps == 3.0
    assert for_good_a(layout.file.district["main"]) == 2.0
    assert for_good_a(layout.file.district["soft"]) == 2.5
