"""The track: seconds and MB a stage for generated railways, beside a TOML reader, SAT, and one setting alone."""

from __future__ import annotations

import gc
import tomllib

import rustworkx as rx
from pysat.solvers import Solver as Sat

from frogfeed.cli import COLLECTOR
from frogfeed.layout.reading import read_layout_text
from frogfeed.track.assembly.assemble import assemble
from frogfeed.track.network.conditions import holds
from frogfeed.track.network.model import RailNetwork
from frogfeed.track.solver.solver import Solver
from tests.benchmarks.measure import megabytes, seconds
from tests.benchmarks.railway import railway


def prove(network: RailNetwork) -> int:
    """All questions of the solver; the number of answers."""
    s = Solver(network)
    found = len(s.shorts()) + sum(1 for _ in s.dead()) + sum(1 for _ in s.clashes())
    return found + sum(1 for _ in s.no_circuit()) + sum(1 for _ in s.hangs())


def one_setting(network: RailNetwork) -> int:
    """Connected components with every drive at its first setting: no proof, one case of 2^n."""
    at = {d: s[0] for d, s in network.drives.items()}
    index = {r: i for i, r in enumerate((*network.rails, *network.wires))}
    graph = rx.PyGraph()
    graph.add_nodes_from(range(len(index)))
    edges = [(index[b.a], index[b.b]) for b in network.bonds] + [(index[f.rail], index[f.wire]) for f in network.feeds]
    edges += [(index[c.a], index[c.b]) for c in network.contacts if holds(c.when, at)]
    edges += [(index[s.rail], index[r.wire]) for s in network.switched for r in s.rows if holds(r.when, at)]
    graph.add_edges_from_no_data(edges)
    return len(rx.connected_components(graph))


def by_sat(network: RailNetwork) -> bool:
    """Whether any setting joins A to B, as reachability by propagation in a SAT solver (the shorts question only)."""
    ids: dict[object, int] = {}

    def var(key: object) -> int:
        return ids.setdefault(key, len(ids) + 1)

    with Sat(name="g4") as sat:
        for d, settings in network.drives.items():
            one = [var((d, s)) for s in settings]
            sat.add_clause(one)
            for i, a in enumerate(one):
                for b in one[i + 1 :]:
                    sat.add_clause([-a, -b])
        joins = [(b.a, b.b, ((),)) for b in network.bonds] + [(c.a, c.b, c.when) for c in network.contacts]
        joins += [(f.rail, f.wire, ((),)) for f in network.feeds]
        joins += [(s.rail, r.wire, r.when) for s in network.switched for r in s.rows]
        for a, b, when in joins:
            for t in when:
                fixed = [-var(x) for x in t]
                sat.add_clause([*fixed, -var(a), var(b)])
                sat.add_clause([*fixed, var(a), -var(b)])
        # "Carries A" spreads along joins; a short exists unless it can be kept from B at every setting. This proves
        # one setting at a time, so it asks for a setting with a closed set that holds A and leaves B out.
        for wire in network.wires.values():
            sat.add_clause([var(wire.name)] if wire.side == "A" else [-var(wire.name)])
        return bool(sat.solve())


def main() -> None:
    gc.set_threshold(*COLLECTOR)  # as the commands have it
    print("turnouts   toml s  read s  assemble s  prove s  prove/toml  1 setting/prove  sat/prove  prove MB  answers")
    per: dict[int, float] = {}
    for count in (10, 100, 1000, 10_000):
        text = railway(count)
        runs = 3 if count < 10_000 else 2
        toml_s, _ = seconds(lambda text=text: tomllib.loads(text), runs)
        read_s, layout = seconds(lambda text=text: read_layout_text(text, "generated.toml"), 1)
        assemble_s, network = seconds(lambda layout=layout: assemble(layout), runs)
        prove_s, answers = seconds(lambda network=network: prove(network), runs)
        one_s, _ = seconds(lambda network=network: one_setting(network), runs)
        sat_s, _ = seconds(lambda network=network: by_sat(network), 1)
        mb = megabytes(lambda network=network: prove(network))
        per[count] = (assemble_s + prove_s) / count
        print(
            f"{count:>8} {toml_s:>8.3f} {read_s:>7.3f} {assemble_s:>11.3f} {prove_s:>8.3f} {prove_s / toml_s:>11.2f} "
            f"{one_s / prove_s:>16.2f} {sat_s / prove_s:>10.2f} {mb:>9.1f} {answers:>8}"
        )
    print(f"time a turnout at 10,000 over that at 1,000: {per[10_000] / per[1000]:.2f}")


if __name__ == "__main__":
    main()
