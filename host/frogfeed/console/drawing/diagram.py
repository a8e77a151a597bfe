"""The whole drawing of a layout, as data that a page can draw without knowing anything of railways."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

from frogfeed.console.drawing.arrange import Arrangement, arrange
from frogfeed.console.drawing.curves import Line, Point, lengths, offset, point_at
from frogfeed.console.drawing.joints import DrawnJoint, Mark, draw_apart, draw_joint
from frogfeed.console.drawing.labels import AWAY, PIECE, PLACE, Box, Wish, place
from frogfeed.console.drawing.nodes import turn
from frogfeed.console.drawing.rails import DrawnRail, piece_rails
from frogfeed.console.drawing.roads import road_line
from frogfeed.console.drawing.units import GAUGE, place_width
from frogfeed.layout.drives import drive_uses
from frogfeed.layout.model import Layout
from frogfeed.layout.schema import PlaceKind
from frogfeed.track.network.conditions import Term
from frogfeed.track.network.model import RailNetwork
from frogfeed.track.pieces.catalogue import Kind, kinds_of
from frogfeed.track.pieces.expand import drive_term


@dataclass(frozen=True, slots=True)
class Tip:
    """A moving tip: it touches while `when` (over drives) holds; `shift` moves the points when it is fully open."""

    when: Term
    shift: Line


@dataclass(frozen=True, slots=True)
class RailLine:
    """One stretch of a rail as it is drawn. `node` is its piece, place, or None within a joint."""

    rail: str
    node: str | None
    line: Line
    tips: tuple[Tip, ...] = ()
    frog: bool = False
    plastic: bool = False


@dataclass(frozen=True, slots=True)
class Node:
    """A piece or a place with a spot for its name. `drives` throw it; `box` is (x, y, width, height)."""

    name: str
    kind: str
    drives: tuple[str, ...]
    label: Point
    box: tuple[float, float, float, float]
    stop: tuple[Point, bool] | None = None


@dataclass(frozen=True, slots=True)
class Badge:
    """A spot on a rail where the letter of its polarity is written."""

    rail: str
    at: Point
    feed: bool


@dataclass(frozen=True)
class Diagram:
    """Everything to be drawn. `roads` are middle lines by road name ("T1:toe-left"), `sleepers` middle lines."""

    size: tuple[float, float]
    rails: tuple[RailLine, ...]
    nodes: tuple[Node, ...]
    marks: tuple[Mark, ...]
    badges: tuple[Badge, ...]
    labels: tuple[tuple[Point, str, bool], ...]
    roads: Mapping[str, Line]
    joints: Mapping[int, Line]


def draw(layout: Layout, network: RailNetwork) -> Diagram:
    """Draw a layout. Joints keep their place in `network.joints` as their number."""
    kinds = kinds_of(layout)
    widths = {n: place_width(p.length_mm) for n, p in layout.file.place.items()}
    turned = turn(layout, network)
    plan = arrange(turned, widths)
    number = {id(j): n for n, j in enumerate(network.joints)}
    joints = {number[id(j)]: draw_joint(plan, j, number[id(j)]) for j in turned.drawn}
    joints |= {number[id(j)]: draw_apart(plan, j, number[id(j)]) for j in turned.apart}
    rails: list[RailLine] = []
    roads: dict[str, Line] = {}
    nodes: list[Node] = []
    slots: dict[str, dict[str, tuple[str, Mapping[str, str]]]] = {}
    for (piece, slot), use in drive_uses(layout.file, layout.kinds).items():
        slots.setdefault(piece, {})[slot] = (use.drive, use.settings)
    for name, shape in turned.shapes.items():
        if shape.place:
            _place(layout, plan, name, rails, roads, nodes)
        else:
            _piece(network, plan, name, kinds[network.pieces[name].kind], slots.get(name, {}), rails, roads, nodes)
    for j in joints.values():
        rails += [RailLine(rail, None, line) for rail, line in j.rails]
    marks = tuple(m for j in joints.values() for m in j.marks)
    labels = tuple(label for j in joints.values() for label in j.labels)
    middles = {n: j.middle for n, j in sorted(joints.items())}
    named = _named(nodes, rails, labels, plan.size)
    return Diagram(plan.size, tuple(rails), named, marks, _badges(network, rails), labels, roads, middles)


def _named(
    nodes: Sequence[Node],
    rails: Iterable[RailLine],
    labels: Iterable[tuple[Point, str, bool]],
    size: tuple[float, float],
) -> tuple[Node, ...]:
    """The nodes with their names where they cover no track."""
    wishes = []
    for n in nodes:
        x, y, w, h = n.box
        style = PIECE if n.drives else PLACE
        track = n.label[1] + (AWAY if n.label[1] < y + h / 2 else -AWAY)
        wishes.append(Wish(n.name, style, n.label, x, x + w, track))
    taken: list[Box] = []
    for (x, y), text, east in labels:
        w, h = PLACE.size(f"to {text} >")
        taken.append((x if east else x - w, y - h / 2, w, h))
    spots = place(wishes, (r.line for r in rails), taken, size)
    return tuple(replace(n, label=at) for n, at in zip(nodes, spots, strict=True))


def _place(
    layout: Layout, plan: Arrangement, name: str, rails: list[RailLine], roads: dict[str, Line], nodes: list[Node]
) -> None:
    x, w, y = plan.west[name], plan.width[name], plan.lane[(name, 0)]
    line: Line = ((x, y), (x + w, y))
    east = not plan.turned.flip[name]
    along = line if east else line[::-1]
    rails += [
        RailLine(f"{name}.R1", name, offset(along, GAUGE / 2)),
        RailLine(f"{name}.R2", name, offset(along, -GAUGE / 2)),
    ]
    roads[f"{name}:a-b"] = along
    kind = layout.file.place[name].kind
    stop: tuple[Point, bool] | None = None
    if kind is not PlaceKind.SECTION:
        joined = {e for j in (*plan.turned.drawn, *plan.turned.apart) for e in (j.a, j.b) if e[0] == name}
        free = [e for e in ("a", "b") if (name, e) not in joined]
        if free:
            at_east = plan.turned.east((name, free[-1])) if free[-1] in _ends(plan, name) else _other(plan, name)
            stop = ((x + w if at_east else x, y), at_east)
    nodes.append(Node(name, str(kind), (), (x + w / 2, y + AWAY), (x, y - GAUGE, w, 2 * GAUGE), stop))


def _ends(plan: Arrangement, name: str) -> tuple[str, ...]:
    return (*plan.turned.shapes[name].sides[0], *plan.turned.shapes[name].sides[1])


def _other(plan: Arrangement, name: str) -> bool:
    """The side of a place that has no end of its own: opposite to the one it has."""
    ends = _ends(plan, name)
    return not plan.turned.east((name, ends[0])) if ends else True


def _piece(
    network: RailNetwork,
    plan: Arrangement,
    name: str,
    kind: Kind,
    slots: Mapping[str, tuple[str, Mapping[str, str]]],
    rails: list[RailLine],
    roads: dict[str, Line],
    nodes: list[Node],
) -> None:
    middles = {f"{r.start}-{r.end}": road_line(plan, name, r) for r in kind.roads}
    plastic = frozenset(r.partition(".")[2] for p, r in network.plastic if p == name)
    for drawn in piece_rails(kind, middles, plastic):
        rails.append(_rail(name, drawn, slots))
    for road, line in middles.items():
        roads[f"{name}:{road}"] = line
    points = [p for line in middles.values() for p in line]
    x0, x1 = min(p[0] for p in points), max(p[0] for p in points)
    y0, y1 = min(p[1] for p in points), max(p[1] for p in points)
    drives = tuple(dict.fromkeys(drive for drive, _ in slots.values()))
    nodes.append(
        Node(
            name, kind.name, drives, _label(plan, name, x0, x1, y0, y1), (x0, y0 - GAUGE, x1 - x0, y1 - y0 + 2 * GAUGE)
        )
    )


def _label(plan: Arrangement, name: str, x0: float, x1: float, y0: float, y1: float) -> Point:
    """Beside the straight track, on the side where no leg goes."""
    shape = plan.turned.shapes[name]
    leans = [plan.turned.lean((name, e)) for side in shape.sides for e in side]
    if len(shape.straight) > 1:
        return (x0 + x1) / 2, y0 - AWAY
    y = plan.lane[(name, 0)]
    east = plan.turned.flip[name]
    x = x0 + (x1 - x0) * (0.62 if east else 0.38)
    return x, y + (AWAY if -1 in leans and 1 not in leans else -AWAY)


def _rail(piece: str, drawn: DrawnRail, slots: Mapping[str, tuple[str, Mapping[str, str]]]) -> RailLine:
    tips = []
    for tip in drawn.tips:
        when = drive_term(slots, tip.when)
        if when is not None:
            tips.append(Tip(when, tip.shift))
    return RailLine(f"{piece}.{drawn.rail}", piece, drawn.line, tuple(tips), drawn.frog, drawn.plastic)


def _badges(network: RailNetwork, rails: Iterable[RailLine]) -> tuple[Badge, ...]:
    """A letter on both rails of every place, on every frog and the rails beyond it, and where a dropper comes up."""
    fed = {f.rail for f in network.feeds}
    longest: dict[str, RailLine] = {}
    for r in rails:
        if not r.plastic and (r.rail not in longest or _size(r) > _size(longest[r.rail])):
            longest[r.rail] = r
    found = []
    for rail, r in longest.items():
        name = rail.rpartition(".")[2]
        if not (r.frog or rail in fed or name in ("R1", "R2") or (name.startswith("V") and _size(r) > 45.0)):
            continue
        share = {"R1": 0.3, "R2": 0.7}.get(name, 0.5)
        if name in ("SL", "SR"):
            share = 0.22
        found.append(Badge(rail, point_at(r.line, _size(r) * share), rail in fed))
    return tuple(found)


def _size(r: RailLine) -> float:
    return lengths(r.line)[-1]


def to_json(d: Diagram) -> dict[str, Any]:
    """The drawing as plain JSON: points rounded to a tenth, in flat lists x, y, x, y."""
    return {
        "size": [round(v, 1) for v in d.size],
        "rails": [
            {
                "rail": r.rail,
                "node": r.node,
                "pts": _flat(r.line),
                **({"frog": 1} if r.frog else {}),
                **({"plastic": 1} if r.plastic else {}),
                **(
                    {"tips": [{"when": [list(p) for p in t.when], "shift": _flat(t.shift)} for t in r.tips]}
                    if r.tips
                    else {}
                ),
            }
            for r in d.rails
        ],
        "nodes": [
            {
                "name": n.name,
                "kind": n.kind,
                "drives": list(n.drives),
                "label": _flat([n.label]),
                "box": [round(v, 1) for v in n.box],
                **({"stop": [*_flat([n.stop[0]]), n.stop[1]]} if n.stop else {}),
            }
            for n in d.nodes
        ],
        "marks": [
            {"kind": m.kind, "at": _flat([m.at]), "along": _flat([m.along]), "joint": m.joint, "hand": m.hand}
            for m in d.marks
        ],
        "badges": [{"rail": b.rail, "at": _flat([b.at]), "feed": b.feed} for b in d.badges],
        "labels": [{"at": _flat([at]), "text": text, "east": east} for at, text, east in d.labels],
        "roads": {name: _flat(line) for name, line in d.roads.items()},
        "joints": {str(n): _flat(line) for n, line in d.joints.items()},
    }


def _flat(points: Iterable[Point]) -> list[float]:
    return [round(v, 1) for p in points for v in p]


__all__ = ["Badge", "Diagram", "DrawnJoint", "Node", "RailLine", "Tip", "draw", "to_json"]
