"""A panel button or position contact, protected against a wire of the track that touches it."""

from __future__ import annotations

from circuits.model import Circuit, Part, Port, PortType

__all__ = ["CIRCUIT", "touch_bench"]

CIRCUIT = Circuit(
    "input-protection",
    "Input protection",
    """\
Long wires under a baseboard pick up anything, a slipped screwdriver included. R1 limits the current, D1 and D2 keep
the pin between the rails, C1 takes the spikes. The pin's own pull-up (50 to 80 kΩ) makes the high level.
""",
    (
        Port("WIRE", PortType.OUTSIDE, (-24.0, 24.0), "to the button, whose other side is on ground", (2, 8)),
        Port("+3V3", PortType.SUPPLY, (3.2, 3.4), "the microcontroller's supply", (16, 2)),
        Port("GND", PortType.GROUND, (0.0, 0.0), "the board's ground", (16, 16)),
        Port("PIN", PortType.GPIO_IN, (-0.5, 3.9), "microcontroller input with pull-up", (34, 8)),
    ),
    (
        Part("R1", "resistor", "10 kΩ", {"1": "WIRE", "2": "N"}, (8, 8), watts=0.25),
        Part("D1", "diode", "Schottky, 0.2 A 30 V", {"a": "N", "k": "+3V3"}, (16, 5), 3),
        Part("D2", "diode", "Schottky, 0.2 A 30 V", {"a": "GND", "k": "N"}, (16, 12), 3),
        Part("R2", "resistor", "1 kΩ", {"1": "N", "2": "PIN"}, (22, 8), watts=0.25),
        Part("C1", "capacitor", "100 nF", {"1": "PIN", "2": "GND"}, (28, 12), 1, volts=16.0),
    ),
    {"N": (-0.5, 3.9)},
)


def touch_bench(volts: float, pull_ohm: float = 80e3) -> str:
    """The wire at `volts` from 1 ms on (open before). Measures the pin's extremes and its level at the end.

    `into_supply`: amperes pushed into the 3.3 V rail.
    """
    return f"""
Vl p3v3 0 3.3
Rpull p3v3 pin {pull_ohm:g}
Vtouch touch 0 {volts:g}
Stouch touch wire ctl 0 st
Vctl ctl 0 PWL(0 0 1m 0 1.001m 1)
.model st SW(VT=0.5 VH=0 RON=0.1 ROFF=1g)
.tran 5u 30m 0 5u
.meas tran highest MAX v(pin)
.meas tran lowest MIN v(pin)
.meas tran level FIND v(pin) AT=29m
.meas tran into_supply MAX i(Vl)
"""
