"""The numbers of a layout: at every axle place the volts under load and the current of a dead short."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import cached_property

from frogfeed.electrics import practice
from frogfeed.electrics.circuit import AS_STATED, USUAL, OutputPaths, Sizes, build_circuit
from frogfeed.electrics.lengths import facing_pairs
from frogfeed.electrics.nodal import Nodal
from frogfeed.electrics.settings_cover import cover
from frogfeed.layout.model import Layout
from frogfeed.parts import wires
from frogfeed.track.network.model import RailNetwork, Road

UNFED_V = 0.5
UNFED_OHM = 1e4
"""Less volts or more ohms than this is no feed at all: the solver's business, not a weak wire."""


COOLING = 1.0 + wires.ALPHA_20 * (practice.HOT_C - practice.COLD_C)
"""How much less copper resists when cold; taken for rails and joints too, so that no short is thought too
small.
"""


@dataclass(frozen=True, slots=True)
class Spot:
    """One axle's place: the rails under its wheels, and what wires and rails do to it in the worst settings
    seen.

    `open_v` and `load_v` between the rails without a train and with the district's load there (warm copper);
    `least_a` and `most_a` through a dead short there (warm and cold copper), before the supply limits it.
    `wire_ohm` is the resistance behind the spot without the supply's own. `settings` are those of every drive;
    `when` only those that set the road.
    """

    left: str
    right: str
    road: str
    district: str
    settings: Mapping[str, str]
    when: Mapping[str, str]
    open_v: float
    load_v: float
    least_a: float
    most_a: float
    wire_ohm: float


@dataclass(frozen=True)
class Survey:
    """Every spot with a feed, by its pair of rails."""

    spots: Mapping[tuple[str, str], Spot]

    def of_district(self, name: str) -> tuple[Spot, ...]:
        """The spots that a district feeds."""
        return tuple(s for s in self.spots.values() if s.district == name)

    def at_rail(self, rail: str) -> Spot | None:
        """The weakest spot that a rail belongs to."""
        return self._weakest.get(rail)

    @cached_property
    def _weakest(self) -> Mapping[str, Spot]:
        found: dict[str, Spot] = {}
        for s in self.spots.values():
            for rail in (s.left, s.right):
                if rail not in found or s.least_a < found[rail].least_a:
                    found[rail] = s
        return found


def survey(layout: Layout, network: RailNetwork, outputs: OutputPaths = USUAL, sizes: Sizes = AS_STATED) -> Survey:
    """Visit every pair of facing rails of every road in settings that set it; keep the worst of each."""
    found: dict[tuple[str, str], Spot] = {}
    pieces = _districts(network)
    for config in cover(network):
        pairs: dict[tuple[str, str], Road] = {}
        for road in config.roads:
            for pair in facing_pairs(road.left, road.right):
                pairs.setdefault(pair, road)
        listed = list(pairs)
        if not listed:
            continue
        circuit = build_circuit(layout, network, config.settings, outputs, practice.HOT_C, sizes)
        warm = Nodal(circuit, listed).thevenin(listed)
        for k, pair in enumerate(listed):
            volts, ohms = abs(float(warm.volts[k])), float(warm.ohms[k])
            if volts < UNFED_V or ohms > UNFED_OHM:
                continue
            district = pieces.get(pair[0]) or pieces.get(pair[1]) or next(iter(layout.file.district))
            d = layout.file.district[district]
            inner = max(d.internal_ohm, practice.LEAST_OHM)
            spot = Spot(
                pair[0],
                pair[1],
                pairs[pair].name,
                district,
                config.settings,
                set_by(pairs[pair], config.settings),
                volts,
                volts - ohms * d.load_a,
                volts / ohms,
                volts / (inner + max(ohms - inner, 0.0) / COOLING),
                ohms - inner,
            )
            before = found.get(pair)
            if before is None:
                found[pair] = spot
            elif spot.least_a < before.least_a:
                found[pair] = replace(spot, most_a=max(spot.most_a, before.most_a))
            else:
                found[pair] = replace(before, most_a=max(spot.most_a, before.most_a))
    return Survey(found)


def set_by(road: Road, settings: Mapping[str, str]) -> Mapping[str, str]:
    """The fewest of these settings that set the road."""
    held = [dict(t) for t in road.when if all(settings.get(d) == s for d, s in t)]
    return min(held, key=len, default={})


def _districts(network: RailNetwork) -> dict[str, str]:
    """The district of every rail, by conduction from its feeds; contacts and outputs included."""
    near: dict[str, list[str]] = {}
    for a, b in [(x.a, x.b) for x in network.bonds] + [(x.a, x.b) for x in network.contacts]:
        near.setdefault(a, []).append(b)
        near.setdefault(b, []).append(a)
    found: dict[str, str] = {}
    stack = [(f.rail, network.wires[f.wire].district) for f in network.feeds]
    stack += [(s.rail, s.district) for s in network.switched]
    while stack:
        rail, district = stack.pop()
        if rail in found:
            continue
        found[rail] = district
        stack += [(r, district) for r in near.get(rail, ()) if r not in found]
    return found


def supplied_a(layout: Layout, district: str, through_a: float) -> float:
    """What flows into a short: the lesser of what the network lets through and what the supply gives."""
    limit = layout.file.district[district].limit_a
    return through_a if limit is None else min(through_a, limit)
