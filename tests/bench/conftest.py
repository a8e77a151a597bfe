"""One turnout with a live frog, links in, blades unbonded, fed by a slow pair without interlock; and its board."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from frogboard import settings
from frogfeed.bench.bench import Bench
from frogfeed.bench.circuit import Circuit, build_circuit
from frogfeed.bench.physical import Physical
from frogfeed.bench.route import LaidRoute, lay, legs
from frogfeed.bench.scenario import build_scenario

BOARD_FIRMWARE = Path(__file__).parent / "board"


def small_netlist(turnout: str = "T1", district: str = "m") -> dict[str, Any]:
    t, a, b = turnout, f"{district}.A", f"{district}.B"
    places = [f"{p}{turnout}" for p in ("stop", "main", "side")]
    stop, main, side = places
    return {
        "drives": {t: ["left", "right"]},
        "rails": [f"{t}.{r}" for r in ("SL", "SR", "BL", "BR", "F", "VL", "VR")]
        + [f"{p}.R{i}" for p in places for i in (1, 2)],
        "wires": {a: {"district": district, "side": "A"}, b: {"district": district, "side": "B"}},
        "bonds": [
            [f"{t}.BL", f"{t}.F"],
            [f"{t}.BR", f"{t}.F"],
            [f"{t}.F", f"{t}.VL"],
            [f"{t}.F", f"{t}.VR"],
            [f"{stop}.R1", f"{t}.SL"],
            [f"{stop}.R2", f"{t}.SR"],
            [f"{t}.SL", f"{main}.R1"],
            [f"{t}.SR", f"{side}.R2"],
        ],
        "contacts": [
            {"between": [f"{t}.BR", f"{t}.SR"], "when": [{t: "left"}]},
            {"between": [f"{t}.BL", f"{t}.SL"], "when": [{t: "right"}]},
        ],
        "feeds": [
            {"rail": f"{stop}.R1", "wire": a},
            {"rail": f"{stop}.R2", "wire": b},
            {"rail": f"{main}.R2", "wire": b},
            {"rail": f"{side}.R1", "wire": a},
        ],
        "switched": [
            {
                "rail": f"{t}.F",
                "output": f"{t}.F",
                "table": [{"when": [{t: "left"}], "wire": b}, {"when": [{t: "right"}], "wire": a}],
                "unpowered": None,
            }
        ],
        "bridges": [
            {"rails": [f"{t}.VL", f"{main}.R2"], "when": [{t: "left"}]},
            {"rails": [f"{t}.VR", f"{side}.R1"], "when": [{t: "right"}]},
        ],
        "roads": [
            {
                "name": f"{t}:toe-left",
                "when": [{t: "left"}],
                "left": [f"{t}.SL"],
                "right": [f"{t}.SR", f"{t}.BR", f"{t}.F", f"{t}.VL"],
            },
            {
                "name": f"{t}:toe-right",
                "when": [{t: "right"}],
                "left": [f"{t}.SL", f"{t}.BL", f"{t}.F", f"{t}.VR"],
                "right": [f"{t}.SR"],
            },
        ]
        + [{"name": f"{p}:a-b", "when": [{}], "left": [f"{p}.R1"], "right": [f"{p}.R2"]} for p in places],
    }


def joined(*netlists: dict[str, Any]) -> dict[str, Any]:
    whole: dict[str, Any] = {}
    for netlist in netlists:
        for key, value in netlist.items():
            if isinstance(value, dict):
                whole.setdefault(key, {}).update(value)
            else:
                whole.setdefault(key, []).extend(value)
    return whole


def small_document(turnout: str = "T1", board: str = "B1", **changes: Any) -> dict[str, Any]:
    body: dict[str, Any] = {
        "schema": settings.SCHEMA,
        "layout": "bench test",
        "layout_hash": "0" * 16,
        "board": board,
        "profile": "test",
        "control": "dc",
        "max_moving": 2,
        "drives": [
            {
                "name": turnout,
                "kind": "servo",
                "settings": ["left", "right"],
                "out": {"kind": "pwm", "pin": 0},
                "pulse_us": [1000, 2000],
                "travel_ms": 1000,
                "lag_ms": 120,
            }
        ],
        "feeds": [
            {
                "name": f"{turnout}.F",
                "output": "pair",
                "a": {"pin": 11},
                "b": {"pin": 10},
                "dead_ms": 15,
                "release_ms": 15,
                "operate_ms": 10,
                "bounce_ms": 5,
                "bonded": False,
                "table": [{"when": [[0, 0]], "feed": "B"}, {"when": [[0, 1]], "feed": "A"}],
                "moves": [
                    {"drive": 0, "to": 1, "off_us": 1000, "off_lead_ms": 20, "on_us": 2000, "on_lag_ms": 120},
                    {"drive": 0, "to": 0, "off_us": 2000, "off_lead_ms": 20, "on_us": 1000, "on_lag_ms": 120},
                ],
            }
        ],
    }
    body.update(changes)
    document, reason = settings.load(settings.seal(json.dumps(body)))
    assert document is not None, reason
    return document


@pytest.fixture
def netlist() -> dict[str, Any]:
    return small_netlist()


@pytest.fixture
def circuit(netlist: dict[str, Any]) -> Circuit:
    return build_circuit(netlist, {})


@pytest.fixture
def route(netlist: dict[str, Any], circuit: Circuit) -> Callable[..., LaidRoute]:
    return lambda *names: lay(netlist, circuit, legs(netlist, names))


@pytest.fixture
def make_bench() -> Callable[..., Bench]:
    def make(
        netlist: dict[str, Any] | None = None,
        documents: list[dict[str, Any]] | None = None,
        physical: Physical | None = None,
        seed: int = 1,
        firmware: Path = BOARD_FIRMWARE,
        **how: Any,
    ) -> Bench:
        scenario = build_scenario(netlist or small_netlist(), documents or [small_document()], physical, seed=seed)
        return Bench(scenario, firmware=firmware, **how)

    return make


@pytest.fixture
def two_boards() -> tuple[dict[str, Any], list[dict[str, Any]]]:
    """Two turnouts on a board each, in two districts, joined by a wheel's width of gap between their stops."""
    whole = joined(small_netlist("T1", "m"), small_netlist("T2", "n"))
    whole["bridges"] += [{"rails": ["stopT1.R1", "stopT2.R2"], "when": [{}]}]
    return whole, [small_document("T1", "B1"), small_document("T2", "B2")]
