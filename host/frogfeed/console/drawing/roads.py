"""The middle line of every road of a piece, between its ports."""

from __future__ import annotations

from frogfeed.console.drawing.arrange import Arrangement
from frogfeed.console.drawing.curves import Line, hermite, sample
from frogfeed.track.pieces.catalogue import KindRoad

_BLEND = 0.2
"""Where a slip road leaves one crossing road for the other, as a fraction of the piece to either side of its middle."""


def _smooth(u: float) -> float:
    return u * u * (3.0 - 2.0 * u)


def _cut_corner(u: float) -> float:
    """Along one crossing road, then back along the other, the corner between them rounded off."""
    d = abs(u - 0.5)
    if d >= _BLEND:
        return _smooth(min(u, 1.0 - u))
    q = 0.5 - _BLEND
    return _smooth(q) + 6.0 * q * (1.0 - q) * (_BLEND**2 - d * d) / (2.0 * _BLEND)


def road_line(plan: Arrangement, piece: str, road: KindRoad) -> Line:
    """The road's middle, in its own direction of travel."""
    start, end = (piece, road.start), (piece, road.end)
    a, b = plan.port(start), plan.port(end)
    east = a[0] <= b[0]
    west, far = (start, end) if east else (end, start)
    (x0, y0), (x1, y1) = plan.port(west), plan.port(far)
    shape = plan.turned.shapes[piece]
    if len(shape.straight) > 1:
        other = _opposite_lane(plan, piece, y0)
        if abs(y1 - y0) < 1.0:
            line = sample(lambda u: y0 + (other - y0) * _cut_corner(u), x0, x1, 49)
        else:
            line = sample(lambda u: y0 + (y1 - y0) * _smooth(u), x0, x1, 49)
    else:
        lean_w, lean_e = plan.turned.lean(west), plan.turned.lean(far)
        if lean_w and lean_e:
            line = hermite((x0, y0), plan.slope(west), (x1, y1), plan.slope(far), 33)
        elif lean_w:
            line = sample(lambda u: y1 + (y0 - y1) * (1.0 - u) ** 2, x0, x1)
        else:
            line = sample(lambda u: y0 + (y1 - y0) * u * u, x0, x1)
    return line if east else line[::-1]


def _opposite_lane(plan: Arrangement, piece: str, y: float) -> float:
    lanes = [plan.track_y((piece, k)) for k in range(len(plan.turned.shapes[piece].straight))]
    return max(lanes, key=lambda v: abs(v - y))
