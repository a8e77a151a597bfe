"""The scenario: one JSON document with everything that the physics inside the virtual board needs.

Built from the netlist, the boards' settings documents (which say what hangs on which pin) and the physical figures.
All arithmetic with fractions happens here; the physics counts whole microseconds, nanoseconds and micrometres.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import Any

from frogfeed.bench.circuit import build_circuit
from frogfeed.bench.errors import BenchError
from frogfeed.bench.physical import (
    DEAD_BAND_US,
    STOPS_US,
    DrivePhysics,
    OutputPhysics,
    Physical,
    SensorPhysics,
    SupplyPhysics,
    TripPhysics,
)
from frogfeed.bench.shapes import (
    BoardSpec,
    HandSpec,
    OutputSpec,
    Pin,
    Scenario,
    SensorSpec,
    ServoSpec,
    SupplySpec,
    TripSpec,
)

FRAME_MS = 20.0
"""A servo looks at its pulse once in this time."""
ALERTING = ("ina226", "ina3221")
"""Sensor chips with an output of their own for too much current: it is the trip of what they watch."""
LAG_FRAMES = 6.0
"""Time constants a servo needs to settle, less its frame: what `lag_ms` counts."""


def build_scenario(
    netlist: Mapping[str, Any],
    settings_docs: Sequence[Mapping[str, Any]],
    physical: Physical | None = None,
    *,
    seed: int = 1,
    ticks_start_us: int = 0,
    drop: Sequence[str] = (),
) -> Scenario:
    """The scenario of these boards on this railway.

    `settings_docs` are settings documents with their defaults filled in, as `frogboard.settings.load` gives them.
    `drop` names kinds of records that are not wanted. `ticks_start_us` is what the board's ticks read at power-on.
    A drive that no board knows is thrown by hand. Raises BenchError where a document names a drive or feed that the
    netlist lacks, or where there is no board.
    """
    physical = physical or Physical()
    if not settings_docs:
        raise BenchError("a bench without a board: give it at least one settings document")
    tick_us = 1000 * max((int(d["tick_ms"]) for d in settings_docs), default=5)
    drive_numbers = {d: i for i, d in enumerate(netlist["drives"])}
    _check_names(netlist, settings_docs)
    circuit = build_circuit(netlist, _settle_us(settings_docs, tick_us), physical.in_phase, physical.commons)
    boards = [_board(d, drive_numbers, netlist, physical) for d in settings_docs]
    held = {d["name"] for doc in settings_docs for d in doc["drives"]}
    boards[0]["hands"] += [
        _hand({"name": d, "contacts": [-1, -1]}, drive_numbers, physical.drives.get(d, DrivePhysics()))
        for d in netlist["drives"]
        if d not in held
    ]
    lead = max((_feed_lead_ms(f) for d in settings_docs for f in d["feeds"]), default=0)
    return {
        "seed": seed,
        "real": False,
        "tick_us": tick_us,
        "grace_us": 4 * tick_us,
        "lead_us": 1000 * lead + 4 * tick_us + round(1000 * FRAME_MS),
        "ticks_start_us": ticks_start_us,
        "drop": list(drop),
        "rails": circuit.spec,
        "classes": dict(circuit.class_of),
        "supplies": {
            district: _supply(physical.supplies.get(district, SupplyPhysics()))
            for district in sorted({w["district"] for w in netlist["wires"].values()})
        },
        "boards": boards,
    }


def _check_names(netlist: Mapping[str, Any], docs: Sequence[Mapping[str, Any]]) -> None:
    outputs = {s["output"] for s in netlist["switched"]}
    for doc in docs:
        for drive in doc["drives"]:
            if drive["name"] not in netlist["drives"]:
                raise BenchError(f"board {doc['board']}: drive {drive['name']} is not in the netlist")
        for feed in doc["feeds"]:
            if feed["name"] not in outputs:
                raise BenchError(f"board {doc['board']}: feed {feed['name']} is not in the netlist")


def _feed_lead_ms(feed: Mapping[str, Any]) -> int:
    leads = [int(m["off_lead_ms"]) for m in feed["moves"]]
    return max([int(feed["release_ms"]), *leads])


def _settle_us(docs: Sequence[Mapping[str, Any]], tick_us: int) -> dict[str, int]:
    """How long after a drive's last motion its feeds may still be on their way, by what the settings promise."""
    settle: dict[str, int] = {}
    for doc in docs:
        for drive in doc["drives"]:
            settle.setdefault(drive["name"], 2 * tick_us)
        for feed in doc["feeds"]:
            after = feed["dead_ms"] + feed["operate_ms"] + feed["bounce_ms"]
            group = feed.get("enable", -1)
            if group >= 0:
                after += doc["groups"][group]["operate_ms"]
            for row in feed["table"]:
                for number, _ in row["when"]:
                    drive = doc["drives"][number]
                    lag = max(
                        [drive.get("lag_ms", 0) if drive["kind"] == "servo" else _debounce_ms(doc, drive)]
                        + [m["on_lag_ms"] for m in feed["moves"] if m["drive"] == number]
                    )
                    name = drive["name"]
                    settle[name] = max(settle.get(name, 0), 1000 * (after + lag) + 6 * tick_us)
    return settle


