"""One network made ready for questions: contracted, searched, and what was too tangled to search.

Questions that time did not allow are collected here, so that nothing goes unsaid.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from functools import cached_property

from frogfeed.track.network.model import RailNetwork, Road
from frogfeed.track.solver.answers import NotProven
from frogfeed.track.solver.contract import Contracted, Group
from frogfeed.track.solver.hard import HardIsland
from frogfeed.track.solver.hard_ways import HardWays
from frogfeed.track.solver.paths import Paths
from frogfeed.track.solver.reach import BUDGET, Label, Reach


class Search:
    """A network's groups with their labels. `budget` is what an island may spend before it counts as hard."""

    def __init__(self, network: RailNetwork, budget: int | None = None) -> None:
        self.network = network
        self.settings = {d: tuple(s) for d, s in network.drives.items()}
        self.contracted = Contracted(network)
        self.reach = Reach(self.contracted, budget=BUDGET if budget is None else budget)
        self.paths = Paths(self.contracted)
        self.not_proven: list[NotProven] = []
        self.islands = {
            i: HardIsland(self.contracted, self.contracted.islands[i], self.settings) for i in sorted(self.reach.hard)
        }

    @cached_property
    def ways(self) -> HardWays:
        """Ways into the hard islands, all of them together."""
        return HardWays(self.contracted, sorted(self.reach.hard), self.settings, self.paths)

    @property
    def hard(self) -> tuple[tuple[str, ...], ...]:
        """The rails of each hard island."""
        return tuple(self.rails_of(self.contracted.islands[i]) for i in sorted(self.reach.hard))

    def group(self, rail: str) -> Group:
        """The group of a rail."""
        return self.contracted.groups[self.contracted.group_of[rail]]

    def rails_of(self, groups: Iterable[int]) -> tuple[str, ...]:
        """The rails of some groups, in their order."""
        return tuple(r for g in groups for r in self.contracted.groups[g].rails)

    def labels_of(self, rail: str) -> list[Label]:
        """The labels of the group of a rail."""
        return self.reach.labels(self.contracted.group_of[rail])

    def tangled(self, *rails: str) -> bool:
        """Whether one of these rails is in a hard island."""
        return any(self.group(r).island in self.reach.hard for r in rails)

    def give_time(self) -> None:
        """Give the questions that follow, about ways into hard islands, time of their own."""
        if self.reach.hard:
            self.ways.restart()

    def give_up(self, question: str, rails: tuple[str, ...]) -> None:
        """Note that a question about these rails was not decided."""
        self.not_proven.append(NotProven(question, rails))

    @cached_property
    def needed_by(self) -> Mapping[int, list[Road]]:
        """The roads that run over each group that is not fed for good."""
        found: dict[int, list[Road]] = {}
        for road in self.network.roads:
            for rail in (*road.left, *road.right):
                g = self.contracted.group_of[rail]
                if not self.contracted.groups[g].fed:
                    found.setdefault(g, []).append(road)
        return found
