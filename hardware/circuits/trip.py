"""Trip comparator with latch: both signs of current, held until the program clears it."""

from __future__ import annotations

from circuits.model import Circuit, Part, Port, PortType
from circuits.sense_hall import CIRCUIT as SENSE

__all__ = ["CIRCUIT", "TRIP_A", "hold_bench", "short_bench"]

TRIP_A = 3.5
"""(5 V · 20 k / 54 k − 2.5 V) / 185 mV/A: the thresholds and the sensor's zero follow the same supply."""

CIRCUIT = Circuit(
    "trip",
    "Trip comparator with latch",
    """\
Two comparators hold the sensor's output between two limits taken from the sensor's own supply. Either pulls SET low;
the two gates keep TRIP low from then on, until CLEAR goes low while the current is normal. C3 clears the latch at
power-up. R5 with C1 lets the charging spike of a DCC edge pass.
""",
    (
        Port("A_IN", PortType.OUTSIDE, (-24.0, 24.0), "bus wire from the supply", (2, 8), "track"),
        Port("A", PortType.OUTSIDE, (-24.0, 24.0), "bus wire to the track", (2, 12), "track"),
        Port("+5V", PortType.SUPPLY, (4.5, 5.5), "sensor supply", (18, 1)),
        Port("+3V3", PortType.SUPPLY, (3.2, 3.4), "the microcontroller's supply", (46, 0)),
        Port("GND", PortType.GROUND, (0.0, 0.0), "the board's ground", (18, 28)),
        Port("CLEAR", PortType.GPIO_OUT, (0.0, 3.6), "low: clear the latch", (46, 18)),
        Port("TRIP", PortType.GPIO_IN, (0.0, 3.6), "low from a trip until cleared", (68, 17)),
    ),
    (
        Part(
            "U1",
            "hall",
            "ACS712, 5 A version",
            {"ip+": "A_IN", "ip-": "A", "vcc": "+5V", "out": "OUT", "gnd": "GND"},
            (10, 10),
        ),
        Part("R1", "resistor", "20 kΩ", {"1": "+5V", "2": "HIGH"}, (27, 4), 1, watts=0.25, note="1 %"),
        Part("R2", "resistor", "14 kΩ", {"1": "HIGH", "2": "LOW"}, (27, 15), 1, watts=0.25, note="1 %"),
        Part("R3", "resistor", "20 kΩ", {"1": "LOW", "2": "GND"}, (27, 23), 1, watts=0.25, note="1 %"),
        Part("R5", "resistor", "1 kΩ", {"1": "OUT", "2": "SEE"}, (18, 10), watts=0.25),
        Part("C1", "capacitor", "2.2 nF", {"1": "SEE", "2": "GND"}, (20, 15), 1, volts=16.0),
        Part("U2A", "comparator", "LM393 (half)", {"+": "HIGH", "-": "SEE", "out": "SET"}, (38, 8)),
        Part("U2B", "comparator", "LM393 (half)", {"+": "SEE", "-": "LOW", "out": "SET"}, (38, 18)),
        Part("R4", "resistor", "4.7 kΩ", {"1": "+3V3", "2": "SET"}, (46, 4), 1, watts=0.25),
        Part("U3A", "nand", "74HC00 (quarter)", {"a": "SET", "b": "TRIP", "y": "HELD"}, (58, 9)),
        Part("U3B", "nand", "74HC00 (quarter)", {"a": "HELD", "b": "CLEAR", "y": "TRIP"}, (58, 17)),
        Part("R6", "resistor", "10 kΩ", {"1": "+3V3", "2": "CLEAR"}, (50, 14), 1, watts=0.25),
        Part("C3", "capacitor", "100 nF", {"1": "CLEAR", "2": "GND"}, (50, 22), 1, volts=16.0),
        Part("C2", "capacitor", "100 nF", {"1": "+5V", "2": "GND"}, (10, 20), 1, volts=16.0, note="at U1 and U2"),
    ),
    {
        "OUT": (0.0, 5.5),
        "SEE": (0.0, 5.5),
        "HIGH": (0.0, 5.5),
        "LOW": (0.0, 5.5),
        "SET": (0.0, 5.5),
        "HELD": (0.0, 3.6),
    },
)
assert SENSE.part("U1").value == CIRCUIT.part("U1").value

_SUPPLIES = """
Vs p5v 0 5
Vl p3v3 0 PWL(0 0 10u 3.3)
Rtrip trip 0 100k
"""


def short_bench(volts: float, ohm: float, henry: float) -> str:
    """A dead short at 2 ms on a supply of `volts` through `ohm` and `henry`; CLEAR is left to R6 and C3.

    Measures `latched`: seconds from the short to TRIP low; `before` and `after`: TRIP in volts at 1.9 ms and 3 ms,
    `at_trip`: the current in amperes when the latch has closed.
    """
    return f"""{_SUPPLIES}
Vtrack src 0 {volts:g}
Rtrack src q {ohm:g}
Ltrack q a_in {henry:g}
Sshort a 0 ctl 0 sshort
Rload a 0 {abs(volts) / 0.5:g}
Vctl ctl 0 PWL(0 0 2m 0 2.0001m 1)
.model sshort SW(VT=0.5 VH=0 RON=1m ROFF=1g)
.ic v(trip)=0
.tran 0.2u 3m 0 0.2u
.meas tran before FIND v(trip) AT=1.9m
.meas tran after FIND v(trip) AT=2.9m
.meas tran latched TRIG AT=2m TARG v(trip) VAL=0.8 FALL=LAST
.meas tran at_trip FIND i(Ltrack) WHEN v(trip)=0.8 FALL=LAST
"""


def hold_bench(current: str, clear: str = "") -> str:
    """A given current through the sensor. Measures TRIP at 2 ms, 4 ms and 6 ms. `clear` drives CLEAR, if given."""
    drive = f"Vclear clear_s 0 {clear}\nRclear clear_s clear 40" if clear else ""
    return f"""{_SUPPLIES}
Isense 0 a_in {current}
Vret a 0 0
{drive}
.tran 0.5u 6.1m 0 0.5u
.meas tran first FIND v(trip) AT=2m
.meas tran second FIND v(trip) AT=4m
.meas tran third FIND v(trip) AT=6m
"""
