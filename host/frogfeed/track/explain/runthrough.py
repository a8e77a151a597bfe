"""What happens when a train trails through a piece set against it: the gap at which its wheels make a short."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass

from frogfeed.findings.finding import Finding
from frogfeed.track.explain.phrases import told, when_text
from frogfeed.track.explain.subjects import Subjects
from frogfeed.track.network.conditions import When, both
from frogfeed.track.network.model import Bridge, BridgeKind, End, Road
from frogfeed.track.solver.answers import Clash
from frogfeed.track.solver.solver import Solver


@dataclass(frozen=True, slots=True)
class RunThrough:
    """A train taking `road` while it is not set joins two wires at the bridge of `clash`."""

    road: Road
    clash: Clash


def run_throughs(solver: Solver) -> Iterator[RunThrough]:
    """For each road that a drive sets: the first gap along it that shorts while another road is set."""
    network = solver.network
    inner: dict[str, list[Bridge]] = {}
    by_piece: dict[str, list[Road]] = {}
    for r in network.roads:
        by_piece.setdefault(r.piece, []).append(r)
    outer: dict[End, list[Bridge]] = {}
    pairs = {(b.a, b.b): b for b in network.bridges}
    for j in network.joints:
        for pair in (j.left, j.right):
            b = pairs.get(pair)
            if b is not None and b.kind is BridgeKind.JOINT:
                outer.setdefault(j.a, []).append(b)
                outer.setdefault(j.b, []).append(b)
    for b in network.bridges:
        if b.kind is BridgeKind.INTERNAL:
            inner.setdefault(network.piece_of[b.a], []).append(b)
    for piece, roads in by_piece.items():
        for r in roads:
            against: When = ()
            for o in roads:
                if o is not r and o.when and not both(o.when, r.when) and {o.start, o.end} & {r.start, r.end}:
                    against = (*against, *o.when)
            if not against:
                continue
            under = {*r.left, *r.right}
            shared = {e for o in roads if o is not r for e in (o.start, o.end)}
            gaps = [b for e in (r.end, r.start) if e not in shared for b in outer.get((piece, e), ())]
            gaps += [b for b in inner.get(piece, ()) if b.a in under and b.b in under]
            tried = tuple(Bridge(b.a, b.b, against, b.kind, b.at) for b in gaps)
            found = next(iter(solver.clashes(tried)), None)
            if found is not None:
                yield RunThrough(r, found)


def run_through_findings(subjects: Subjects, found: Iterable[RunThrough]) -> Iterator[Finding]:
    """What a train does that trails through a piece set against it; one finding a piece."""
    grouped: dict[str, list[RunThrough]] = {}
    for r in found:
        grouped.setdefault(r.road.piece, []).append(r)
    for piece, group in grouped.items():
        c = group[0].clash
        ways = "; ".join(
            f"from {r.road.start} to {r.road.end} {when_text(r.clash.when)}, at {r.clash.bridge.a} to "
            f"{r.clash.bridge.b}"
            for r in group
        )
        yield told(
            "run-through",
            piece,
            f"A train that runs through {piece} while set against it shorts {c.wires[0]} and {c.wires[1]}: {ways}.",
            "The supply trips and the train stops before it splits the blades: to be expected, not a fault.",
            "Set the road before the train gets there.",
            subjects.at(piece),
            c.when,
            c.path,
        )
