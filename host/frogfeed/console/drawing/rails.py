"""The rails of one piece along its roads: where each begins and ends, its blades' tips, its frogs."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from frogfeed.console.drawing.curves import Line, crossing, cut, distance, lengths, normals, offset, point_at
from frogfeed.console.drawing.units import GAUGE
from frogfeed.track.network.conditions import Term
from frogfeed.track.pieces.catalogue import Kind, KindRoad, Tip

FROG = 8.0
"""Half the length in which a crossing is drawn."""
TIP = 1.3
"""How far a blade has moved off its stock rail where it begins."""
OPEN = 4.6
"""How far an open blade's tip stands off."""
BLADE = 70.0
"""Longest drawn part of a blade that moves."""


@dataclass(frozen=True, slots=True)
class BladeTip:
    """A tip of a blade at the start (or end) of its line: it touches while `when` (over slots) holds.

    `shift` moves the line's points when that tip is fully open.
    """

    at_start: bool
    when: Term
    shift: Line


@dataclass(frozen=True, slots=True)
class DrawnRail:
    """A rail by its name in the catalogue, as a line. `frog`: it is a crossing. `plastic`: it is no conductor."""

    rail: str
    line: Line
    tips: tuple[BladeTip, ...] = ()
    frog: bool = False
    plastic: bool = False


@dataclass(frozen=True, slots=True)
class _Run:
    """One road's rail of one hand: its line, and the rails along it."""

    road: KindRoad
    hand: int
    line: Line
    rails: tuple[str, ...]


def piece_rails(kind: Kind, middles: Mapping[str, Line], plastic: frozenset[str]) -> tuple[DrawnRail, ...]:
    """The rails of a piece of this kind. `middles`: "start-end" of a road -> its middle line."""
    runs: list[_Run] = []
    for road in kind.roads:
        line = middles[f"{road.start}-{road.end}"]
        runs.append(_Run(road, 1, offset(line, GAUGE / 2), road.left))
        runs.append(_Run(road, -1, offset(line, -GAUGE / 2), road.right))
    crossings = {r for f in kind.frogs for r in (f.name,)}
    found: dict[str, list[DrawnRail]] = {}
    for run in runs:
        for part in _parts(run, runs, crossings, kind.tips, plastic):
            found.setdefault(part.rail, []).append(part)
    return tuple(p for parts in found.values() for p in _distinct(parts))


def _parts(
    run: _Run, runs: list[_Run], crossings: set[str], tips: tuple[Tip, ...], plastic: frozenset[str]
) -> list[DrawnRail]:
    whole = lengths(run.line)[-1]
    spots = {r: _where(r, run, runs, _evenly(i, run, whole)) for i, r in enumerate(run.rails) if r in crossings}
    marks = [0.0]
    for i, (a, b) in enumerate(zip(run.rails, run.rails[1:], strict=False)):
        if b in spots:
            marks.append(spots[b] - FROG)
        elif a in spots:
            marks.append(spots[a] + FROG)
        else:
            marks.append(_tip_at(a, b, run, runs, tips, whole, _evenly(i + 0.5, run, whole)))
    marks.append(whole)
    for i in range(1, len(marks)):
        marks[i] = min(max(marks[i], marks[i - 1]), whole)
    found = []
    for rail, start, end in zip(run.rails, marks, marks[1:], strict=False):
        line = cut(run.line, start, end)
        if line:
            found.append(DrawnRail(rail, line, _blade_tips(rail, run, line, tips), rail in crossings, rail in plastic))
    return found


def _evenly(i: float, run: _Run, whole: float) -> float:
    return whole * (i + 0.5) / len(run.rails)


def _where(rail: str, run: _Run, runs: list[_Run], otherwise: float) -> float:
    """How far along this run it crosses another run over the same crossing."""
    for other in runs:
        if other is not run and rail in other.rails and other.road is not run.road:
            s = crossing(run.line, other.line)
            if s is not None and not _same_way(run, other, s):
                return s
    return otherwise


def _same_way(run: _Run, other: _Run, s: float) -> bool:
    """Whether the two lines lie on each other here instead of crossing."""
    whole = lengths(run.line)[-1]
    near = [point_at(run.line, min(max(s + d, 0.0), whole)) for d in (-12.0, 12.0)]
    return all(distance(p, other.line) < 0.5 for p in near)


def _tip_at(
    a: str, b: str, run: _Run, runs: list[_Run], tips: tuple[Tip, ...], whole: float, otherwise: float
) -> float:
    """Where the rails `a` and `b` part: the blade begins where its line leaves the stock rail's."""
    blades = {t.blade for t in tips}
    blade, stock, facing = (b, a, True) if b in blades else (a, b, False)
    if blade not in blades:
        return otherwise
    others = [o for o in runs if o is not run and stock in o.rails and blade not in o.rails and o.road is not run.road]
    best: float | None = None
    steps = [whole * k / 120 for k in range(121)]
    if not facing:
        steps.reverse()
    for other in others:
        if distance(point_at(run.line, steps[0]), other.line) > TIP:
            continue
        together = False
        for s in steps:
            d = distance(point_at(run.line, s), other.line)
            if d < TIP:
                together = True
            elif together:
                best = s if best is None else (max if facing else min)(best, s)
                break
    return otherwise if best is None else best


def _blade_tips(rail: str, run: _Run, line: Line, tips: tuple[Tip, ...]) -> tuple[BladeTip, ...]:
    found = []
    for tip in tips:
        if tip.blade != rail or tip.stock not in run.rails:
            continue
        at_start = run.rails.index(tip.stock) < run.rails.index(rail)
        along = lengths(line)
        whole = min(along[-1], BLADE) if len([t for t in tips if t.blade == rail]) == 1 else along[-1] / 2
        inward = -run.hand * OPEN
        shift = []
        for (nx, ny), s in zip(normals(line), along, strict=True):
            d = s if at_start else along[-1] - s
            share = max(0.0, 1.0 - d / whole) ** 1.5 if whole else 0.0
            shift.append((nx * inward * share, ny * inward * share))
        found.append(BladeTip(at_start, tip.when, tuple(shift)))
    return tuple(found)


def _distinct(parts: list[DrawnRail]) -> list[DrawnRail]:
    """The longest drawing of a rail, and others only where they lie elsewhere."""
    kept: list[DrawnRail] = []
    for p in sorted(parts, key=lambda p: -lengths(p.line)[-1]):
        middle = point_at(p.line, lengths(p.line)[-1] / 2)
        if all(distance(middle, k.line) > 2.5 for k in kept):
            kept.append(p)
    return kept
