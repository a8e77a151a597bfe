"""Which bus wire every rail is joined to now, from what the boards report: positions, pulses and outputs.

The network is evaluated at what is known, never at what was commanded. A blade counts as touching only where its
drive is known to stand at a setting, or its linkage says that it must still lie against the rail.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from frogfeed.track.network.conditions import Term
from frogfeed.track.network.model import RailNetwork
from frogfeed.track.solver.contract import Contracted, Via, root

DEAD = ""
"""No bus wire reaches the rail."""
UNKNOWN = "?"
"""A switched feed of the rail's stands nobody knows how."""


@dataclass(frozen=True, slots=True)
class Rails:
    """Rail -> the wire that feeds it ("main.A"), "" dead, "?" not known, or "main.A!main.B" joined to two."""

    wires: Mapping[str, str]

    @property
    def shorts(self) -> tuple[str, ...]:
        """Rails that are joined to two wires."""
        return tuple(r for r, w in self.wires.items() if "!" in w)


class Picture:
    """The network contracted once, to be evaluated many times a second."""

    def __init__(self, network: RailNetwork) -> None:
        self._net = Contracted(network)
        self._entry = {(s.rail, s.output): s for s in network.switched}
        self._twin: dict[tuple[str, str], bool] = {}
        first: dict[str, Mapping[Term, str]] = {}
        for s in network.switched:
            rows = {t: row.wire for row in s.rows for t in row.when}
            lead = first.setdefault(s.output, rows)
            self._twin[(s.rail, s.output)] = any(lead.get(t) not in (None, w) for t, w in rows.items())
        self._fixed = [j for j in self._net.joins if j.via is Via.UNTRUSTED]
        self._contacts = [j for j in self._net.joins if j.via is Via.CONTACT]

    def rails(self, standing: Mapping[str, frozenset[str]], told: Mapping[str, str | None]) -> Rails:
        """Every rail's wire.

        `standing`: drive -> settings at which its blades touch now (empty while it moves). `told`: output -> "A",
        "B", "off" or "moving"; None where nobody knows.
        """
        groups = self._net.groups
        parent = list(range(len(groups)))
        for j in self._fixed:
            assert j.b_group is not None
            parent[root(parent, j.a_group)] = root(parent, j.b_group)
        for j in self._contacts:
            if j.b_group is not None and any(_touches(t, standing) for t in j.when):
                parent[root(parent, j.a_group)] = root(parent, j.b_group)
        fed: dict[int, list[str]] = {}
        for g in groups:
            if g.fed:
                fed.setdefault(root(parent, g.index), []).extend(g.fed)
        unknown: set[int] = set()
        for (rail, output), entry in self._entry.items():
            at = root(parent, self._net.group_of[rail])
            state = told.get(output)
            if state is None:
                unknown.add(at)
            elif state in ("A", "B"):
                side = "A" if (state == "A") != self._twin[(rail, output)] else "B"
                fed.setdefault(at, []).append(f"{entry.district}.{side}")
        by_root: dict[int, str] = {}
        for g in groups:
            r = root(parent, g.index)
            if r not in by_root:
                by_root[r] = self._word(fed.get(r, []), r in unknown)
        return Rails({rail: by_root[root(parent, g.index)] for g in groups for rail in g.rails})

    def _word(self, wires: list[str], unknown: bool) -> str:
        kept: list[str] = []
        for w in sorted(wires):
            if not any(self._net.same(w, k) for k in kept):
                kept.append(w)
        if not kept:
            return UNKNOWN if unknown else DEAD
        return "!".join(kept)


def _touches(term: Term, standing: Mapping[str, frozenset[str]]) -> bool:
    return all(setting in standing.get(drive, frozenset()) for drive, setting in term)


__all__ = ["DEAD", "UNKNOWN", "Picture", "Rails"]
