"""Selected entries of the inverse of a sparse symmetric matrix, from its factors (Takahashi's recurrence).

With A = L D Lᵀ and Z the inverse, an entry of Z on the pattern of L needs only others on that pattern: so the
diagonal, and every pair that the pattern holds, cost about as much as the factorisation itself, where solving
for each pair anew costs a pass over the whole matrix.
"""

from __future__ import annotations

from typing import Protocol

import numpy as np
import numpy.typing as npt
from scipy.sparse import csc_array

Ints = npt.NDArray[np.int64]


class Factors(Protocol):
    """What is used of SuperLU's factors: unit lower L, U = D Lᵀ, and one order for rows and columns."""

    @property
    def L(self) -> csc_array: ...  # noqa: N802
    @property
    def U(self) -> csc_array: ...  # noqa: N802
    @property
    def perm_r(self) -> npt.NDArray[np.signedinteger]: ...
    @property
    def perm_c(self) -> npt.NDArray[np.signedinteger]: ...


class SelectedInverse:
    """Z on the pattern of L. Raises ValueError where rows were pivoted, so that the factors are not
    symmetric.
    """

    def __init__(self, factors: Factors) -> None:
        if not np.array_equal(factors.perm_r, factors.perm_c):
            raise ValueError("the factors are not symmetric")
        self._place = np.asarray(factors.perm_c, dtype=np.int64)
        lower = factors.L.tocsc()
        pivots = factors.U.diagonal().tolist()
        starts, rows, values = lower.indptr.tolist(), lower.indices.tolist(), lower.data.tolist()
        n = len(pivots)
        columns: list[dict[int, float]] = [{} for _ in range(n)]
        for j in range(n - 1, -1, -1):
            below = [(rows[p], values[p]) for p in range(starts[j], starts[j + 1]) if rows[p] != j]
            mine = columns[j]
            diagonal = 1.0 / pivots[j]
            for i, _ in below:
                total = 0.0
                theirs = columns[i]
                for k, value in below:
                    total -= value * (theirs[k] if k >= i else columns[k][i])
                mine[i] = total
            for k, value in below:
                diagonal -= value * mine[k]
            mine[j] = diagonal
        self._columns = columns

    def entry(self, a: int, b: int) -> float:
        """Z[a, b], which must be on the diagonal or on the pattern of L. Raises KeyError where it is not."""
        i, j = int(self._place[a]), int(self._place[b])
        return self._columns[min(i, j)][max(i, j)]
