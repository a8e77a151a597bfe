"""Units in key names and in texts that should have been numbers."""

from __future__ import annotations

import pytest

from frogfeed.layout.units import UNITS, meant_by_unit, number_in, split


@pytest.mark.parametrize(
    ("text", "key", "value"),
    [
        ("3 A", "trip_a", 3.0),
        ("3000mA", "trip_a", 3.0),
        ("0,5", "trip_a", 0.5),
        ("16 V", "volts", 16.0),
        ("1.5 s", "travel_ms", 1500.0),
        ("4.5 m", "bus_mm", 4500.0),
        ("2 in", "horn_mm", 50.8),
        ("200 mΩ", "internal_ohm", 0.2),
        ("1500 µs", "pulse_us", 1500.0),
        ("3 A", "bus_mm", None),
        ("three", "trip_a", None),
        ("3 A", "name", None),
        ("", "trip_a", None),
    ],
)
def test_numbers_in_texts(text: str, key: str, value: float | None) -> None:
    found = number_in(text, key)
    assert found == (value if value is None else pytest.approx(value))


def test_keys_that_differ_in_their_unit_only() -> None:
    allowed = ["trip_a", "trip_ms", "volts", "bus_mm", "bus_wire", "load_a"]
    assert meant_by_unit("trip_ma", allowed) == ["trip_a"]
    assert meant_by_unit("trip_s", allowed) == ["trip_ms"]
    assert meant_by_unit("trip", allowed) == ["trip_a", "trip_ms"]
    assert meant_by_unit("bus_m", allowed) == ["bus_mm"]
    assert meant_by_unit("v", allowed) == ["volts"]
    assert meant_by_unit("load_kg", allowed) == []
    assert meant_by_unit("stop", allowed) == []


def test_units_of_one_quantity_share_their_base() -> None:
    for quantity in {u.quantity for u in UNITS.values()}:
        assert any(u.quantity == quantity and u.factor == 1.0 for u in UNITS.values())
    assert split("trip_ms") == ("trip", UNITS["ms"])
    assert split("kind") == ("kind", None)
