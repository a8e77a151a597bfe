"""Single wiring faults of a layout: what conducts that should not, or does not that should.

Of the kinds in `FaultKind`; a dropper on another district's bus and a link that broke by itself are not among them.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from enum import StrEnum

from frogfeed.track.network.conditions import ALWAYS, When
from frogfeed.track.network.model import BondKind, BridgeKind, RailNetwork


class FaultKind(StrEnum):
    """Kinds of single wiring fault."""

    DROPPER_SWAPPED = "dropper on the wrong bus wire"
    DROPPER_MISSING = "dropper missing"
    GAP_MISSING = "insulated joiner missing"
    JOINER_OPEN = "metal joiner does not conduct"
    BOND_MISSING = "bond missing"
    LINK_IN = "factory link left in"
    FEED_SWAPPED = "switched feed's wires swapped"
    FEED_MISSING = "switched feed not connected"


@dataclass(frozen=True, slots=True)
class Edge:
    """Two points (rails or wires) that conduct while `when` holds."""

    a: str
    b: str
    when: When


@dataclass(frozen=True, slots=True)
class Fault:
    """One fault: edges (by index) that are missing, and edges that are there instead. `place` says where."""

    kind: FaultKind
    place: str
    removed: tuple[int, ...]
    added: tuple[Edge, ...]

    def __str__(self) -> str:
        return f"{self.kind}: {self.place}"


@dataclass(frozen=True, slots=True)
class Wiring:
    """The layout as drawn, as edges between points, with every single fault it can have."""

    points: tuple[str, ...]
    edges: tuple[Edge, ...]
    faults: tuple[Fault, ...]


def wiring(network: RailNetwork) -> Wiring:
    """The edges of a network and its single faults, in the network's order."""
    edges: list[Edge] = [Edge(b.a, b.b, ALWAYS) for b in network.bonds]
    faults = list(_bond_faults(network))
    edges += [Edge(c.a, c.b, c.when) for c in network.contacts]
    for pair in sorted(sorted(p) for p in network.commons):
        edges.append(Edge(f"{pair[0]}.B", f"{pair[1]}.B", ALWAYS))
    for f in network.feeds:
        n = len(edges)
        edges.append(Edge(f.rail, f.wire, ALWAYS))
        wrong = _other_wire(f.wire)
        faults.append(Fault(FaultKind.DROPPER_SWAPPED, f"{f.rail} on {wrong}", (n,), (Edge(f.rail, wrong, ALWAYS),)))
        faults.append(Fault(FaultKind.DROPPER_MISSING, f"{f.rail} to {f.wire}", (n,), ()))
    for s in network.switched:
        numbers = tuple(range(len(edges), len(edges) + len(s.rows)))
        edges += [Edge(s.rail, row.wire, row.when) for row in s.rows]
        turned = tuple(Edge(s.rail, _other_wire(row.wire), row.when) for row in s.rows)
        faults.append(Fault(FaultKind.FEED_SWAPPED, s.output, numbers, turned))
        faults.append(Fault(FaultKind.FEED_MISSING, s.output, numbers, ()))
    for b in network.bridges:
        if b.kind is BridgeKind.JOINT and b.a != b.b:
            faults.append(Fault(FaultKind.GAP_MISSING, f"{b.a} | {b.b}", (), (Edge(b.a, b.b, ALWAYS),)))
    for a, c in network.cut_links:
        faults.append(Fault(FaultKind.LINK_IN, f"{a} to {c}", (), (Edge(a, c, ALWAYS),)))
    return Wiring((*network.rails, *network.wires), tuple(edges), tuple(faults))


def _bond_faults(network: RailNetwork) -> Iterator[Fault]:
    for i, b in enumerate(network.bonds):
        if b.kind in (BondKind.BLADE, BondKind.FROG, BondKind.SECTION):
            yield Fault(FaultKind.BOND_MISSING, f"{b.a} to {b.b}", (i,), ())
        elif b.kind in (BondKind.JOINER, BondKind.UNTRUSTED) and b.a != b.b:
            yield Fault(FaultKind.JOINER_OPEN, f"{b.a} to {b.b}", (i,), ())


def _other_wire(wire: str) -> str:
    district, _, side = wire.rpartition(".")
    return f"{district}.{'B' if side == 'A' else 'A'}"
