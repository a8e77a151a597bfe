"""A panel lamp on a microcontroller or expander pin, protected against a wire of the track that touches it."""

from __future__ import annotations

from circuits.model import Circuit, Part, Port, PortType

__all__ = ["CIRCUIT", "lit_bench", "touched_bench"]

CIRCUIT = Circuit(
    "lamp-output",
    "Lamp output",
    """\
The lamp is an LED of about 2 V (red, yellow or green) between the terminal and the board's ground, long leg at the
terminal. R1 and R2 set its current; R1, D1 and D2 keep a track wire that touches the terminal away from the pin; R3
keeps the lamp dark while the pin floats.
""",
    (
        Port("PIN", PortType.GPIO_OUT, (0.0, 3.4), "high is lit", (2, 8)),
        Port("+3V3", PortType.SUPPLY, (3.2, 3.4), "the microcontroller's supply", (16, 2)),
        Port("GND", PortType.GROUND, (0.0, 0.0), "the board's ground", (16, 16)),
        Port("WIRE", PortType.OUTSIDE, (-24.0, 24.0), "to the lamp, whose other leg is on ground", (34, 8)),
    ),
    (
        Part("R3", "resistor", "10 kΩ", {"1": "PIN", "2": "GND"}, (4, 11), 1, watts=0.25),
        Part("R2", "resistor", "220 Ω", {"1": "PIN", "2": "N"}, (9, 8), watts=0.25),
        Part("D1", "diode", "Schottky, 0.2 A 30 V", {"a": "N", "k": "+3V3"}, (16, 5), 3),
        Part("D2", "diode", "Schottky, 0.2 A 30 V", {"a": "GND", "k": "N"}, (16, 12), 3),
        Part("R1", "resistor", "1.5 kΩ", {"1": "N", "2": "WIRE"}, (26, 8), watts=1.0),
    ),
    {"N": (-0.5, 3.9)},
)


def lit_bench() -> str:
    """The pin goes high at 1 ms with an LED on the wire. Measures its current before and after, and the pin's."""
    return """
Vl p3v3 0 3.3
Vpin pin 0 PWL(0 0 1m 0 1.001m 3.3)
Vled wire led 0
Dled led 0 dlamp
.model dlamp D(IS=1e-20 N=1.9 RS=8)
.tran 5u 4m 0 5u
.meas tran dark MAX i(Vled) FROM=0 TO=0.9m
.meas tran lit FIND i(Vled) AT=3m
.meas tran lamp_v FIND v(led) AT=3m
"""


def touched_bench(volts: float, high: bool) -> str:
    """A track wire at `volts` touches the terminal from 1 ms on, while the pin (25 Ω) drives high or low.

    Measures what flows into the pin and out of it, and what is pushed into the 3.3 V rail.
    """
    return f"""
Vl p3v3 0 3.3
Vdrive drive 0 {3.3 if high else 0.0:g}
Rdrive drive force 25
Vsense force pin 0
Vtouch touch 0 {volts:g}
Stouch touch wire ctl 0 st
Vctl ctl 0 PWL(0 0 1m 0 1.001m 1)
.model st SW(VT=0.5 VH=0 RON=0.1 ROFF=1g)
.tran 5u 6m 0 5u
.meas tran out_of_pin MAX i(Vsense)
.meas tran into_pin MIN i(Vsense)
.meas tran highest MAX v(pin)
.meas tran lowest MIN v(pin)
.meas tran into_supply MAX i(Vl)
"""
