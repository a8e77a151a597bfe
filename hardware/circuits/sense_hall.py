"""Current sense with an isolated Hall sensor: instantaneous, so good for DC of either polarity and for DCC."""

from __future__ import annotations

from circuits.model import Circuit, Part, Port, PortType

__all__ = ["CIRCUIT", "DCC_BENCH_US", "V_PER_A", "ZERO_V", "sense_bench"]

DCC_BENCH_US = 116.0
"""Period of a stream of ones (58 µs a half), the fastest a DCC track carries (NMRA S-9.1)."""
ZERO_V = 2.5 * 2 / 3
V_PER_A = 0.185 * 2 / 3

CIRCUIT = Circuit(
    "sense-hall",
    "Current sense for DC and DCC",
    """\
The sensor gives half its supply without current and 185 mV for each ampere, of either sign. The divider brings 5 V
down to the converter's 3.3 V, and C1 with it cuts off far above the DCC square wave, so that the firmware can take the
mean (DC) or the root mean square (DCC; its mean is nothing) of many readings.
""",
    (
        Port("A_IN", PortType.OUTSIDE, (-24.0, 24.0), "bus wire from the supply", (2, 6), "track"),
        Port("A", PortType.OUTSIDE, (-24.0, 24.0), "bus wire to the track", (2, 14), "track"),
        Port("+5V", PortType.SUPPLY, (4.5, 5.5), "sensor supply", (18, 4)),
        Port("GND", PortType.GROUND, (0.0, 0.0), "the board's ground", (26, 20)),
        Port("ADC", PortType.GPIO_IN, (0.0, 3.6), "analogue input", (39, 10)),
    ),
    (
        Part(
            "U1",
            "hall",
            "ACS712, 5 A version",
            {"ip+": "A_IN", "ip-": "A", "vcc": "+5V", "out": "OUT", "gnd": "GND"},
            (10, 10),
        ),
        Part("R1", "resistor", "10 kΩ", {"1": "OUT", "2": "ADC"}, (20, 10), watts=0.25, note="1 %"),
        Part("R2", "resistor", "20 kΩ", {"1": "ADC", "2": "GND"}, (26, 15), 1, watts=0.25, note="1 %"),
        Part("C1", "capacitor", "330 pF", {"1": "ADC", "2": "GND"}, (34, 15), 1, volts=16.0),
        Part("C2", "capacitor", "100 nF", {"1": "+5V", "2": "GND"}, (18, 15), 1, volts=16.0, note="at the sensor"),
    ),
    {"OUT": (0.0, 5.5)},
)


def sense_bench(current: str) -> str:
    """A current source through the sensor. Measures `mean` at the converter, and the rms about its zero."""
    return f"""
Vs p5v 0 5
Isense 0 a_in {current}
Vret a 0 0
.options reltol=1e-4
.tran 0.2u {20 * DCC_BENCH_US:g}u {4 * DCC_BENCH_US:g}u 0.2u
Bsq sq 0 V=(v(adc)-{ZERO_V:.9g})*(v(adc)-{ZERO_V:.9g})
.meas tran mean AVG v(adc)
.meas tran square AVG v(sq)
"""
