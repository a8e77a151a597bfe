"""Which wires each group can be joined to, and under which smallest settings.

Label search over (group, partial settings): a label says "under this term, this group carries that wire", with
the join it came by. A label is kept only where no shorter one covers it. An
island that spends its budget is hard, and its questions go to `hard`.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass

from frogfeed.track.network.conditions import Term, join
from frogfeed.track.solver.contract import Contracted, Group, Join, Via

BUDGET = 60_000
"""What an island may spend, one a label and one a setting in it, before it counts as hard: some tenths of a second."""


@dataclass(frozen=True, slots=True)
class Label:
    """Under `term`, `group` carries `wire`; `by` is the join it came by and `before` the label beyond it."""

    group: int
    term: Term
    wire: str
    by: Join | None
    before: Label | None


class Reach:
    """The labels of all groups; `robust` leaves out blade contacts and untrusted joiners."""

    def __init__(self, contracted: Contracted, robust: bool = False, budget: int = BUDGET) -> None:
        self.contracted = contracted
        self._robust = robust
        self._labels: dict[int, list[Label]] = {}
        self.hard: set[int] = set()
        for i, members in enumerate(contracted.islands):
            if not self._search(members, budget):
                self.hard.add(i)
                for g in members:
                    self._labels.pop(g, None)

    def labels(self, group: int) -> list[Label]:
        """All labels of a group; a group fed for good has one per wire."""
        found = self._labels.get(group)
        if found is None:
            g = self.contracted.groups[group]
            found = [Label(group, (), w, None, None) for w in g.fed]
            if g.fed:
                self._labels[group] = found
        return found

    def is_hard(self, group: int) -> bool:
        """Whether the search gave up on this group's island."""
        return self.contracted.groups[group].island in self.hard

    def _usable(self, j: Join) -> bool:
        return not self._robust or j.via is Via.SWITCHED

    def _seeds(self, g: Group) -> Iterator[Label]:
        groups = self.contracted.groups
        for j in g.joins:
            if not self._usable(j):
                continue
            to = j.b_group if j.a_group == g.index else j.a_group
            if to is None:
                for t in j.when:
                    yield Label(g.index, t, j.b, j, None)
            elif groups[to].fed:
                for wire in groups[to].fed:
                    for t in j.when:
                        yield Label(g.index, t, wire, j, Label(to, (), wire, None, None))

    def _search(self, members: Iterable[int], budget: int) -> bool:
        groups = self.contracted.groups
        queue = [label for g in members for label in self._seeds(groups[g])]
        spent = 0
        while queue:
            fresh: list[Label] = []
            queue.sort(key=lambda label: len(label.term))
            for label in queue:
                if not self._keep(label):
                    continue
                spent += 1 + len(label.term)
                if spent > budget:
                    return False
                for j in groups[label.group].joins:
                    if not self._usable(j) or j.b_group is None:
                        continue
                    to = j.b_group if j.a_group == label.group else j.a_group
                    if groups[to].fed:
                        continue
                    for t in j.when:
                        term = join(label.term, t)
                        if term is not None:
                            fresh.append(Label(to, term, label.wire, j, label))
            queue = fresh
        return True

    def _keep(self, label: Label) -> bool:
        known = self._labels.setdefault(label.group, [])
        terms = set(label.term)
        for k in known:
            if k.wire == label.wire and terms.issuperset(k.term):
                return False
        known[:] = [k for k in known if k.wire != label.wire or not terms.issubset(k.term)]
        known.append(label)
        return True


def feeding_terms(labels: Iterable[Label]) -> list[Term]:
    """The terms under which a group with these labels is fed by any wire."""
    return [label.term for label in labels]


def uncovered(terms: Iterable[Term], within: Term, settings: dict[str, tuple[str, ...]]) -> Term | None:
    """Settings inside `within` under which none of `terms` holds, as few as show it; None where they cover it.

    Splits on one drive at a time, so the work grows with the drives that the terms name.
    """
    fixed = dict(within)
    live: list[Term] = []
    for t in terms:
        rest: list[tuple[str, str]] = []
        for d, s in t:
            have = fixed.get(d)
            if have is None:
                rest.append((d, s))
            elif have != s:
                break
        else:
            if not rest:
                return None
            live.append(tuple(rest))
    if not live:
        return within
    drive = live[0][0][0]
    for s in settings[drive]:
        found = uncovered(live, tuple(sorted((*within, (drive, s)))), settings)
        if found is not None:
            return found
    return None
