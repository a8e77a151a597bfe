"""Which bus wires a rail reaches at given settings, with all supplies off and the boards on."""

from __future__ import annotations

from collections.abc import Mapping

from frogfeed.track.network.conditions import holds
from frogfeed.track.network.model import RailNetwork


class Continuity:
    """The network at one setting of all drives."""

    def __init__(self, network: RailNetwork, settings: Mapping[str, str]) -> None:
        self._root: dict[str, str] = {}
        for b in network.bonds:
            self._join(b.a, b.b)
        for c in network.contacts:
            if holds(c.when, settings):
                self._join(c.a, c.b)
        for f in network.feeds:
            self._join(f.rail, f.wire)
        for s in network.switched:
            for row in s.rows:
                if holds(row.when, settings):
                    self._join(s.rail, row.wire)
        self._wires: dict[str, list[str]] = {}
        for wire in network.wires:
            self._wires.setdefault(self._find(wire), []).append(wire)

    def _find(self, point: str) -> str:
        root = point
        while (up := self._root.get(root, root)) != root:
            root = up
        while self._root.get(point, point) != root:
            self._root[point], point = root, self._root[point]
        return root

    def _join(self, a: str, b: str) -> None:
        self._root[self._find(a)] = self._find(b)

    def closed(self, a: str, b: str) -> bool:
        """Whether a meter between two rails or bus wires reads closed."""
        return self._find(a) == self._find(b)

    def wires(self, rail: str) -> tuple[str, ...]:
        """The bus wires that a rail reaches."""
        return tuple(self._wires.get(self._find(rail), ()))
