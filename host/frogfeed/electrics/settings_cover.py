"""A few settings of all drives that together set every road, with its neighbours set both ways."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from frogfeed.track.network.conditions import Term, holds, join
from frogfeed.track.network.model import RailNetwork, Road


@dataclass(frozen=True, slots=True)
class Config:
    """Settings of every drive, and the roads that are set there."""

    settings: Mapping[str, str]
    roads: tuple[Road, ...]


def cover(network: RailNetwork) -> tuple[Config, ...]:
    """Configurations in which every road that can be set is set at least once.

    The first four put all drives at their first setting, all at their last, and every other drive at each:
    so a road is met with its neighbours either way. What is left is packed into as few more as will hold
    it. A contact elsewhere can add a path, never take one away; a weakness that needs several other drives
    just so may be missed.
    """
    patterns = [
        {d: s[0 if flip(n) else -1] for n, (d, s) in enumerate(network.drives.items())}
        for flip in (lambda n: True, lambda n: False, lambda n: n % 2 == 0, lambda n: n % 2 == 1)
    ]
    found = [_config(network, p) for p in patterns]
    met = {r.name for c in found for r in c.roads}
    packed: list[Term] = []
    for road in network.roads:
        if road.name in met or not road.when:
            continue
        term = min(road.when, key=len)
        for i, held in enumerate(packed):
            merged = join(held, term)
            if merged is not None:
                packed[i] = merged
                break
        else:
            packed.append(term)
    found += [_config(network, patterns[0] | dict(held)) for held in packed]
    unique: dict[tuple[tuple[str, str], ...], Config] = {}
    for c in found:
        unique.setdefault(tuple(sorted(c.settings.items())), c)
    return tuple(unique.values())


def _config(network: RailNetwork, settings: Mapping[str, str]) -> Config:
    return Config(settings, tuple(r for r in network.roads if holds(r.when, settings)))
