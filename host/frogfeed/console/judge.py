"""What a meter would read if a suspect were the fault. Pure: edges that conduct, joined at each setting."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from frogfeed.track.meter.faults import Edge
from frogfeed.track.network.conditions import holds

Settings = tuple[tuple[str, str], ...]
"""Every drive with its setting, in order."""


@dataclass(frozen=True, slots=True)
class Suspect:
    """A fault that explains the trouble: edges (by index) that are missing, and edges that are there instead.

    `doubtful` edges may conduct or not besides: contacts that hide the fault as long as they happen to touch.
    """

    kind: str
    place: str
    removed: tuple[int, ...]
    added: tuple[Edge, ...]
    doubtful: tuple[int, ...] = ()


@dataclass(frozen=True, slots=True)
class Reading:
    """Continuity between `a` and `b` at `settings`; `lifted` names what is taken off its rail first (edge indices)."""

    a: str
    b: str
    settings: Settings
    lifted: tuple[int, ...] = ()
    lifted_text: str = ""


class Judge:
    """Answers many readings under many suspects: what none of them changes is joined once for each setting."""

    def __init__(self, edges: Sequence[Edge], suspects: Iterable[Suspect], readings: Iterable[Reading]) -> None:
        self._edges = edges
        self._special = {i for s in suspects for i in (*s.removed, *s.doubtful)}
        self._special |= {i for r in readings for i in r.lifted}
        self._base: dict[Settings, tuple[dict[str, str], list[int]]] = {}

    def closed(self, reading: Reading, suspect: Suspect | None) -> bool | None:
        """Whether the meter reads closed; None where that hangs on a doubtful contact. No suspect: all is well."""
        if suspect is None:
            return self._reads(reading, suspect, frozenset())
        touching = self._reads(reading, suspect, frozenset())
        if not suspect.doubtful or not touching:
            return touching
        return True if self._reads(reading, suspect, frozenset(suspect.doubtful)) else None

    def _reads(self, reading: Reading, suspect: Suspect | None, apart: frozenset[int]) -> bool:
        base, special = self._joined(reading.settings)
        parent: dict[str, str] = {}
        gone = {*reading.lifted, *(suspect.removed if suspect else ()), *apart}
        edges = [self._edges[i] for i in special if i not in gone]
        if suspect is not None and not any(i in suspect.removed for i in reading.lifted):
            settings = dict(reading.settings)
            edges += [e for e in suspect.added if holds(e.when, settings)]
        for e in edges:
            _union(parent, _root(base, e.a), _root(base, e.b))
        return _root(parent, _root(base, reading.a)) == _root(parent, _root(base, reading.b))

    def _joined(self, at: Settings) -> tuple[Mapping[str, str], list[int]]:
        known = self._base.get(at)
        if known is None:
            settings = dict(at)
            parent: dict[str, str] = {}
            special: list[int] = []
            for i, e in enumerate(self._edges):
                if holds(e.when, settings):
                    if i in self._special:
                        special.append(i)
                    else:
                        _union(parent, e.a, e.b)
            known = self._base[at] = (parent, special)
        return known


def _root(parent: Mapping[str, str], p: str) -> str:
    while (q := parent.get(p, p)) != p:
        p = q
    return p


def _union(parent: dict[str, str], a: str, b: str) -> None:
    ra, rb = _root(parent, a), _root(parent, b)
    if ra != rb:
        parent[ra] = rb
