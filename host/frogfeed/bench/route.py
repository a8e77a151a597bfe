"""Paths for trains: from roads, in the order in which a train takes them, to where each wheel touches what.

A leg is one road taken in one direction. The bench needs the netlist only; `walk` finds a route over a rail network
by following the joints as the drives are set.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise, product
from typing import Any

from frogfeed.bench.circuit import Circuit, when_terms
from frogfeed.bench.errors import BenchError
from frogfeed.bench.physical import TrackPhysics
from frogfeed.bench.shapes import Segment, Term, TrainSpec
from frogfeed.track.network.conditions import holds
from frogfeed.track.network.model import RailNetwork

OFF_UM = 1 << 40


@dataclass(frozen=True, slots=True)
class Vehicle:
    """One vehicle: its axles as (mm behind the train's front, whether its wheels pick up current), and its load."""

    name: str
    axles: tuple[tuple[float, bool], ...]
    load_ma: int = 0


LOCO = Vehicle("loco", ((12.0, True), (36.0, True), (60.0, True)), 300)
"""A small tank engine: three axles, all picking up."""


def wagon(name: str, behind_mm: float, wheelbase_mm: float = 40.0) -> Vehicle:
    """A two-axle wagon with metal wheels that pick up nothing."""
    return Vehicle(name, ((behind_mm, False), (behind_mm + wheelbase_mm, False)))


@dataclass(frozen=True, slots=True)
class Leg:
    """One road in the direction of travel: the rails under the left and the right wheels in order."""

    name: str
    left: tuple[str, ...]
    right: tuple[str, ...]
    when: tuple[tuple[tuple[str, str], ...], ...]
    length_mm: float
    turned: bool


def legs(netlist: Mapping[str, Any], names: Sequence[str], track: TrackPhysics | None = None) -> tuple[Leg, ...]:
    """Legs by the names of their roads; a name turned round ("T1:left-toe") takes the road backwards.

    Raises BenchError for a road that the netlist lacks.
    """
    track = track or TrackPhysics()
    roads = {r["name"]: r for r in netlist["roads"]}
    return tuple(_leg(roads, name, track) for name in names)


def _leg(roads: Mapping[str, Mapping[str, Any]], name: str, track: TrackPhysics) -> Leg:
    piece, _, ends = name.partition(":")
    start, _, end = ends.partition("-")
    turned = False
    road = roads.get(name)
    if road is None:
        for other in (f"{piece}:{end}-{start}", _turned_dotted(piece, ends, roads)):
            if other in roads:
                road, turned = roads[other], True
                break
    if road is None:
        known = ", ".join(sorted(r for r in roads if r.partition(":")[0] == piece)) or "no road of that piece"
        raise BenchError(f"no road {name} in the netlist; there is: {known}")
    left, right = tuple(road["left"]), tuple(road["right"])
    if turned:
        left, right = right[::-1], left[::-1]
    when = tuple(tuple(sorted(t.items())) for t in road["when"])
    default = track.place_mm if len(left) == len(right) == 1 else track.piece_mm
    length = track.road_mm.get(road["name"], track.road_mm.get(piece, default))
    return Leg(name, left, right, when, length, turned)


def _turned_dotted(piece: str, ends: str, roads: Mapping[str, Any]) -> str:
    """Ends may hold hyphens of their own: try every place to split."""
    for i, letter in enumerate(ends):
        if letter == "-" and f"{piece}:{ends[i + 1 :]}-{ends[:i]}" in roads:
            return f"{piece}:{ends[i + 1 :]}-{ends[:i]}"
    return ""


def walk(network: RailNetwork, start: tuple[str, str], settings: Mapping[str, str], most: int = 200) -> tuple[str, ...]:
    """The roads a train takes that sets off towards end `start` = (place or piece, end), as the drives are set.

    Begins with the road that leads to that end, where just one does; ends at a buffer, an open end, a turnout set
    against it, the place it came from, or after `most` roads.
    """
    across = {j.a: j.b for j in network.joints} | {j.b: j.a for j in network.joints}
    through: dict[tuple[str, str], list[tuple[str, tuple[str, str], Any]]] = {}
    for r in network.roads:
        through.setdefault((r.piece, r.start), []).append((f"{r.piece}:{r.start}-{r.end}", (r.piece, r.end), r.when))
        through.setdefault((r.piece, r.end), []).append((f"{r.piece}:{r.end}-{r.start}", (r.piece, r.start), r.when))
    found: list[str] = []
    behind = [f"{r.piece}:{r.start}-{r.end}" for r in network.roads if (r.piece, r.end) == start] + [
        f"{r.piece}:{r.end}-{r.start}" for r in network.roads if (r.piece, r.start) == start
    ]
    if len(behind) == 1:
        found.append(behind[0])
    seen = {start}
    end = start
    while len(found) < most and end in across:
        came = across[end]
        ways = [w for w in through.get(came, ()) if holds(w[2], settings)]
        if len(ways) != 1:
            break
        found.append(ways[0][0])
        end = ways[0][1]
        if end in seen:
            break
        seen.add(end)
    return tuple(found)


@dataclass(frozen=True, slots=True)
class LaidRoute:
    """What `sim.physics.trains` needs of a route: segments for the left and the right wheels, roads, length."""

    paths: tuple[list[Segment], list[Segment]]
    roads: list[list[Term]]
    length_um: int


def lay(
    netlist: Mapping[str, Any], circuit: Circuit, route: Iterable[Leg], track: TrackPhysics | None = None
) -> LaidRoute:
    """Lay a route out: where along it each side's wheels touch which class of rails, and what they bridge.

    Raises BenchError where a leg does not follow from the one before it.
    """
    track = track or TrackPhysics()
    route = tuple(route)
    bridges = [(frozenset(b["rails"]), b["when"]) for b in netlist["bridges"]]
    bridged = {pair for pair, _ in bridges}
    spans: tuple[list[tuple[int, int, int, int]], list[tuple[int, int, int, int]]] = ([], [])
    extras: tuple[list[tuple[int, int, int]], list[tuple[int, int, int]]] = ([], [])
    at = 0
    for before, after in pairwise(route):
        for one, two in ((before.left[-1], after.left[0]), (before.right[-1], after.right[0])):
            if not _meets(circuit, one, two, bridged):
                raise BenchError(
                    f"{before.name} does not lead to {after.name}: {one} does not meet {two}; turn a road round"
                    f' by its ends ("T1:left-toe"), or let `walk` find the way'
                )
    for number, leg in enumerate(route):
        length = round(1000 * leg.length_mm)
        for hand, rails in enumerate((leg.left, leg.right)):
            _lay_leg(circuit, leg, rails, number, at, length, track, bridged, bridges, spans[hand], extras[hand])
        at += length
    reach = round(1000 * track.bridge_mm)
    paths = tuple(_segments(spans[h], extras[h], reach, at, circuit.spec["nw"]) for h in (0, 1))
    roads = [when_terms(_settling(netlist, circuit, leg), netlist["drives"]) for leg in route]
    return LaidRoute((paths[0], paths[1]), roads, at)


def _settling(netlist: Mapping[str, Any], circuit: Circuit, leg: Leg) -> list[dict[str, str]]:
    """A leg's condition with every drive named that switches a feed of its rails: until they rest it is not settled.

    So a train in a section that changes its polarity stands on no dead rail while the section changes over.
    """
    under = {circuit.class_of[rail] for rail in (*leg.left, *leg.right)}
    drives: Mapping[str, Sequence[str]] = netlist["drives"]
    follow = {
        drive
        for feed in netlist["switched"]
        if circuit.class_of[feed["rail"]] in under
        for row in feed["table"]
        for term in row["when"]
        for drive in term
    }
    terms: list[dict[str, str]] = []
    for t in leg.when:
        more = sorted(follow - dict(t).keys())
        terms += [dict(t) | dict(zip(more, combo, strict=True)) for combo in product(*(drives[d] for d in more))]
    return terms


def _lay_leg(
    circuit: Circuit,
    leg: Leg,
    rails: Sequence[str],
    number: int,
    at: int,
    length: int,
    track: TrackPhysics,
    bridged: set[frozenset[str]],
    bridges: Sequence[tuple[frozenset[str], Sequence[Mapping[str, str]]]],
    spans: list[tuple[int, int, int, int]],
    extras: list[tuple[int, int, int]],
) -> None:
    """Spread a leg's rails over its length: (start, end, class, road), with plastic left out between them."""
    plastic = round(1000 * track.plastic_mm)
    vee = round(1000 * track.vee_mm)
    share = length // len(rails)
    others = set(leg.left) | set(leg.right)
    for i, rail in enumerate(rails):
        start, end = at + i * share, at + (i + 1) * share if i + 1 < len(rails) else at + length
        if i and not _meets(circuit, rails[i - 1], rail, bridged):
            start += plastic // 2
        if i + 1 < len(rails) and not _meets(circuit, rail, rails[i + 1], bridged):
            end -= plastic // 2
        spans.append((start, end, circuit.class_of[rail], number))
        for pair, when in bridges:
            if rail in pair and not pair <= others and len(rails) > 1 and _overlap(when, leg.when):
                (beside,) = pair - {rail}
                if beside.partition(".")[0] == rail.partition(".")[0]:
                    # a tread that reaches the other rail of the vee, at its narrow end
                    if i:
                        extras.append((start, start + vee, circuit.class_of[beside]))
                    else:
                        extras.append((end - vee, end, circuit.class_of[beside]))


def _overlap(when: Sequence[Mapping[str, str]], road: Sequence[Sequence[tuple[str, str]]]) -> bool:
    """Whether a bridge's condition and a road's can hold at the same time."""
    return any(all(dict(t).get(d, s) == s for d, s in b.items()) for b in when for t in road)


def _meets(circuit: Circuit, a: str, b: str, bridged: set[frozenset[str]]) -> bool:
    return circuit.joined(a, b) or frozenset((a, b)) in bridged or circuit.contact_between(a, b)


def _segments(
    spans: list[tuple[int, int, int, int]],
    extras: list[tuple[int, int, int]],
    reach: int,
    length: int,
    nw: int,
) -> list[Segment]:
    """[start, class, class bridged or -1, road] by position; what makes no difference is merged."""
    marks: set[int] = {0, length}
    for start, end, _, _ in spans:
        marks |= {start - reach if start else 0, start, start + reach, end - reach, end, end + reach}
    for start, end, _ in extras:
        marks |= {start, end}
    points = sorted(m for m in marks if 0 <= m < length)
    segments: list[Segment] = [[-OFF_UM, -1, -1, -1]]
    for point in points:
        here = [s for s in spans if s[0] - reach <= point < s[1] + reach]
        own = next((s for s in here if s[0] <= point < s[1]), None)
        classes: list[int] = []
        for s in ([own] if own else []) + [s for s in here if s is not own]:
            if s[2] not in classes and (own or s[0] - reach <= point < s[1] + reach):
                classes.append(s[2])
        classes += [c for a, b, c in extras if a <= point < b and c not in classes]
        first = classes[0] if classes else -1
        second = classes[1] if len(classes) > 1 else -1
        road = own[3] if own else here[0][3] if here else -1
        segment = [point, first, second, road]
        before = segments[-1]
        same = before[1:3] == segment[1:3]
        if same and (before[3] == road or (0 <= first < nw and second < 0)):
            continue
        segments.append(segment)
    segments.append([length, -1, -1, -1])
    return segments


def train_spec(
    name: str,
    path: LaidRoute,
    vehicles: Sequence[Vehicle] = (LOCO,),
    *,
    speed_mm_per_s: float = 300.0,
    front_mm: float | None = None,
    run_off: bool = True,
) -> TrainSpec:
    """A train for the bench. Its front starts at `front_mm` (default: its tail just on the path).

    `run_off`: it is taken off the rails when its tail has left the path.
    """
    tail = max(a for v in vehicles for a, _ in v.axles)
    front = tail if front_mm is None else front_mm
    return {
        "name": name,
        "pos_um": round(1000 * front),
        "speed": round(speed_mm_per_s),
        "paths": list(path.paths),
        "roads": path.roads,
        "end_um": path.length_um + round(1000 * tail) if run_off else -1,
        "vehicles": [
            {
                "name": v.name,
                "load_ma": v.load_ma,
                "axles": [(round(1000 * at), int(picks_up)) for at, picks_up in v.axles],
            }
            for v in vehicles
        ],
    }
