"""A railway brought to the bench for long runs and for faults: layout, plan, settings, boards, clients, trains."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from frogfeed.bench.bench import Bench
from frogfeed.bench.circuit import Circuit, build_circuit
from frogfeed.bench.physical import Physical, TrackPhysics
from frogfeed.bench.route import LOCO, Vehicle, lay, legs, train_spec
from frogfeed.bench.setup import physical_of, scenario_of, track_of
from frogfeed.bench.shapes import TrainSpec
from frogfeed.layout.model import Layout
from frogfeed.layout.reading import read_layout_text
from frogfeed.plan.model import Plan
from frogfeed.plan.planner import make_plan
from frogfeed.plan.settings import build_settings
from frogfeed.track.assembly.assemble import assemble
from frogfeed.track.network.model import RailNetwork
from frogfeed.track.network.netlist import netlist

SETTINGS_FILE = "data/settings.0"
"""Where the firmware keeps its first settings: a board that was pushed to has them there."""


def yard_layout(turnouts: int, profile: str = "expander", control: str = "dc") -> str:
    """A layout file: a ladder of live-frog turnouts, a siding on each.

    By turns their frogs are isolated (blades bonded) and unconverted (links in, blades unbonded, timing strict).
    """
    ladder = ['"shed"', '{ feed = "main", left = "A" }']
    tables: list[str] = []
    sidings: list[str] = []
    for i in range(1, turnouts + 1):
        make = 'state = "isolated-frog"' if i % 2 else 'links = "in"\nblades = "contact"\nfrog = "switched"'
        tables.append(f'[turnout.T{i}]\nmake = "live-frog"\n{make}\nfrog_number = 6\n')
        ladder += [f'"T{i}.toe"', f'"T{i}.left"', '"|"', '{ feed = "main", left = "A" }']
        sidings.append(f'road-{i} = ["T{i}.right", "|", {{ feed = "main", left = "A" }}, "stop-{i}"]')
    stops = "\n".join(f'stop-{i} = {{ kind = "buffer", length_mm = 300 }}' for i in range(1, turnouts + 1))
    return (
        f'[layout]\nname = "Long Siding"\ngauge = "OO"\ncontrol = "{control}"\n\n'
        "[district.main]\nvolts = 12.0\ntrip_a = 2.0\ntrip_ms = 100\n\n"
        + "\n".join(tables)
        + '\n[place]\nshed = { kind = "buffer", length_mm = 400 }\nfar-end = { kind = "buffer", length_mm = 400 }\n'
        + f"{stops}\n\n[lines]\nladder = [{', '.join(ladder)}, "
        + '"far-end"]\n'
        + "\n".join(sidings)
        + f'\n\n[board.B1]\nprofile = "{profile}"\n'
    )


@dataclass(frozen=True)
class Rig:
    """A railway with its plan and settings documents (by board), ready for a bench."""

    layout: Layout
    network: RailNetwork
    plan: Plan
    documents: Mapping[str, bytes]
    netlist: Mapping[str, Any]
    circuit: Circuit
    physical: Physical
    track: TrackPhysics

    def bench(self, *, seed: int = 1, pushed: bool = True, drop: Sequence[str] = (), **how: Any) -> Bench:
        """A bench with these boards, not started. `pushed`: they hold their settings already. `how` goes to `Bench`."""
        scenario = scenario_of(self.layout, self.network, list(self.documents.values()), self.physical, seed, drop=drop)
        files = {b: {SETTINGS_FILE: data} for b, data in self.documents.items()} if pushed else {}
        return Bench(scenario, files=files, **how)

    def train(
        self,
        name: str,
        roads: Sequence[str],
        vehicles: Sequence[Vehicle] = (LOCO,),
        *,
        speed_mm_per_s: float = 400.0,
        front_mm: float | None = None,
        run_off: bool = True,
    ) -> TrainSpec:
        """A train that runs along these roads (see `route.train_spec`)."""
        path = lay(self.netlist, self.circuit, legs(self.netlist, roads, self.track), self.track)
        return train_spec(name, path, vehicles, speed_mm_per_s=speed_mm_per_s, front_mm=front_mm, run_off=run_off)


def rig_of(text: str, name: str = "bench.toml") -> Rig:
    """Read, assemble, plan and build a layout. Raises what those stages raise."""
    layout = read_layout_text(text, name)
    network = assemble(layout)
    plan = make_plan(layout, network)
    documents = build_settings(layout, plan)
    nets = netlist(network)
    return Rig(
        layout,
        network,
        plan,
        documents,
        nets,
        build_circuit(nets, {}),
        physical_of(layout, network, plan=plan),
        track_of(layout),
    )
