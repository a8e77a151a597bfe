"""The netlist: the rail network as plain JSON, for the bench and for anyone's outside checks.

The form is documented in docs/reference/netlist.md and kept stable.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from frogfeed.track.network.conditions import to_json
from frogfeed.track.network.model import RailNetwork


def netlist(network: RailNetwork, rests: Mapping[str, str] | None = None) -> dict[str, Any]:
    """The network as JSON data: names, conditions, and what conducts to what; no lengths, no polarity.

    `rests` says for outputs that have no off on which wire they rest without power; the plan knows.
    """
    unpowered = rests or {}
    return {
        "drives": {d: list(s) for d, s in network.drives.items()},
        "rails": list(network.rails),
        "wires": {n: {"district": w.district, "side": str(w.side)} for n, w in network.wires.items()},
        "bonds": [[b.a, b.b] for b in network.bonds],
        "contacts": [{"between": [c.a, c.b], "when": to_json(c.when)} for c in network.contacts],
        "feeds": [{"rail": f.rail, "wire": f.wire} for f in network.feeds],
        "switched": [
            {
                "rail": s.rail,
                "output": s.output,
                "table": [{"when": to_json(r.when), "wire": r.wire} for r in s.rows],
                "unpowered": unpowered.get(s.output),
            }
            for s in network.switched
        ],
        "bridges": [{"rails": [b.a, b.b], "when": to_json(b.when)} for b in network.bridges],
        "roads": [
            {"name": r.name, "when": to_json(r.when), "left": list(r.left), "right": list(r.right)}
            for r in network.roads
        ],
    }
