"""Wire sizes that would do: bus and droppers of a district, the least copper first."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from frogfeed.electrics import practice
from frogfeed.electrics.circuit import OutputPaths, Sizes, build_circuit
from frogfeed.electrics.nodal import Nodal
from frogfeed.electrics.survey import Spot
from frogfeed.layout.model import Layout
from frogfeed.parts import wires
from frogfeed.track.network.model import RailNetwork


@dataclass(frozen=True, slots=True)
class Proposal:
    """Sizes of the bus and of all droppers that meet the need, and what they would cost in copper, mm³."""

    bus: str
    dropper: str
    copper_mm3: float


def best_sizes(
    layout: Layout,
    network: RailNetwork,
    outputs: OutputPaths,
    district: str,
    spots: Sequence[Spot],
    needed_a: float | None = None,
    most_ohm: float | None = None,
) -> Proposal | None:
    """The sizes with the least copper, none thinner than stated, at which every spot's short draws `needed_a`
    and has at most `most_ohm` of wire and rail behind it. None where no size in the table does.
    """
    d = layout.file.district[district]
    stated_bus, stated_dropper = wires.wire(d.bus_wire), wires.wire(layout.file.layout.dropper_wire)
    droppers = [f for f in network.feeds if network.wires[f.wire].district == district]
    dropper_mm = sum(practice.DROPPER_MM.value if f.mm is None else f.mm for f in droppers)

    def ladder(stated: wires.Wire) -> list[wires.Wire]:
        return [stated, *(w for w in wires.METRIC if w.area_mm2 > stated.area_mm2)]

    def good(bus: wires.Wire, dropper: wires.Wire) -> bool:
        sizes = Sizes({district: bus.name}, dropper.name)
        for spot in spots:
            circuit = build_circuit(layout, network, spot.settings, outputs, practice.HOT_C, sizes)
            found = Nodal(circuit).thevenin([(spot.left, spot.right)])
            volts, ohms = abs(float(found.volts[0])), float(found.ohms[0])
            if needed_a is not None and volts / ohms < needed_a:
                return False
            if most_ohm is not None and ohms - max(d.internal_ohm, practice.LEAST_OHM) > most_ohm:
                return False
        return True

    choices = sorted(
        (
            Proposal(b.name, w.name, 2.0 * d.bus_mm * b.area_mm2 + dropper_mm * w.area_mm2)
            for b in ladder(stated_bus)
            for w in ladder(stated_dropper)
        ),
        key=lambda p: p.copper_mm3,
    )
    if not good(ladder(stated_bus)[-1], ladder(stated_dropper)[-1]):
        return None
    return next((p for p in choices if good(wires.wire(p.bus), wires.wire(p.dropper))), None)


def propose(
    layout: Layout,
    network: RailNetwork,
    outputs: OutputPaths,
    district: str,
    spots: Sequence[Spot],
    needed_a: float | None = None,
    most_ohm: float | None = None,
) -> str:
    """The cure in words."""
    found = best_sizes(layout, network, outputs, district, spots, needed_a, most_ohm)
    if found is None:
        return "no wire size alone would do: add droppers nearer to it, or bond loose joiners"
    d = layout.file.district[district]
    parts = []
    if found.bus != d.bus_wire:
        parts.append(f"a bus of {_size(found.bus)} (now {_size(d.bus_wire)})")
    if found.dropper != layout.file.layout.dropper_wire:
        parts.append(f"droppers of {_size(found.dropper)} (now {_size(layout.file.layout.dropper_wire)})")
    return "use " + " and ".join(parts) if parts else "bring the droppers to the stated size"


def _size(name: str) -> str:
    return name if name.startswith("AWG") else f"{name} mm²"
