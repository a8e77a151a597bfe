"""From a netlist to what the bench's rails need: what always conducts contracted, what comes and goes as edges.

Independent of the solver on purpose: the bench is there to catch it out.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any, Generic, TypeVar

from frogfeed.bench.shapes import DriveSpec, RailsSpec, Term

Name = TypeVar("Name", str, int)


class _Union(Generic[Name]):
    """What is joined to what; the bench has its own, for the solver's may be wrong."""

    def __init__(self) -> None:
        self._up: dict[Name, Name] = {}

    def find(self, name: Name) -> Name:
        """What stands for all that is joined to this."""
        up = self._up
        up.setdefault(name, name)
        while up[name] != name:
            up[name] = up[up[name]]
            name = up[name]
        return name

    def join(self, a: Name, b: Name) -> None:
        """Join two; the first one's stands for both."""
        self._up[self.find(b)] = self.find(a)


@dataclass(frozen=True)
class Circuit:
    """The contracted network. `spec` is what `sim.physics.rails.Rails` reads; `class_of` maps a rail or wire."""

    spec: RailsSpec
    class_of: Mapping[str, int]

    def joined(self, a: str, b: str) -> bool:
        """Whether two rails always conduct to each other."""
        return self.class_of[a] == self.class_of[b]

    def contact_between(self, a: str, b: str) -> bool:
        """Whether a contact ever joins the classes of two rails directly."""
        pair = {self.class_of[a], self.class_of[b]}
        return any({e[0], e[1]} == pair for e in self.spec["edges"])


def build_circuit(
    netlist: Mapping[str, Any],
    settle_us: Mapping[str, int],
    in_phase: Iterable[frozenset[str]] = (),
    commons: Iterable[frozenset[str]] = (),
) -> Circuit:
    """Contract a netlist. `settle_us`: how long after its last motion each drive's road counts as settled.

    `in_phase` and `commons` are pairs of districts: wires of one side may meet between them; with a common one
    side (B) is joined for good.
    """
    wires: Mapping[str, Mapping[str, str]] = netlist["wires"]
    union: _Union[str] = _Union()
    for name in (*wires, *netlist["rails"]):
        union.find(name)
    for a, b in netlist["bonds"]:
        union.join(a, b)
    for feed in netlist["feeds"]:
        union.join(feed["wire"], feed["rail"])
    friendly = {frozenset(p) for p in in_phase} | {frozenset(p) for p in commons}
    static_sparks = _static_sparks(wires, union, friendly)

    class_of: dict[str, int] = {}
    index: dict[str, int] = {}
    names: list[str] = []
    for name in (*wires, *netlist["rails"]):
        root = union.find(name)
        if root not in index:
            index[root] = len(names)
            names.append(name)
        class_of[name] = index[root]
    nw = len({class_of[w] for w in wires})
    members: dict[int, list[str]] = {}
    for w in wires:
        members.setdefault(class_of[w], []).append(w)
    conflict = [[int(_conflict(wires, friendly, members[a], members[b])) for b in range(nw)] for a in range(nw)]
    power = [[int(_powers(wires, friendly, members[a], members[b])) for b in range(nw)] for a in range(nw)]

    drives: list[DriveSpec] = [
        {"name": d, "settings": list(s), "settle_us": settle_us.get(d, 0)} for d, s in netlist["drives"].items()
    ]
    number = {d: (i, list(s)) for i, (d, s) in enumerate(netlist["drives"].items())}
    edges: list[tuple[int, int, str]] = []
    contacts: list[tuple[int, list[Term]]] = []
    for contact in netlist["contacts"]:
        a, b = contact["between"]
        if class_of[a] != class_of[b]:
            contacts.append((len(edges), _when(contact["when"], number)))
            edges.append((class_of[a], class_of[b], f"{a} touches {b}"))
    outputs: dict[str, dict[str, list[int]]] = {}
    for switched in netlist["switched"]:
        sides = outputs.setdefault(switched["output"], {"A": [], "B": []})
        district = _district(switched, wires)
        for side in ("A", "B"):
            wire = _wire(wires, district, side)
            if wire is None or class_of[wire] == class_of[switched["rail"]]:
                continue
            sides[side].append(len(edges))
            edges.append((class_of[wire], class_of[switched["rail"]], f"{switched['output']} leg {side}"))
    spec: RailsSpec = {
        "wires": list(wires),
        "nw": nw,
        "names": names,
        "conflict": conflict,
        "power": power,
        "edges": edges,
        "islands": _islands(edges, nw),
        "drives": drives,
        "contacts": contacts,
        "outputs": outputs,
        "static_sparks": static_sparks,
    }
    return Circuit(spec, class_of)


def when_terms(alternatives: Iterable[Mapping[str, str]], drives: Mapping[str, Iterable[str]]) -> list[Term]:
    """A netlist's condition with drives and settings as numbers."""
    return _when(alternatives, {d: (i, list(s)) for i, (d, s) in enumerate(drives.items())})


def _when(alternatives: Iterable[Mapping[str, str]], number: Mapping[str, tuple[int, list[str]]]) -> list[Term]:
    return [[(number[d][0], number[d][1].index(s)) for d, s in term.items()] for term in alternatives]


def _district(switched: Mapping[str, Any], wires: Mapping[str, Mapping[str, str]]) -> str:
    for row in switched["table"]:
        if row["wire"] is not None:
            return wires[row["wire"]]["district"]
    return wires[switched["unpowered"]]["district"] if switched.get("unpowered") else ""


def _wire(wires: Mapping[str, Mapping[str, str]], district: str, side: str) -> str | None:
    return next((n for n, w in wires.items() if w["district"] == district and w["side"] == side), None)


def _may_meet(a: Mapping[str, str], b: Mapping[str, str], friendly: set[frozenset[str]]) -> bool:
    same = a["district"] == b["district"] or frozenset((a["district"], b["district"])) in friendly
    return same and a["side"] == b["side"]


def _conflict(
    wires: Mapping[str, Mapping[str, str]], friendly: set[frozenset[str]], a: list[str], b: list[str]
) -> bool:
    return a != b and any(not _may_meet(wires[x], wires[y], friendly) for x in a for y in b)


def _powers(wires: Mapping[str, Mapping[str, str]], friendly: set[frozenset[str]], a: list[str], b: list[str]) -> bool:
    def pair(x: str, y: str) -> bool:
        one, two = wires[x], wires[y]
        same = one["district"] == two["district"] or frozenset((one["district"], two["district"])) in friendly
        return same and one["side"] != two["side"]

    return any(pair(x, y) for x in a for y in b)


def _static_sparks(
    wires: Mapping[str, Mapping[str, str]], union: _Union[str], friendly: set[frozenset[str]]
) -> list[tuple[str, str]]:
    names = list(wires)
    return [
        (a, b)
        for i, a in enumerate(names)
        for b in names[i + 1 :]
        if union.find(a) == union.find(b) and not _may_meet(wires[a], wires[b], friendly)
    ]


def _islands(edges: list[tuple[int, int, str]], nw: int) -> list[list[int]]:
    """Edges grouped by the classes, other than wires, that they share."""
    union: _Union[int] = _Union()
    for a, b, _ in edges:
        if a >= nw and b >= nw:
            union.join(a, b)
    groups: dict[int, list[int]] = {}
    for i, (a, b, _) in enumerate(edges):
        key = union.find(a) if a >= nw else union.find(b) if b >= nw else -1 - i
        groups.setdefault(key, []).append(i)
    return list(groups.values())
