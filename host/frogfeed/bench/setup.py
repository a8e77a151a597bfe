"""From a layout and its plan to a scenario for the bench: the physical figures that the file states."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from frogboard import settings as board_settings

from frogfeed.bench.errors import BenchError
from frogfeed.bench.physical import DEFAULT_THROW_MM, OutputPhysics, Physical, TrackPhysics, drive_physics
from frogfeed.bench.scenario import build_scenario
from frogfeed.layout.model import Layout
from frogfeed.layout.schema import Drive
from frogfeed.track.netlist import netlist
from frogfeed.track.network import RailNetwork


def physical_of(
    layout: Layout,
    network: RailNetwork,
    throw_mm: float = DEFAULT_THROW_MM,
    outputs: Mapping[str, OutputPhysics] | None = None,
) -> Physical:
    """What the layout file says of drives and lengths, for the physics; `throw_mm` where it says no blade throw."""
    file = layout.file
    lengths = {n: p.length_mm for n, p in file.pieces().items() if p.length_mm is not None}
    lengths |= {n: p.length_mm for n, p in file.place.items() if p.length_mm is not None}
    return Physical(
        drives={d: drive_physics(file.drive.get(d) or Drive(), throw_mm) for d in network.drives},
        outputs=outputs or {},
        track=TrackPhysics(road_mm=lengths),
        in_phase=tuple(network.in_phase),
        commons=tuple(network.commons),
    )


def opened(document: bytes) -> Mapping[str, Any]:
    """A settings document with its defaults filled in. Raises BenchError where the firmware would refuse it."""
    content, reason = board_settings.load(document)
    if content is None:
        raise BenchError(f"the settings document is not valid: {reason}")
    found: Mapping[str, Any] = content
    return found


def scenario_of(
    layout: Layout, network: RailNetwork, documents: Sequence[bytes], physical: Physical | None = None, seed: int = 1
) -> dict[str, Any]:
    """The scenario of a layout's boards on its own railway."""
    return build_scenario(
        netlist(network), [opened(d) for d in documents], physical or physical_of(layout, network), seed=seed
    )
