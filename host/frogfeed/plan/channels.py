"""The single channel of each thing on a board, once the board and the class of output are settled."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np
from scipy.optimize import Bounds, LinearConstraint, milp
from scipy.sparse import coo_array


def choose(
    things: Sequence[str],
    allowed: Mapping[str, Sequence[str]],
    resources: Mapping[str, Sequence[str]],
    fixed: Mapping[str, str],
    previous: Mapping[str, str],
    domains: Mapping[str, str],
    districts: Mapping[str, str],
) -> dict[str, str] | None:
    """A channel for each thing, or None where none fits.

    `allowed` are each thing's channels in the board's order, `resources` what a channel claims for itself
    alone. A thing stays on its `fixed` channel always, on its `previous` one where it can; the rest fill
    the lowest channels in the order of `things`.
    """
    cells = [(t, c) for t in things for c in ([fixed[t]] if t in fixed else allowed[t])]
    if not things:
        return {}
    order = {c: i for i, c in enumerate(resources)}
    rank = {t: len(things) - i for i, t in enumerate(things)}
    kept = float(len(things) * len(resources) * len(things) * len(resources) + 1)
    cost = [float(order[c] * rank[t]) + (kept if previous.get(t, c) != c else 0.0) for t, c in cells]
    count = len(cells)
    rows: list[int] = []
    cols: list[int] = []
    values: list[float] = []
    low: list[float] = []
    high: list[float] = []

    def limit(terms: list[tuple[int, float]], least: float, most: float) -> None:
        for col, value in terms:
            rows.append(len(low))
            cols.append(col)
            values.append(value)
        low.append(least)
        high.append(most)

    claims: dict[str, list[tuple[int, float]]] = {}
    serves: dict[tuple[str, str], int] = {}
    for col, (t, c) in enumerate(cells):
        for key in (f"thing {t}", *(f"pin {r}" for r in resources[c])):
            claims.setdefault(key, []).append((col, 1.0))
        if c in domains:
            place = serves.setdefault((domains[c], districts[t]), count + len(serves))
            limit([(col, 1.0), (place, -1.0)], -1.0, 0.0)
    for key, terms in claims.items():
        limit(terms, 1.0 if key.startswith("thing ") else 0.0, 1.0)
    for domain in {d for d, _ in serves}:
        limit([(col, 1.0) for (d, _), col in serves.items() if d == domain], 0.0, 1.0)
    total = count + len(serves)
    matrix = coo_array((values, (rows, cols)), shape=(len(low), total)).tocsr()
    result = milp(
        np.array(cost + [0.0] * len(serves)),
        integrality=np.ones(total, dtype=np.int64),
        bounds=Bounds(0, 1),
        constraints=LinearConstraint(matrix, np.array(low), np.array(high)),
    )
    if result.x is None:
        return None
    return {t: c for (t, c), used in zip(cells, result.x[:count], strict=True) if used > 0.5}
