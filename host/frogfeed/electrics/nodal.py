"""Nodal analysis of a circuit: node voltages, and for any pair of nodes the open voltage and the resistance
behind it.

The conductance matrix is sparse and positive definite, so one factorisation serves any number of loads.
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

Floats = npt.NDArray[np.float64]
BATCH = 256


class Thevenin(NamedTuple):
    """Of each pair of nodes: the volts between them without a load, and the ohms behind them."""

    volts: Floats
    ohms: Floats


class Nodal:
    """A circuit, factorised. Voltages are from the circuit's reference."""

    def __init__(self, circuit: Circuit) -> None:
        self.circuit = circuit
        reference = circuit.reference
        others = [n for n in circuit.nodes if n != reference]
        self._index: dict[str, int] = {n: i for i, n in enumerate(others)}
        self._index[reference] = len(others)
        n = len(others)
        rows: list[int] = []
        cols: list[int] = []
        values: list[float] = []
        self._injected = np.zeros(n + 1)
        for a, b, g in self._conductances():
            rows += [a, b, a, b]
            cols += [a, b, b, a]
            values += [g, g, -g, -g]
        for s in circuit.sources:
            self._injected[self._index[s.plus]] += s.volts / s.ohm
            self._injected[self._index[s.minus]] -= s.volts / s.ohm
        rows += range(n)
        cols += range(n)
        values += [1.0 / LEAK_OHM] * n
        matrix = coo_array((values, (rows, cols)), shape=(n + 1, n + 1)).tocsc()
        self._solve = splu(matrix[:n, :n], permc_spec="MMD_AT_PLUS_A", options={"SymmetricMode": True}).solve
        self._n = n

    def _conductances(self) -> list[tuple[int, int, float]]:
        c = self.circuit
        found = [(self._index[r.a], self._index[r.b], 1.0 / r.ohm) for r in c.resistors]
        return found + [(self._index[s.plus], self._index[s.minus], 1.0 / s.ohm) for s in c.sources]

    def voltages(self, loads: Mapping[tuple[str, str], float] | None = None) -> dict[str, float]:
        """Every node's voltage; `loads` are amperes drawn from the first node of a pair into the second."""
        injected = self._injected.copy()
        for (a, b), amps in (loads or {}).items():
            injected[self._index[a]] -= amps
            injected[self._index[b]] += amps
        solved = np.append(self._solve(injected[: self._n]), 0.0)
        return {node: float(solved[i]) for node, i in self._index.items()}

    def thevenin(self, pairs: Sequence[tuple[str, str]]) -> Thevenin:
        """Open voltage and resistance of each pair, from one factorisation."""
        open_volts = np.append(self._solve(self._injected[: self._n]), 0.0)
        a = np.array([self._index[p] for p, _ in pairs], dtype=np.int64)
        b = np.array([self._index[q] for _, q in pairs], dtype=np.int64)
        ohms = np.zeros(len(pairs))
        for start in range(0, len(pairs), BATCH):
            stop = min(start + BATCH, len(pairs))
            k = np.arange(stop - start)
            rhs = np.zeros((self._n + 1, stop - start))
            np.add.at(rhs, (a[start:stop], k), 1.0)
            np.add.at(rhs, (b[start:stop], k), -1.0)
            x = np.vstack([self._solve(rhs[: self._n]), np.zeros((1, stop - start))])
            ohms[start:stop] = x[a[start:stop], k] - x[b[start:stop], k]
        return Thevenin(open_volts[a] - open_volts[b], ohms)

    def branch_amps(self, voltages: Mapping[str, float]) -> Floats:
        """The current of every resistor, from a to b, at these node voltages."""
        r = self.circuit.resistors
        drop = np.array([voltages[x.a] - voltages[x.b] for x in r], dtype=np.float64)
        amps: Floats = drop / np.array([x.ohm for x in r], dtype=np.float64)
        return amps
