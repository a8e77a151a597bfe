"""The network contracted for solving: what always conducts becomes one group, bus wires become hubs.

Groups that a dropper feeds for good stop every search: beyond them nothing new can be learnt. What is left
falls into islands of groups that only contacts, switched outputs or untrusted joiners join; a railway with
droppers everywhere has islands of one group, so the work grows with its size and no faster.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from enum import StrEnum
from functools import cached_property

from frogfeed.findings.finding import Location
from frogfeed.track.network.conditions import ALWAYS, When
from frogfeed.track.network.model import BondKind, RailNetwork


class Via(StrEnum):
    """What a conditional join is."""

    CONTACT = "blade contact"
    UNTRUSTED = "untrusted joiner"
    SWITCHED = "switched feed"


@dataclass(frozen=True, slots=True)
class Join:
    """A join between two rails, or between a rail and a wire (`b_group` is None), that holds `when`."""

    a: str
    b: str
    a_group: int
    b_group: int | None
    when: When
    via: Via
    at: Location | None


@dataclass(slots=True)
class Group:
    """Rails that always conduct to each other; `fed` maps each wire that always feeds it to its rail."""

    index: int
    rails: list[str]
    fed: dict[str, str]
    joins: list[Join]
    island: int = -1


def root(parent: list[int], i: int) -> int:
    """What stands for all that is joined to `i`: the end of its parents, to which the way is halved."""
    while parent[i] != i:
        parent[i] = parent[parent[i]]
        i = parent[i]
    return i


class Contracted:
    """Groups, their joins and islands, and the classes of wires that count as one conductor."""

    def __init__(self, network: RailNetwork) -> None:
        self.network = network
        index = {r: i for i, r in enumerate(network.rails)}
        parent = list(range(len(index)))
        for b in network.bonds:
            if b.kind is not BondKind.UNTRUSTED:
                parent[root(parent, index[b.a])] = root(parent, index[b.b])
        self.groups: list[Group] = []
        self.group_of: dict[str, int] = {}
        at_root: dict[int, int] = {}
        for rail, i in index.items():
            r = root(parent, i)
            g = at_root.get(r)
            if g is None:
                g = at_root[r] = len(self.groups)
                self.groups.append(Group(g, [], {}, []))
            self.groups[g].rails.append(rail)
            self.group_of[rail] = g
        for f in network.feeds:
            self.groups[self.group_of[f.rail]].fed.setdefault(f.wire, f.rail)
        self.wire_class = _classes(network)
        self._join_all(network)
        self.islands = self._split()

    def _join_all(self, network: RailNetwork) -> None:
        of = self.group_of
        joins = [Join(c.a, c.b, of[c.a], of[c.b], c.when, Via.CONTACT, c.at) for c in network.contacts]
        joins += [
            Join(b.a, b.b, of[b.a], of[b.b], ALWAYS, Via.UNTRUSTED, b.at)
            for b in network.bonds
            if b.kind is BondKind.UNTRUSTED
        ]
        joins += [
            Join(s.rail, row.wire, of[s.rail], None, row.when, Via.SWITCHED, s.at)
            for s in network.switched
            for row in s.rows
        ]
        self.joins: list[Join] = []
        for j in joins:
            if j.a_group == j.b_group:
                continue
            self.joins.append(j)
            self.groups[j.a_group].joins.append(j)
            if j.b_group is not None:
                self.groups[j.b_group].joins.append(j)

    def _split(self) -> list[list[int]]:
        islands: list[list[int]] = []
        for start in self.groups:
            if start.fed or start.island >= 0 or not start.joins:
                continue
            here = len(islands)
            start.island = here
            found = [start.index]
            for g in found:
                for j in self.groups[g].joins:
                    to = j.b_group if j.a_group == g else j.a_group
                    if to is not None:
                        there = self.groups[to]
                        if not there.fed and there.island < 0:
                            there.island = here
                            found.append(to)
            islands.append(found)
        return islands

    def circuit(self, a: str, b: str) -> bool:
        """Whether a loco between the two wires has a circuit: b counts as the partner of a wire that counts as a."""
        return self.wire_class[b] in self._partners[self.wire_class[a]]

    def no_circuit(self, a: str, b: str) -> bool:
        """Whether wires of these two classes make no circuit."""
        return b not in self._partners[a]

    @cached_property
    def _partners(self) -> dict[str, set[str]]:
        """Class of wires -> the classes of the other wires of the districts in it."""
        found: dict[str, set[str]] = {c: set() for c in self.wire_class.values()}
        for w in self.network.wires.values():
            other = f"{w.district}.{'B' if w.side == 'A' else 'A'}"
            found[self.wire_class[w.name]].add(self.wire_class[other])
        return found

    def same(self, a: str, b: str) -> bool:
        """Whether two wires count as one conductor (one wire, or districts declared in phase or with one common)."""
        return a == b or self.wire_class[a] == self.wire_class[b]


def _classes(network: RailNetwork) -> dict[str, str]:
    """A representative for each wire; in-phase districts share both sides, joined commons share side B."""
    found = {w: w for w in network.wires}

    def merge(pairs: Iterable[frozenset[str]], sides: str) -> None:
        for pair in pairs:
            for side in sides:
                wires = [f"{d}.{side}" for d in sorted(pair) if f"{d}.{side}" in found]
                for w in wires[1:]:
                    old, new = found[w], found[wires[0]]
                    for k, v in found.items():
                        if v == old:
                            found[k] = new

    merge(network.in_phase, "AB")
    merge(network.commons, "B")
    return found
