"""Brute force over all drive settings with connected components from networkx: what the solver is held against.

It reads the netlist only, and shares nothing else with the solver.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from itertools import product
from typing import Any

import networkx as nx

Settings = Mapping[str, str]


def holds(when: list[dict[str, str]], at: Settings) -> bool:
    return any(all(at[d] == s for d, s in t.items()) for t in when)


def all_settings(net: Mapping[str, Any]) -> Iterator[dict[str, str]]:
    names = list(net["drives"])
    for combo in product(*(net["drives"][n] for n in names)):
        yield dict(zip(names, combo, strict=True))


def wires_at(net: Mapping[str, Any], at: Settings) -> dict[str, frozenset[str]]:
    """For each rail, the bus wires that it is joined to at these settings."""
    g = nx.Graph()
    g.add_nodes_from(net["rails"])
    g.add_edges_from(net["bonds"])
    g.add_edges_from(c["between"] for c in net["contacts"] if holds(c["when"], at))
    taps: dict[str, set[str]] = {}
    for f in net["feeds"]:
        taps.setdefault(f["rail"], set()).add(f["wire"])
    for s in net["switched"]:
        for row in s["table"]:
            if holds(row["when"], at):
                taps.setdefault(s["rail"], set()).add(row["wire"])
    # A wire joins all rails it feeds, so a component is fed by what feeds any of them; wires themselves stay apart.
    found: dict[str, frozenset[str]] = {}
    for part in nx.connected_components(g):
        wires = frozenset(w for r in part for w in taps.get(r, ()))
        for r in part:
            found[r] = wires
    return found
