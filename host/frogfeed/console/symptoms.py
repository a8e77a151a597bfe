"""What shows at a rail, at given settings, if a suspect is the fault: which wires reach it, and what a wheel joins."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from frogfeed.console.judge import Suspect
from frogfeed.track.meter.faults import Edge
from frogfeed.track.network.conditions import holds
from frogfeed.track.network.model import RailNetwork
from frogfeed.track.solver.contract import Contracted, Via


class Symptoms:
    """A rail of a network at `settings` (of every drive). `edges` are those of the whole wiring."""

    def __init__(
        self,
        network: RailNetwork,
        edges: Sequence[Edge],
        contracted: Contracted,
        rail: str,
        settings: Mapping[str, str],
    ) -> None:
        self._network = network
        self._edges = edges
        self._contracted = contracted
        self._rail = rail
        self._settings = settings
        self._near: dict[str, list[tuple[str, int]]] = {}
        self._on = set[int]()
        for i, e in enumerate(edges):
            if holds(e.when, settings):
                self._on.add(i)
                self._near.setdefault(e.a, []).append((e.b, i))
                self._near.setdefault(e.b, []).append((e.a, i))
        self._bridges = self._sound_bridges()
        self.doubtful = self._doubtful()
        """Contacts and untrusted joiners at this rail, which is fed without them too; none where it hangs on them."""

    @property
    def is_crossed(self) -> bool:
        """Whether a train's wheels join this rail to another here, as it should be."""
        return bool(self._bridges)

    @property
    def crossed(self) -> tuple[str, ...]:
        """The rails that wheels join here, this one first."""
        return tuple(dict.fromkeys((self._rail, *(r for pair in self._bridges for r in pair))))

    def touches(self, suspect: Suspect) -> bool:
        """Whether a fault changes anything at these settings; most don't, and are passed over quickly."""
        return any(i in self._on for i in suspect.removed) or any(holds(e.when, self._settings) for e in suspect.added)

    def dead(self, suspect: Suspect | None) -> bool:
        """No wire reaches the rail, doubtful contacts not touching. No suspect: as drawn."""
        return not self.wires(suspect)

    def shorted(self, suspect: Suspect | None) -> bool:
        """Two wires that are not one conductor reach the rail."""
        return self._differ(self.wires(suspect))

    def clashes(self, suspect: Suspect) -> bool:
        """A wheel here would join two wires, where it does not as drawn."""
        return any(self._joins(a, b, suspect) for a, b in self._bridges)

    def wires(self, suspect: Suspect | None, rail: str | None = None) -> set[str]:
        """The bus wires that reach a rail (else the one looked at): not through another wire."""
        gone = {*suspect.removed, *suspect.doubtful} if suspect is not None else set()
        more: dict[str, list[str]] = {}
        for e in suspect.added if suspect is not None else ():
            if holds(e.when, self._settings):
                more.setdefault(e.a, []).append(e.b)
                more.setdefault(e.b, []).append(e.a)
        start = rail or self._rail
        seen, queue, found = {start}, [start], set()
        while queue:
            here = queue.pop()
            for there in (*(p for p, i in self._near.get(here, ()) if i not in gone), *more.get(here, ())):
                if there in self._network.wires:
                    found.add(there)
                elif there not in seen:
                    seen.add(there)
                    queue.append(there)
        return found

    def _differ(self, wires: set[str]) -> bool:
        told = sorted(wires)
        return any(not self._contracted.same(told[0], w) for w in told[1:])

    def _joins(self, a: str, b: str, suspect: Suspect | None) -> bool:
        return self._differ(self.wires(suspect, a) | self.wires(suspect, b))

    def _sound_bridges(self) -> tuple[tuple[str, str], ...]:
        """The pairs of rails that a wheel joins here, of which one always conducts to the rail looked at."""
        group = self._contracted.group_of
        here = group[self._rail]
        return tuple(
            (b.a, b.b)
            for b in self._network.bridges
            if here in (group[b.a], group[b.b]) and holds(b.when, self._settings) and not self._joins(b.a, b.b, None)
        )

    def _doubtful(self) -> tuple[int, ...]:
        here = self._contracted.groups[self._contracted.group_of[self._rail]]
        pairs = {frozenset((j.a, j.b)) for j in here.joins if j.via in (Via.CONTACT, Via.UNTRUSTED)}
        inner = len(self._network.bonds) + len(self._network.contacts)
        found = tuple(i for i, e in enumerate(self._edges[:inner]) if frozenset((e.a, e.b)) in pairs)
        return found if found and not self.dead(Suspect("", "", (), (), found)) else ()
