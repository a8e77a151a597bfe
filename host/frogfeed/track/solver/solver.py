"""All questions about one network, for all settings at once."""

from __future__ import annotations

from collections.abc import Iterator
from functools import cached_property

from frogfeed.track.network.model import Bridge, RailNetwork, SwitchedFeed
from frogfeed.track.solver.answers import Clash, Dead, Hangs, JoinedOutputs, NoCircuit, NotProven, Short
from frogfeed.track.solver.feeding import Feeding
from frogfeed.track.solver.pairs import Pairs
from frogfeed.track.solver.reach import Label
from frogfeed.track.solver.search import Search
from frogfeed.track.solver.set_roads import SetRoads
from frogfeed.track.solver.shorts import Shorts


class Solver:
    """A network's answers. `budget`: what an island may spend in the search before SAT is asked about it."""

    def __init__(self, network: RailNetwork, budget: int | None = None) -> None:
        self.network = network
        self._search = Search(network, budget)
        self._roads = SetRoads(network)
        self._feeding = Feeding(self._search, self._roads)

    @cached_property
    def _shorts(self) -> Shorts:
        return Shorts(self._search)

    @cached_property
    def _pairs(self) -> Pairs:
        return Pairs(self._search, self._roads, self._shorts)

    @property
    def hard(self) -> tuple[tuple[str, ...], ...]:
        """The rails of each island that the search gave up on."""
        return self._search.hard

    @property
    def not_proven(self) -> list[NotProven]:
        """What could not be decided in the time allowed, of all that has been asked so far."""
        return self._search.not_proven

    def labels_of(self, rail: str) -> list[Label]:
        """The labels of the group of a rail."""
        return self._search.labels_of(rail)

    def shorts(self) -> tuple[Short, ...]:
        """Wires that must stay apart and are joined: see `Shorts.causes`."""
        return self._shorts.causes

    def dead(self) -> Iterator[Dead]:
        """Rails without a feed where a train needs one, each group once with its worst grade."""
        return self._feeding.dead()

    def hangs(self) -> Iterator[Hangs]:
        """Groups that a road needs and that only blade contacts or untrusted joiners feed, most rails first."""
        return self._feeding.hangs()

    def clashes(self, bridges: tuple[Bridge, ...] | None = None) -> Iterator[Clash]:
        """Bridges (all, or these) where a wheel would join two wires that must stay apart."""
        return self._pairs.clashes(bridges)

    def no_circuit(self) -> Iterator[NoCircuit]:
        """Roads whose two rails carry one wire, or wires that no common joins into a circuit."""
        return self._pairs.no_circuit()

    def joined_outputs(self) -> Iterator[JoinedOutputs]:
        """Switched outputs that feed one conductor: one pair a conductor."""
        first: dict[int, SwitchedFeed] = {}
        told: set[int] = set()
        for s in self.network.switched:
            g = self._search.group(s.rail).index
            known = first.setdefault(g, s)
            if known.output != s.output and g not in told:
                told.add(g)
                yield JoinedOutputs(known, s, tuple(self._search.paths.within(known.rail, s.rail)))
