"""Units in key names: what "trip_ma" must have meant, and what number "3 A" is.

Every number of a layout file bears its unit in its key (`trip_a`, `throw_mm`), so a wrong suffix is a wrong unit.
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Unit:
    """A unit: what it measures, its word in the plural, and how many of the quantity's first unit it is."""

    quantity: str
    word: str
    factor: float


UNITS: dict[str, Unit] = {
    "mm": Unit("length", "millimetres", 1.0),
    "cm": Unit("length", "centimetres", 10.0),
    "m": Unit("length", "metres", 1000.0),
    "in": Unit("length", "inches", 25.4),
    "inch": Unit("length", "inches", 25.4),
    "ft": Unit("length", "feet", 304.8),
    "ms": Unit("time", "milliseconds", 1.0),
    "us": Unit("time", "microseconds", 0.001),
    "s": Unit("time", "seconds", 1000.0),
    "sec": Unit("time", "seconds", 1000.0),
    "a": Unit("current", "amperes", 1.0),
    "amp": Unit("current", "amperes", 1.0),
    "amps": Unit("current", "amperes", 1.0),
    "ma": Unit("current", "milliamperes", 0.001),
    "v": Unit("voltage", "volts", 1.0),
    "volt": Unit("voltage", "volts", 1.0),
    "volts": Unit("voltage", "volts", 1.0),
    "mv": Unit("voltage", "millivolts", 0.001),
    "ohm": Unit("resistance", "ohms", 1.0),
    "ohms": Unit("resistance", "ohms", 1.0),
    "mohm": Unit("resistance", "milliohms", 0.001),
    "kohm": Unit("resistance", "kilohms", 1000.0),
    "deg": Unit("angle", "degrees", 1.0),
    "degrees": Unit("angle", "degrees", 1.0),
    "rad": Unit("angle", "radians", 57.29577951308232),
}

_SIGNS = {"µs": "us", "μs": "us", "Ω": "ohm", "mΩ": "mohm", "kΩ": "kohm", "°": "deg", '"': "in", "″": "in"}
_MEASURE = re.compile(r'\s*([-+]?\d+(?:[.,]\d+)?)\s*([A-Za-zµμΩ°"″]*)\.?\s*')


def split(key: str) -> tuple[str, Unit | None]:
    """A key's stem and unit: ("trip", amperes) for "trip_a"; a unit's word alone has an empty stem."""
    stem, _, last = key.rpartition("_")
    unit = UNITS.get(last.lower())
    return (key, None) if unit is None else (stem, unit)


def unit_of(key: str) -> Unit | None:
    """The unit a key's name states, if any."""
    return split(key)[1]


def meant_by_unit(key: str, allowed: Iterable[str]) -> list[str]:
    """The allowed keys that differ from `key` in nothing but the unit, or that only lack one."""
    stem, unit = split(key)
    found = []
    for other in allowed:
        other_stem, other_unit = split(other)
        if other_unit is None or other_stem != stem:
            continue
        if unit is None or unit.quantity == other_unit.quantity:
            found.append(other)
    return found


def convert(value: float, from_unit: Unit, to_unit: Unit) -> float | None:
    """The number in the other unit, or None where the two measure different things."""
    if from_unit.quantity != to_unit.quantity:
        return None
    return value * from_unit.factor / to_unit.factor


def number_in(text: str, key: str) -> float | None:
    """The number that a text like "3 A" or "0,5" means for a key, in the key's own unit; None if it is unclear."""
    found = _MEASURE.fullmatch(text)
    if found is None:
        return None
    value = float(found[1].replace(",", "."))
    sign = found[2]
    if not sign:
        return value
    here = UNITS.get(_SIGNS.get(sign, sign).lower())
    wanted = unit_of(key)
    if here is None or wanted is None:
        return None
    return convert(value, here, wanted)


def plain(value: float) -> str:
    """A number as a person writes it: no needless decimals."""
    return f"{value:.6g}"