def _debounce_ms(doc: Mapping[str, Any], drive: Mapping[str, Any]) -> int:
    return max([int(doc["inputs"][i]["debounce_ms"]) for i in drive["contacts"] if i >= 0], default=0)


def _board(
    doc: Mapping[str, Any], drives: Mapping[str, int], netlist: Mapping[str, Any], physical: Physical
) -> BoardSpec:
    names = [d["name"] for d in doc["drives"]]
    return {
        "name": doc["board"],
        "servos": [
            _servo(d, drives, netlist, physical.drives.get(d["name"], DrivePhysics()))
            for d in doc["drives"]
            if d["kind"] == "servo"
        ],
        "hands": [
            _hand(d, drives, physical.drives.get(d["name"], DrivePhysics()))
            for d in doc["drives"]
            if d["kind"] == "hand"
        ],
        "outputs": [_output(f, physical.outputs.get(f["name"], OutputPhysics())) for f in doc["feeds"]],
        "groups": [_group(g) for g in doc["groups"]],
        "tables": {
            f["name"]: [([(drives[names[d]], s) for d, s in row["when"]], row["feed"]) for row in f["table"]]
            for f in doc["feeds"]
        },
        "inputs": [(i["name"], i["chip"], i["pin"], i["active"]) for i in doc["inputs"]],
        "lamps": [(lamp["name"], *_coil(lamp["out"])) for lamp in doc["panel"]["lamps"]],
        "sensors": [_sensor(s, doc, physical) for s in doc["sensors"]],
        "trips": [_trip(t, doc, physical.trips.get(t["name"], TripPhysics())) for t in doc["trips"]],
        "chips": [c.copy() for c in doc["chips"]],
        "buses": [b.copy() for b in doc["buses"]],
    }


def _servo(
    drive: Mapping[str, Any], drives: Mapping[str, int], netlist: Mapping[str, Any], physics: DrivePhysics
) -> ServoSpec:
    pulses = (int(drive["pulse_us"][0]), int(drive["pulse_us"][1]))
    linkage = physics.linkage(pulses)
    half = linkage.lost_motion_mm / 2.0
    name = drive["name"]

    def q(rod_mm: float, what: str) -> int:
        try:
            pulse = linkage.pulse_at(rod_mm)
        except ValueError as problem:
            raise BenchError(f"drive {name}: {what}: {problem}; the horn is too short for this throw") from None
        return round(1000 * (pulse - pulses[0]) * linkage.sign)

    throw, near = linkage.throw_mm, linkage.clearance_mm
    out = drive["out"]
    tau_ms = max(0.0, (physics.lag_ms - FRAME_MS) / LAG_FRAMES)
    return {
        "name": name,
        "drive": drives[name],
        "line": (out["chip"], out["channel"]) if out["kind"] == "pca9685" else (-1, out["pin"]),
        "first_ns": pulses[0] * 1000,
        "span_ns": abs(pulses[1] - pulses[0]) * 1000,
        "sign": linkage.sign,
        "start_ns": pulses[_setting(netlist, name, drive, physics.start)] * 1000,
        "low_open": q(near + half, "where the first blade lets go"),
        "low_close": q(near - half, "where the first blade touches"),
        "high_close": q(throw - near + half, "where the second blade touches"),
        "high_open": q(throw - near - half, "where the second blade lets go"),
        "step_ns": round(physics.speed_us_per_s * FRAME_MS),
        "gain": max(1, round(256 * (1.0 - math.exp(-FRAME_MS / tau_ms)))) if tau_ms > 0 else 256,
        "dead_ns": DEAD_BAND_US * 1000,
        "stop_ns": [s * 1000 for s in STOPS_US],
    }


