"""The rails between ends that are joined, cut where they are insulated; and stubs where a joint can't be drawn."""

from __future__ import annotations

from dataclasses import dataclass

from frogfeed.console.drawing.arrange import Arrangement, least
from frogfeed.console.drawing.curves import Line, Point, cut, hermite, lengths, normals, offset, point_at
from frogfeed.console.drawing.units import GAUGE, LANE, STUB
from frogfeed.layout.schema import Hand
from frogfeed.track.network.model import End, Joint

CUT = 2.6
"""Half the width of the cut drawn at an insulated joint."""


@dataclass(frozen=True, slots=True)
class Mark:
    """A mark across a rail: an insulated joint ("gap") or a joiner that is not trusted ("untrusted")."""

    kind: str
    at: Point
    along: Point
    joint: int
    hand: str


@dataclass(frozen=True, slots=True)
class DrawnJoint:
    """A joint's rails as (rail, line), its marks, its middle, and the labels of its stubs where it is not drawn."""

    rails: tuple[tuple[str, Line], ...]
    marks: tuple[Mark, ...]
    middle: Line
    labels: tuple[tuple[Point, str, bool], ...] = ()


def draw_joint(plan: Arrangement, joint: Joint, number: int) -> DrawnJoint:
    """A joint between an east and a west side."""
    a, b = (joint.a, joint.b) if plan.turned.east(joint.a) else (joint.b, joint.a)
    turned = a != joint.a
    middle = _middle(plan, a, b)
    rails: list[tuple[str, Line]] = []
    marks: list[Mark] = []
    for hand, pair in ((Hand.LEFT, joint.left), (Hand.RIGHT, joint.right)):
        near, far = (pair[1], pair[0]) if turned else pair
        left = (hand is Hand.LEFT) != turned
        line = offset(middle, GAUGE / 2 if left else -GAUGE / 2)
        whole = lengths(line)[-1]
        half = whole / 2
        gap = CUT if hand in joint.gaps else 0.0
        rails += [(near, cut(line, 0.0, half - gap)), (far, cut(line, half + gap, whole))]
        if gap or hand in joint.untrusted:
            at = point_at(line, half)
            nx, ny = normals((point_at(line, half - 2), at, point_at(line, half + 2)))[1]
            marks.append(Mark("gap" if gap else "untrusted", at, (-ny, nx), number, str(hand)))
    return DrawnJoint(tuple(r for r in rails if r[1]), tuple(marks), middle)


def _middle(plan: Arrangement, a: End, b: End) -> Line:
    p, q = plan.port(a), plan.port(b)
    sa, sb = plan.slope(a), plan.slope(b)
    lanes = abs(plan.lane[plan.track(a)] - plan.lane[plan.track(b)])
    need = min(least(plan.turned, a, b, lanes / LANE), q[0] - p[0])
    if sa and not sb:
        turn = (p[0] + need, q[1])
        return (*hermite(p, sa, turn, 0.0), q) if q[0] - turn[0] > 1.0 else hermite(p, sa, q, 0.0)
    if sb and not sa:
        turn = (q[0] - need, p[1])
        return (p, *hermite(turn, 0.0, q, sb)) if turn[0] - p[0] > 1.0 else hermite(p, 0.0, q, sb)
    if not sa and abs(p[1] - q[1]) < 0.5:
        return (p, q)
    return hermite(p, sa, q, sb)


def draw_apart(plan: Arrangement, joint: Joint, number: int) -> DrawnJoint:
    """A joint whose ends lie too far round: a stub at each, with the name of the end where the track goes on."""
    rails: list[tuple[str, Line]] = []
    marks: list[Mark] = []
    labels: list[tuple[Point, str, bool]] = []
    middle: Line = ()
    for end, there, left, right, flip in (
        (joint.a, joint.b, joint.left[0], joint.right[0], False),
        (joint.b, joint.a, joint.right[1], joint.left[1], True),
    ):
        p = plan.port(end)
        east = plan.turned.east(end)
        step = STUB if east else -STUB
        line = hermite(p, plan.slope(end), (p[0] + step, p[1] + plan.slope(end) * step * 0.5), 0.0)
        middle = middle or line
        gap_at = lengths(line)[-1] * 0.6
        for hand, rail, name in ((1, left, Hand.LEFT), (-1, right, Hand.RIGHT)):
            side = offset(line, hand * GAUGE / 2)
            stated = name.other if flip else name
            cut_here = stated in joint.gaps and not flip
            rails.append((rail, cut(side, 0.0, gap_at - CUT if cut_here else lengths(side)[-1])))
            if cut_here:
                marks.append(Mark("gap", point_at(side, gap_at), (1.0, 0.0), number, str(stated)))
        labels.append(((p[0] + step * 1.1, line[-1][1]), f"{there[0]} {there[1]}".strip(), east))
    return DrawnJoint(tuple(rails), tuple(marks), middle, tuple(labels))
