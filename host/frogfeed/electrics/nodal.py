"""Nodal analysis of a circuit: node voltages, and for any pair of nodes the open voltage and the ohms
behind it.

The conductance matrix is sparse, symmetric and positive definite, so one factorisation serves any number of
loads.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import NamedTuple

import numpy as np
import numpy.typing as npt
from scipy.sparse import coo_array
from scipy.sparse.linalg import splu

from frogfeed.electrics.circuit import Circuit
from frogfeed.electrics.practice import LEAK_OHM
from frogfeed.electrics.selected import SelectedInverse

Floats = npt.NDArray[np.float64]

FEW_PAIRS = 64
"""Up to this many pairs are solved for one by one; more come from the selected inverse."""

NOTHING_S = 1e-18
"""A conductance that changes nothing but makes two nodes neighbours."""


class Thevenin(NamedTuple):
    """Of each pair of nodes: the volts between them without a load, and the ohms behind them."""

    volts: Floats
    ohms: Floats


class Nodal:
    """A circuit, factorised. Voltages are from the circuit's reference.

    `pairs` are those that `thevenin` will be asked for: naming them here makes many of them cheap.
    """

    def __init__(self, circuit: Circuit, pairs: Sequence[tuple[str, str]] = ()) -> None:
        self.circuit = circuit
        reference = circuit.reference
        others = [n for n in circuit.nodes if n != reference]
        n = self._n = len(others)
        self._index: dict[str, int] = {name: i for i, name in enumerate(others)}
        self._index[reference] = n
        index = self._index
        ends = [(index[r.a], index[r.b]) for r in circuit.resistors]
        ends += [(index[s.plus], index[s.minus]) for s in circuit.sources]
        many = len(pairs) > FEW_PAIRS
        near = [(index[a], index[b]) for a, b in pairs] if many else []
        siemens = [1.0 / r.ohm for r in circuit.resistors] + [1.0 / s.ohm for s in circuit.sources]
        g = np.array(siemens + [NOTHING_S] * len(near))
        a, b = (np.array([e[k] for e in ends + near], dtype=np.int64) for k in (0, 1))
        diagonal = np.arange(n)
        rows = np.concatenate([a, b, a, b, diagonal])
        cols = np.concatenate([a, b, b, a, diagonal])
        values = np.concatenate([g, g, -g, -g, np.full(n, 1.0 / LEAK_OHM)])
        matrix = coo_array((values, (rows, cols)), shape=(n + 1, n + 1)).tocsc()[:n, :n]
        self._factors = splu(matrix, permc_spec="MMD_AT_PLUS_A", diag_pivot_thresh=0.0, options={"SymmetricMode": True})
        self._selected = SelectedInverse(self._factors) if many else None
        self._injected = np.zeros(n + 1)
        for s in circuit.sources:
            self._injected[index[s.plus]] += s.volts / s.ohm
            self._injected[index[s.minus]] -= s.volts / s.ohm

    def voltages(self, loads: Mapping[tuple[str, str], float] | None = None) -> dict[str, float]:
        """Every node's voltage; `loads` are amperes drawn from the first node of a pair into the second."""
        injected = self._injected.copy()
        for (a, b), amps in (loads or {}).items():
            injected[self._index[a]] -= amps
            injected[self._index[b]] += amps
        solved = np.append(self._factors.solve(injected[: self._n]), 0.0)
        return {node: float(solved[i]) for node, i in self._index.items()}

    def thevenin(self, pairs: Sequence[tuple[str, str]]) -> Thevenin:
        """Open voltage and resistance of each pair. More than a few must have been named at the start."""
        open_volts = np.append(self._factors.solve(self._injected[: self._n]), 0.0)
        ends = [(self._index[p], self._index[q]) for p, q in pairs]
        volts = np.array([open_volts[a] - open_volts[b] for a, b in ends])
        measure = self._solved_ohm if self._selected is None else self._selected_ohm
        return Thevenin(volts, np.array([measure(a, b) for a, b in ends]))

    def _solved_ohm(self, a: int, b: int) -> float:
        rhs = np.zeros(self._n + 1)
        rhs[a] += 1.0
        rhs[b] -= 1.0
        x = np.append(self._factors.solve(rhs[: self._n]), 0.0)
        return float(x[a] - x[b])

    def _selected_ohm(self, a: int, b: int) -> float:
        z = self._selected
        assert z is not None
        if self._n in (a, b):
            other = a if b == self._n else b
            return z.entry(other, other) if other != self._n else 0.0
        return z.entry(a, a) + z.entry(b, b) - 2.0 * z.entry(a, b)

    def branch_amps(self, voltages: Mapping[str, float]) -> Floats:
        """The current of every resistor, from a to b, at these node voltages."""
        r = self.circuit.resistors
        drop = np.array([voltages[x.a] - voltages[x.b] for x in r])
        amps: Floats = drop / np.array([x.ohm for x in r], dtype=np.float64)
        return amps
