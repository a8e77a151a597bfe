"""What feeds a rail at given settings: everything on the way from the supply, in the order to put the meter on it."""

from __future__ import annotations

from collections import deque
from collections.abc import Mapping
from dataclasses import dataclass

from frogfeed.track.network.conditions import holds
from frogfeed.track.network.model import RailNetwork


@dataclass(frozen=True, slots=True)
class Step:
    """One thing on the way: from point `a` to point `b` (a wire or a rail), through `what`.

    A meter across it reads closed (continuity) with the supply off.
    """

    a: str
    b: str
    what: str


@dataclass(frozen=True, slots=True)
class Trace:
    """All wires that reach a rail at these settings, each with the shortest way from the supply to the rail."""

    rail: str
    settings: Mapping[str, str]
    ways: Mapping[str, tuple[Step, ...]]


def trace(network: RailNetwork, rail: str, settings: Mapping[str, str]) -> Trace:
    """Trace a rail. Drives that `settings` lacks stand at their first setting; KeyError for an unknown rail."""
    at = {d: s[0] for d, s in network.drives.items()} | dict(settings)
    if rail not in network.piece_of:
        raise KeyError(rail)
    near: dict[str, list[tuple[str, str]]] = {}

    def link(a: str, b: str, what: str) -> None:
        near.setdefault(a, []).append((b, what))
        near.setdefault(b, []).append((a, what))

    for f in network.feeds:
        link(f.rail, f.wire, "dropper")
    for b in network.bonds:
        link(b.a, b.b, b.kind.value)
    for s in network.switched:
        for row in s.rows:
            if holds(row.when, at):
                link(s.rail, row.wire, f"switched feed {s.output}")
    for c in network.contacts:
        if holds(c.when, at):
            link(c.a, c.b, "blade contact")
    ways: dict[str, tuple[Step, ...]] = {}
    before: dict[str, tuple[str, str]] = {rail: ("", "")}
    queue = deque([rail])
    while queue:
        here = queue.popleft()
        if here in network.wires:
            steps: list[Step] = []
            p = here
            while p != rail:
                q, what = before[p]
                steps.append(Step(p, q, what))
                p = q
            ways[here] = tuple(steps)
            continue
        for there, what in near.get(here, ()):
            if there not in before:
                before[there] = (here, what)
                queue.append(there)
    return Trace(rail, at, ways)
