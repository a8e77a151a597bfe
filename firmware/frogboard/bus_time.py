"""The longest time that the I2C buses can take within one tick; more than half a tick is refused.

A byte takes nine clocks, each transfer two more for start and stop; the driver's own time per call is
`CALL_US` (from memory, to be measured on the board). What one tick may send is fixed by `loop`:
the servo outputs of a chip that move and one that stops, one write of both ports per expander, one read of both
ports per expander with inputs, one sensor on every bus (round robin), and one check of one chip (two reads).
"""

from frogboard.reason import Refused

if False:
    from typing import Any

CALL_US = 60
SERVO_BYTES = 6
"""Address, register, four register bytes."""
PORT_WRITE_BYTES = 4
PORT_READ_BYTES = 5
SENSOR_BYTES = 5


def _us(bytes_sent: int, hz: int) -> int:
    return CALL_US + (bytes_sent * 9 + 3) * 1000000 // hz


def worst_us(doc: "dict[str, Any]") -> int:
    """Microseconds on all buses together in the worst tick (they are used one after the other)."""
    total: int = 0
    slowest = min([bus["hz"] for bus in doc["buses"]] + [400000])
    if doc["chips"]:
        total += 2 * _us(PORT_READ_BYTES, slowest)
    for b, bus in enumerate(doc["buses"]):
        hz = bus["hz"]
        sensors = 0
        for c, chip in enumerate(doc["chips"]):
            if chip["bus"] != b:
                continue
            if chip["kind"] == "pca9685":
                servos = len([d for d in doc["drives"] if d["out"] is not None and d["out"]["chip"] == c])
                total += min(servos, doc["max_moving"] + 1) * _us(SERVO_BYTES, hz)
            elif chip["kind"] == "mcp23017":
                total += _us(PORT_WRITE_BYTES, hz)
                if any(i["chip"] == c for i in doc["inputs"]):
                    total += _us(PORT_READ_BYTES, hz)
            else:
                sensors += 1
        if sensors:
            total += _us(SENSOR_BYTES, hz)
    return total


def check(doc: "dict[str, Any]") -> None:
    """Raise Refused where the worst tick fills more than half of a tick."""
    worst = worst_us(doc)
    if worst > doc["tick_ms"] * 500:
        raise Refused("buses", "up to %d us of I2C a tick, over half of %d ms" % (worst, doc["tick_ms"]))
