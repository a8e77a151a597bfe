"""The rail-by-rail path behind an answer: from one wire through bonds and joins to the next."""

from __future__ import annotations

from collections import deque
from collections.abc import Mapping

from frogfeed.track.network.model import BondKind
from frogfeed.track.solver.contract import Contracted
from frogfeed.track.solver.reach import Label


class Paths:
    """Finds ways through the bonds of a group; the adjacency is built once, when the first path is asked for."""

    def __init__(self, contracted: Contracted) -> None:
        self._contracted = contracted
        self._near: dict[str, list[str]] | None = None

    @property
    def near(self) -> Mapping[str, list[str]]:
        """Rail -> rails it is bonded to."""
        if self._near is None:
            near: dict[str, list[str]] = {}
            for b in self._contracted.network.bonds:
                if b.kind is not BondKind.UNTRUSTED:
                    near.setdefault(b.a, []).append(b.b)
                    near.setdefault(b.b, []).append(b.a)
            self._near = near
        return self._near

    def within(self, start: str, goal: str) -> list[str]:
        """The shortest way from one rail to another of its group, both ends included."""
        before: dict[str, str] = {start: start}
        queue = deque([start])
        while queue:
            rail = queue.popleft()
            if rail == goal:
                way = [rail]
                while rail != start:
                    rail = before[rail]
                    way.append(rail)
                return way[::-1]
            for n in self.near.get(rail, ()):
                if n not in before:
                    before[n] = rail
                    queue.append(n)
        return [start, goal]

    def across(self, a: str, x: Label, b: str, y: Label) -> tuple[str, ...]:
        """From x's wire to rail a, and on from rail b to y's wire."""
        return (*reversed(self.to_wire(a, x)), *self.to_wire(b, y))

    def to_wire(self, rail: str, label: Label) -> list[str]:
        """From a rail of the label's group to the label's wire, rail by rail."""
        way = [rail]
        here: Label | None = label
        while here is not None:
            if here.by is None:
                feed_rail = self._contracted.groups[here.group].fed[here.wire]
                way += self.within(way[-1], feed_rail)[1:]
                way.append(here.wire)
                return way
            near, far = (here.by.a, here.by.b) if here.by.a_group == here.group else (here.by.b, here.by.a)
            way += self.within(way[-1], near)[1:]
            way.append(far)
            here = here.before
        return way
