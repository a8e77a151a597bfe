"""What a circuit is made of. A part's pins are joined by giving them the same net's name."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import StrEnum

__all__ = ["KINDS", "Circuit", "Kind", "Part", "Pin", "PinType", "Port", "PortType", "number"]


class PinType(StrEnum):
    """What a pin does to its net. HELD: an input that reads as off by itself while nothing drives it."""

    PASSIVE = "passive"
    INPUT = "input"
    HELD = "held input"
    OUTPUT = "output"
    OPEN = "open-collector output"
    POWER = "power"


class PortType(StrEnum):
    """What a net meets at the circuit's edge."""

    GPIO_OUT = "microcontroller pin, output; floats at reset"
    GPIO_IN = "microcontroller pin, input"
    SUPPLY = "supply"
    GROUND = "ground"
    OUTSIDE = "wires to the railway"


@dataclass(frozen=True, slots=True)
class Pin:
    """`x`, `y`: where it sits on the symbol, in grid steps; `side`: pins of one side are isolated from others."""

    name: str
    type: PinType
    x: int
    y: int
    side: int = 0


@dataclass(frozen=True, slots=True)
class Kind:
    """A kind of part. `symbol` names its drawing; `box` its half width and half height in grid steps."""

    pins: tuple[Pin, ...]
    symbol: str
    box: tuple[int, int] = (1, 1)


def _two(symbol: str, a: str = "1", b: str = "2") -> Kind:
    return Kind((Pin(a, PinType.PASSIVE, -3, 0), Pin(b, PinType.PASSIVE, 3, 0)), symbol, (2, 1))


_P, _I, _O, _C, _V = PinType.PASSIVE, PinType.INPUT, PinType.OUTPUT, PinType.OPEN, PinType.POWER

KINDS: dict[str, Kind] = {
    "resistor": _two("resistor"),
    "capacitor": _two("capacitor"),
    "fuse": _two("fuse"),
    "coil": _two("coil"),
    "diode": _two("diode", "a", "k"),
    "contact": Kind((Pin("c", _P, -3, 0), Pin("no", _P, 3, -1), Pin("nc", _P, 3, 1)), "contact", (2, 1)),
    "photomos": Kind(
        (Pin("a", _P, -4, -1), Pin("k", _P, -4, 1), Pin("d1", _P, 4, -1, 1), Pin("d2", _P, 4, 1, 1)),
        "photomos",
        (3, 2),
    ),
    "driver": Kind(
        (
            Pin("in", PinType.HELD, -4, 0),
            Pin("out", _C, 4, 0),
            Pin("com", _P, 4, -2),
            Pin("gnd", _V, 4, 2),
        ),
        "box",
        (3, 3),
    ),
    "hall": Kind(
        (
            Pin("ip+", _P, -4, -2, 1),
            Pin("ip-", _P, -4, 2, 1),
            Pin("vcc", _V, 4, -2),
            Pin("out", _O, 4, 0),
            Pin("gnd", _V, 4, 2),
        ),
        "box",
        (3, 3),
    ),
    "comparator": Kind((Pin("+", _I, -4, -2), Pin("-", _I, -4, 2), Pin("out", _C, 4, 0)), "comparator", (3, 3)),
    "nand": Kind((Pin("a", _I, -4, -1), Pin("b", _I, -4, 1), Pin("y", _O, 4, 0)), "nand", (3, 2)),
    "monitor": Kind(
        (
            Pin("in+", _I, -4, -1),
            Pin("in-", _I, -4, 1),
            Pin("vcc", _V, 4, -2),
            Pin("alert", _C, 4, 0),
            Pin("gnd", _V, 4, 2),
        ),
        "box",
        (3, 3),
    ),
}


@dataclass(frozen=True, slots=True)
class Part:
    """One part: `value` as on the parts list; `volts` and `watts` its ratings, where they matter.

    `at`: centre in grid steps; `turn`: quarter turns clockwise. `spice` overrides the value in decks.
    """

    ref: str
    kind: str
    value: str
    nets: Mapping[str, str]
    at: tuple[int, int]
    turn: int = 0
    volts: float | None = None
    watts: float | None = None
    note: str = ""
    spice: Mapping[str, float] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Port:
    """A net at the circuit's edge. `volts`: lowest and highest against ground or the other track wire."""

    net: str
    type: PortType
    volts: tuple[float, float]
    meaning: str
    at: tuple[int, int]
    domain: str = "board"


@dataclass(frozen=True, slots=True)
class Circuit:
    """A circuit. `volts`: the highest voltage of inner nets, for judging ratings."""

    name: str
    title: str
    about: str
    ports: tuple[Port, ...]
    parts: tuple[Part, ...]
    volts: Mapping[str, tuple[float, float]] = field(default_factory=dict)

    def part(self, ref: str) -> Part:
        """The part with that reference. Raises KeyError."""
        for part in self.parts:
            if part.ref == ref:
                return part
        raise KeyError(ref)

    def nets(self) -> dict[str, list[tuple[Part, Pin]]]:
        """Pins by net."""
        found: dict[str, list[tuple[Part, Pin]]] = {port.net: [] for port in self.ports}
        for part in self.parts:
            for pin in KINDS[part.kind].pins:
                if pin.name in part.nets:
                    found.setdefault(part.nets[pin.name], []).append((part, pin))
        return found


_SUFFIX = {"p": 1e-12, "n": 1e-9, "µ": 1e-6, "u": 1e-6, "m": 1e-3, "": 1.0, "k": 1e3, "M": 1e6}


def number(value: str) -> float:
    """The number at the start of a value such as "4.7 kΩ" or "10 µF", in ohms, farads, henries. Raises ValueError."""
    found = re.match(r"\s*([0-9.]+)\s*([pnµumkM]?)(?=[ΩFHAV]|\s|$)", value)
    if found is None:
        raise ValueError(f"no number in {value!r}")
    return float(found.group(1)) * _SUFFIX[found.group(2)]