def _setting(netlist: Mapping[str, Any], name: str, drive: Mapping[str, Any], start: int) -> int:
    """The index in the document's order of the setting that has this index in the netlist's order."""
    order = list(netlist["drives"][name])
    if list(drive["settings"]) != order:
        raise BenchError(f"drive {name}: its settings are {order} in the netlist, {drive['settings']} in the document")
    return start


def _hand(drive: Mapping[str, Any], drives: Mapping[str, int], physics: DrivePhysics) -> HandSpec:
    return {
        "name": drive["name"],
        "drive": drives[drive["name"]],
        "contacts": [*drive["contacts"], -1, -1][:2],
        "start": physics.start,
        "blade": round(1000 * physics.clearance_mm / physics.throw_mm),
        "switch": round(1000 * physics.switch_mm / physics.throw_mm),
    }


def _us(ms: float | None, otherwise_ms: int) -> int:
    return round(1000 * ms) if ms is not None else 1000 * otherwise_ms


def _coil(pin: Mapping[str, Any]) -> Pin:
    return (pin["chip"], pin["pin"], pin["active"])


def _output(feed: Mapping[str, Any], physics: OutputPhysics) -> OutputSpec:
    kind = feed["output"]
    keys = {"pair": ("a", "b"), "changeover": ("coil",), "latching": ("set", "reset")}[kind]
    return {
        "name": feed["name"],
        "kind": kind,
        "coils": [_coil(feed[k]) for k in keys],
        "rest": feed.get("rest") or "A",
        "group": feed["enable"],
        "dead_us": 1000 * feed["dead_ms"],
        "operate_us": _us(physics.operate_ms, feed["operate_ms"]),
        "release_us": _us(physics.release_ms, feed["release_ms"]),
        "bounce_us": _us(physics.bounce_ms, feed["bounce_ms"]),
        "transfer_us": round(1000 * physics.transfer_ms),
        "interlocked": int(physics.interlocked),
    }


def _supply(physics: SupplyPhysics) -> SupplySpec:
    return {
        "mv": round(1000 * physics.volts),
        "milliohm": round(1000 * physics.ohm),
        "limit_ma": round(1000 * physics.limit_a) if physics.limit_a else 0,
        "trip_ma": round(1000 * physics.trip_a),
        "trip_us": round(1000 * physics.trip_ms),
        "retry_us": round(1000 * physics.retry_ms),
    }


def _sensor(sensor: Mapping[str, Any], doc: Mapping[str, Any], physical: Physical) -> SensorSpec:
    default = SensorPhysics("mean" if doc["control"] == "dc" or sensor["measure"] == "mean" else "instant-ac")
    return {
        "name": sensor["name"],
        "kind": sensor["kind"],
        "pin": sensor["pin"],
        "chip": sensor["chip"],
        "channel": sensor["channel"],
        "role": sensor["role"],
        "zero_count": sensor["zero_count"],
        "na_per_count": sensor["na_per_count"],
        "watches": [doc["feeds"][i]["name"] for i in sensor["watches"]],
        "sees": physical.sensors.get(sensor["name"], default).sees,
    }


def _trip(trip: Mapping[str, Any], doc: Mapping[str, Any], physics: TripPhysics) -> TripSpec:
    return {
        "name": trip["name"],
        "line": (trip["input"]["pin"], trip["input"]["active"]),
        "watches": [doc["feeds"][i]["name"] for i in trip["watches"]],
        "trip_ma": round(1000 * physics.trip_a),
        "latency_us": round(physics.latency_us),
        "alerts": [
            n
            for n, s in enumerate(doc["sensors"])
            if s["kind"] == "ina"
            and doc["chips"][s["chip"]]["kind"] in ALERTING
            and {*s["watches"]} & {*trip["watches"]}
        ],
    }


def _group(group: Mapping[str, Any]) -> OutputSpec:
    return {
        "name": group["name"],
        "kind": "enable",
        "coils": [_coil(group["out"])],
        "dead_us": 0,
        "operate_us": 1000 * group["operate_ms"],
        "release_us": 1000 * group["release_ms"],
        "bounce_us": 0,
        "transfer_us": 0,
        "interlocked": 0,
    }
