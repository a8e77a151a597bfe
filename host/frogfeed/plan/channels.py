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
    rows: list[int] = []
    cols: list[int] = []
    claim: dict[str, int] = {}
    for col, (t, c) in enumerate(cells):
        for key in (f"thing {t}", *(f"pin {r}" for r in resources[c])):
            rows.append(claim.setdefault(key, len(claim)))
            cols.append(col)
    matrix = coo_array((np.ones(len(rows)), (rows, cols)), shape=(len(claim), len(cells))).tocsr()
    least = np.array([1.0 if key.startswith("thing ") else 0.0 for key in claim])
    result = milp(
        np.array(cost),
        integrality=np.ones(len(cells), dtype=np.int64),
        bounds=Bounds(0, 1),
        constraints=LinearConstraint(matrix, least, np.ones(len(claim))),
    )
    if result.x is None:
        return None
    return {t: c for (t, c), used in zip(cells, result.x, strict=True) if used > 0.5}
