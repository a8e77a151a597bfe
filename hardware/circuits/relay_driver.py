"""One channel of the driver chip with its changeover relay."""

from __future__ import annotations

from circuits.model import Circuit, Part, Port, PortType

__all__ = ["CIRCUIT", "release_bench"]

COIL_OHM = 125.0
COIL_HENRY = 0.15
"""A 5 V coil of 200 mW; its inductance is from memory of this class."""
PICK_UP_V = 3.75
DROP_OUT_A = 0.1 * 5.0 / COIL_OHM
"""75 % of the nominal voltage closes it for certain, 10 % of the nominal current lets it go (usual limits)."""

CIRCUIT = Circuit(
    "relay-driver",
    "Changeover relay driver",
    """\
The driver's input reads low while a pin floats, so the relay rests. Its clamp diode takes the coil's current when it is
switched off; that also makes the relay slow to let go, which the board profile reckons with.
""",
    (
        Port("IN", PortType.GPIO_OUT, (0.0, 3.6), "high: the relay works", (2, 10)),
        Port("+5V", PortType.SUPPLY, (4.5, 5.5), "relay supply", (22, 4)),
        Port("GND", PortType.GROUND, (0.0, 0.0), "the board's ground", (14, 18)),
        Port("A", PortType.OUTSIDE, (-24.0, 24.0), "bus wire on the working side", (38, 13), "track"),
        Port("B", PortType.OUTSIDE, (-24.0, 24.0), "bus wire on the resting side", (38, 15), "track"),
        Port("F", PortType.OUTSIDE, (-24.0, 24.0), "the frog", (26, 14), "track"),
    ),
    (
        Part(
            "U1",
            "driver",
            "ULN2803A (one of eight)",
            {"in": "IN", "out": "COIL", "com": "+5V", "gnd": "GND"},
            (10, 10),
        ),
        Part(
            "K1",
            "coil",
            "relay coil, 5 V 200 mW",
            {"1": "+5V", "2": "COIL"},
            (22, 7),
            1,
            note="with S1 one relay",
            spice={"ohm": COIL_OHM, "henry": COIL_HENRY},
        ),
        Part("S1", "contact", "changeover, 5 A 30 V DC", {"c": "F", "no": "A", "nc": "B"}, (32, 14)),
    ),
    {"COIL": (0.0, 6.5)},
)


def release_bench() -> str:
    """On for 40 ms, then off; the supply at its lowest. Measures the coil's voltage, and when its current has gone.

    `coil_v`: volts across the coil at the end of the on time; `leak_a`: current before it; `peak_v`: highest at
    the driver; `let_go`: seconds from the falling input until a tenth of the nominal current is left.
    """
    return f"""
Vin in_s 0 PWL(0 0 5m 0 5.001m 3.3 45m 3.3 45.001m 0)
Rin in_s in 40
Vs p5v 0 4.75
Vf f 0 0
Ra a 0 1meg
Rb b 0 1meg
.tran 5u 70m 0 5u
.meas tran leak_a FIND i(LK1) AT=4m
.meas tran coil_low FIND v(coil) AT=44m
.meas tran coil_a FIND i(LK1) AT=44m
.meas tran peak_v MAX v(coil)
.meas tran let_go TRIG AT=45m TARG i(LK1) VAL={DROP_OUT_A:g} FALL=1
"""
