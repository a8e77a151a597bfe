"""The servos' 5 V: fuse, reservoir, and a series resistor in each signal."""

from __future__ import annotations

from circuits.model import Circuit, Part, Port, PortType

__all__ = ["CIRCUIT", "dip_bench"]

CIRCUIT = Circuit(
    "servo-supply",
    "Servo supply and signal",
    """\
A servo that starts takes its stall current for some milliseconds. C1 stands in for the leads from the supply, so that
the microcontroller, which lives on the same 5 V behind D1 and C2, does not notice. R1 limits what a servo fed from
elsewhere could push into an unpowered board; R2 keeps the signal low while the pin floats, so no servo twitches.
""",
    (
        Port("5V_IN", PortType.OUTSIDE, (4.75, 5.5), "from the 5 V supply, through its leads", (2, 6)),
        Port("GND", PortType.GROUND, (0.0, 0.0), "the board's ground", (14, 18)),
        Port("V+", PortType.OUTSIDE, (4.5, 5.5), "to the servos' red wires", (20, 4)),
        Port("VSYS", PortType.OUTSIDE, (0.0, 5.5), "to the microcontroller module", (36, 6)),
        Port("PWM", PortType.GPIO_OUT, (0.0, 3.6), "the pin that makes the pulse", (18, 16)),
        Port("SIGNAL", PortType.OUTSIDE, (0.0, 5.5), "to the servo's signal wire", (36, 16)),
    ),
    (
        Part("F1", "fuse", "3 A, slow", {"1": "5V_IN", "2": "V+"}, (8, 6)),
        Part(
            "C1",
            "capacitor",
            "1000 µF",
            {"1": "V+", "2": "GND"},
            (14, 12),
            1,
            volts=10.0,
            note="electrolytic, low resistance",
            spice={"value": 1000e-6, "esr": 0.05},
        ),
        Part("D1", "diode", "Schottky, 1 A 30 V", {"a": "V+", "k": "VSYS"}, (26, 6)),
        Part("C2", "capacitor", "220 µF", {"1": "VSYS", "2": "GND"}, (32, 10), 1, volts=10.0, note="electrolytic"),
        Part("R1", "resistor", "470 Ω", {"1": "PWM", "2": "SIGNAL"}, (28, 16), watts=0.25),
        Part("R2", "resistor", "8.2 kΩ", {"1": "PWM", "2": "GND"}, (22, 19), 1, watts=0.25, note="holds it at reset"),
    ),
)


def dip_bench(servos: int, stall_a: float) -> str:
    """`servos` start together, each with its stall current for 20 ms. Measures the lowest `servo_v` and `chip_v`."""
    return f"""
Vs s 0 5
Rlead s t 0.12
Llead t 5v_in 2u
Istall vp 0 PWL(0 0 5m 0 5.01m {servos * stall_a:g} 25m {servos * stall_a:g} 25.01m 0)
Ichip vsys 0 60m
Vpwm pwm 0 0
Rsig signal 0 100k
.tran 5u 40m 0 5u
.meas tran servo_v MIN v(vp) from=4m to=26m
.meas tran chip_v MIN v(vsys) from=4m to=26m
"""
