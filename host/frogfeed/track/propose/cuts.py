"""Where districts part: every piece and place gets a district, with the fewest joints between two of them.

For two districts a minimum cut (maximum flow) is the least; for more, each district is cut off from the rest in turn
and the dearest cut is spared, which is at most 2 - 2/k times the least (isolating cuts, a known bound).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
from scipy.sparse import csr_array
from scipy.sparse.csgraph import breadth_first_order, maximum_flow

from frogfeed.layout.model import Layout
from frogfeed.track.network.model import RailNetwork


@dataclass(frozen=True, slots=True)
class Cut:
    """A district for every piece and place; `above_least` joints more than the proven least may be cut."""

    district_of: Mapping[str, str]
    above_least: int


def stated_districts(layout: Layout, network: RailNetwork) -> dict[str, str]:
    """What is sure: places that name their district, and pieces that a stated dropper stands on."""
    sure = {f.rail: f.wire.rpartition(".")[0] for f in network.feeds}
    found = {network.piece_of[rail]: district for rail, district in sure.items()}
    found |= {n: p.district for n, p in layout.file.place.items() if p.district is not None and n in network.pieces}
    return found


def part_districts(layout: Layout, network: RailNetwork) -> Cut:
    """A district for everything, following `stated_districts`; the first district takes what none claims."""
    names = list(network.pieces)
    index = {n: i for i, n in enumerate(names)}
    stated = {n: d for n, d in stated_districts(layout, network).items() if n in index}
    first = next(iter(layout.file.district))
    wanted = [d for d in layout.file.district if d in stated.values()]
    district_of = dict.fromkeys(names, wanted[0] if len(wanted) == 1 else first)
    if len(wanted) < 2:
        return Cut(district_of, 0)
    sides: dict[str, tuple[int, set[int]]] = {}
    for d in wanted:
        mine = {index[n] for n, x in stated.items() if x == d}
        others = {index[n] for n, x in stated.items() if x != d}
        sides[d] = _min_cut(network, index, mine, others)
    spared = max(wanted, key=lambda d: sides[d][0]) if len(wanted) > 2 else wanted[0]
    district_of = dict.fromkeys(names, spared)
    for d in wanted:
        if d != spared:
            for i in sides[d][1]:
                district_of[names[i]] = d
    district_of |= stated
    cut = sum(1 for j in network.joints if district_of[j.a[0]] != district_of[j.b[0]])
    least = -(-sum(value for value, _ in sides.values()) // 2)
    return Cut(district_of, max(0, cut - least))


def _min_cut(network: RailNetwork, index: Mapping[str, int], mine: set[int], others: set[int]) -> tuple[int, set[int]]:
    """The fewest joints that part two sets of pieces, and the pieces on the side of the first."""
    count = len(index) + 2
    source, sink = count - 2, count - 1
    huge = len(network.joints) + 1
    rows: list[int] = []
    columns: list[int] = []
    values: list[int] = []

    def link(a: int, b: int, capacity: int) -> None:
        rows.extend((a, b))
        columns.extend((b, a))
        values.extend((capacity, capacity))

    for j in network.joints:
        if j.a[0] != j.b[0]:
            link(index[j.a[0]], index[j.b[0]], 1)
    for i in mine:
        link(source, i, huge)
    for i in others:
        link(i, sink, huge)
    graph = csr_array((np.array(values, dtype=np.int32), (rows, columns)), shape=(count, count))
    result = maximum_flow(graph, source, sink)
    # What can still be reached from the source where capacity is left lies on its side of the cut.
    left: Any = graph - result.flow
    left.data = np.maximum(left.data, 0)
    left.eliminate_zeros()
    reached = breadth_first_order(left, source, return_predecessors=False)
    return int(result.flow_value), {int(i) for i in reached if i < source}
