"""Current sense with a rectifier bridge and a shunt monitor: the mean of the rectified current, DC or DCC."""

from __future__ import annotations

from circuits.model import Circuit, Part, Port, PortType

__all__ = ["CIRCUIT", "SHUNT_OHM", "bridge_bench"]

SHUNT_OHM = 0.02

CIRCUIT = Circuit(
    "sense-bridge",
    "Current sense by bridge and shunt",
    """\
Whatever the direction of the current, it goes through R1 the same way, so an averaging monitor sees DCC as well as DC.
The bridge takes two diode drops from the track. The monitor sits at the track's potential: its supply and its bus
must be isolated from the board's.
""",
    (
        Port("A_IN", PortType.OUTSIDE, (-24.0, 24.0), "bus wire from the supply", (2, 4), "track"),
        Port("A", PortType.OUTSIDE, (-24.0, 24.0), "bus wire to the track", (2, 18), "track"),
        Port("+3V3_ISO", PortType.SUPPLY, (3.2, 3.4), "isolated supply of the monitor", (42, 3), "track"),
        Port("GND", PortType.GROUND, (0.0, 0.0), "its own ground, at the track's potential", (40, 19), "track"),
        Port("ALERT", PortType.GPIO_IN, (0.0, 3.6), "to the board through an isolator", (52, 10), "track"),
    ),
    (
        Part("D1", "diode", "silicon, 3 A 100 V", {"a": "A_IN", "k": "P"}, (10, 4)),
        Part("D2", "diode", "silicon, 3 A 100 V", {"a": "A", "k": "P"}, (10, 8)),
        Part("D3", "diode", "silicon, 3 A 100 V", {"a": "GND", "k": "A_IN"}, (10, 14)),
        Part("D4", "diode", "silicon, 3 A 100 V", {"a": "GND", "k": "A"}, (10, 18)),
        Part("R1", "resistor", "20 mΩ", {"1": "P", "2": "GND"}, (18, 11), 1, note="shunt, 1 %, 1 W"),
        Part("R2", "resistor", "10 Ω", {"1": "P", "2": "INP"}, (24, 9), note="with C1: takes off the edges"),
        Part("C1", "capacitor", "100 nF", {"1": "INP", "2": "GND"}, (29, 14), 1, volts=16.0),
        Part(
            "U1",
            "monitor",
            "INA226",
            {"in+": "INP", "in-": "GND", "vcc": "+3V3_ISO", "alert": "ALERT", "gnd": "GND"},
            (36, 10),
        ),
        Part("R3", "resistor", "10 kΩ", {"1": "+3V3_ISO", "2": "ALERT"}, (47, 7), 1),
    ),
    {"P": (0.0, 1.0), "INP": (0.0, 1.0)},
)


def bridge_bench(current: str) -> str:
    """A current through the bridge. Measures `mean` across the monitor's inputs and the largest `drop` in volts."""
    return f"""
Isense a a_in {current}
Vref a ref 0
Rref ref 0 1meg
Vs p3v3_iso 0 3.3
.options reltol=1e-4
.tran 0.5u 4640u 464u 0.5u
.meas tran mean AVG v(inp)
.meas tran drop MAX par('abs(v(a_in)-v(a))')
"""
