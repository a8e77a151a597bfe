"""Two photo-MOS relays that feed a frog from bus A or bus B, and that no pair of inputs can close together."""

from __future__ import annotations

from circuits.model import Circuit, Part, Port, PortType

__all__ = ["CIRCUIT", "pair_bench", "without_interlock"]

ABOUT = """\
The two LEDs stand back to back between the two pins: with both pins high, or both low, there is no voltage between
them and both relays are open. Only the difference counts, so no mistake of the program can join A to B. C1 is charged
by one LED's voltage and must be charged the other way round before the other LED lights: several milliseconds of
both-off at every change, longer than the slowest relay of this class takes to let go.
"""
TRACK = (-24.0, 24.0)
PORTS = (
    Port("IN_A", PortType.GPIO_OUT, (0.0, 3.6), "high alone: frog joined to bus A", (2, 6)),
    Port("IN_B", PortType.GPIO_OUT, (0.0, 3.6), "high alone: frog joined to bus B", (2, 16)),
    Port("GND", PortType.GROUND, (0.0, 0.0), "the board's ground", (6, 24)),
    Port("A", PortType.OUTSIDE, TRACK, "bus wire A", (38, 6), "track"),
    Port("B", PortType.OUTSIDE, TRACK, "bus wire B", (38, 16), "track"),
    Port("F", PortType.OUTSIDE, TRACK, "the frog", (38, 11), "track"),
)
_RELAY = "photo-MOS relay, 30 V 4 A, 20 mΩ"
_HOLD = (
    Part("R2", "resistor", "8.2 kΩ", {"1": "IN_A", "2": "GND"}, (6, 9), 1, watts=0.25, note="holds IN_A at reset"),
    Part("R3", "resistor", "8.2 kΩ", {"1": "IN_B", "2": "GND"}, (6, 19), 1, watts=0.25, note="holds IN_B at reset"),
)

CIRCUIT = Circuit(
    "solid-state-pair",
    "Solid-state pair with interlock",
    ABOUT,
    PORTS,
    (
        Part("R1", "resistor", "470 Ω", {"1": "IN_A", "2": "X"}, (12, 6), watts=0.25, note="about 4 mA of LED current"),
        Part("C1", "capacitor", "10 µF", {"1": "X", "2": "IN_B"}, (17, 11), 1, volts=10.0, note="ceramic, unpolarised"),
        Part("U1", "photomos", _RELAY, {"a": "X", "k": "IN_B", "d1": "A", "d2": "F"}, (26, 7)),
        Part("U2", "photomos", _RELAY, {"a": "IN_B", "k": "X", "d1": "F", "d2": "B"}, (26, 15)),
        *_HOLD,
    ),
    {"X": (0.0, 3.6)},
)


def without_interlock() -> Circuit:
    """The same relays, each LED from its own pin to ground: what the interlock is there to prevent."""
    return Circuit(
        "solid-state-pair-unlocked",
        "Solid-state pair WITHOUT interlock (for comparison only)",
        "Each LED has its own resistor to its own pin.",
        PORTS,
        (
            Part("R1", "resistor", "470 Ω", {"1": "IN_A", "2": "XA"}, (12, 6), watts=0.25),
            Part("R4", "resistor", "470 Ω", {"1": "IN_B", "2": "XB"}, (12, 16), watts=0.25),
            Part("U1", "photomos", _RELAY, {"a": "XA", "k": "GND", "d1": "A", "d2": "F"}, (26, 7)),
            Part("U2", "photomos", _RELAY, {"a": "XB", "k": "GND", "d1": "F", "d2": "B"}, (26, 15)),
            *_HOLD,
        ),
    )


def pair_bench(a_ms: tuple[float, float], b_ms: tuple[float, float], track: str, end_ms: float = 60.0) -> str:
    """Sources and measurements: each input high from one time to another, `track` a source between A and B.

    Measures `worst`: the largest current from A to B, in amperes, at any time; nothing else is joined to the frog
    but 1 MΩ. `joined_a`, `joined_b`: what the frog carries while only one input is high, against B, in volts.
    """

    def input_line(net: str, times: tuple[float, float]) -> str:
        on, off = times
        return f"V{net} {net}_s 0 PWL(0 0 {on}m 0 {on + 1e-5}m 3.3 {off}m 3.3 {off + 1e-5}m 0)\nR{net} {net}_s {net} 40"

    return f"""
{input_line("in_a", a_ms)}
{input_line("in_b", b_ms)}
Vtrack a_s b {track}
Rwire a_s a 50m
Rref b 0 1meg
Rleak f b 1meg
.options method=gear reltol=1e-4 abstol=1e-9
.tran 20u {end_ms}m 0 20u
.meas tran most MAX i(Vtrack)
.meas tran least MIN i(Vtrack)
"""
