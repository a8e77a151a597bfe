"""A layout's wires and rails as a linear circuit, for given settings."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from enum import StrEnum

from frogfeed.electrics import practice
from frogfeed.electrics.lengths import rail_lengths
from frogfeed.layout.model import Layout
from frogfeed.layout.schema import Control, District
from frogfeed.parts import rails, wires
from frogfeed.track.network.conditions import holds
from frogfeed.track.network.model import BondKind, RailNetwork


class Part(StrEnum):
    """What a resistance is, for those who size it or look for the weakest."""

    BUS = "bus"
    DROPPER = "dropper"
    FEED_WIRE = "feed wire"
    SWITCH = "switched output"
    RAIL = "rail and joint"
    BLADE = "blade contact"
    BOND = "bond"
    COMMON = "common"
    REFERENCE = "reference"


@dataclass(frozen=True, slots=True)
class Resistor:
    """A resistance between two nodes. `size` is the conductor of a wire, `thing` the dropper or output it
    is of.
    """

    a: str
    b: str
    ohm: float
    part: Part
    size: str | None = None
    thing: str = ""


@dataclass(frozen=True, slots=True)
class Source:
    """A district's supply: `volts` behind `ohm`, from the root of bus wire B to that of A."""

    district: str
    plus: str
    minus: str
    volts: float
    ohm: float


@dataclass(frozen=True)
class Circuit:
    """Nodes, resistances and sources. `reference` is the node from which voltages are measured.

    A rail's node carries the rail's own name and stands for its middle; bus nodes are `main.A`, `main.A#1`,
    ... from the supply outwards.
    """

    nodes: tuple[str, ...]
    resistors: tuple[Resistor, ...]
    sources: tuple[Source, ...]
    reference: str


def supply_volts(layout: Layout, district: District) -> float:
    """A supply's volts: as stated, else the nominal of the control and gauge."""
    if district.volts is not None:
        return district.volts
    if layout.file.layout.control is Control.DC:
        return practice.DC_VOLTS.value
    small = layout.file.layout.gauge in ("N", "N-fine", "9", "6.5")
    return practice.DCC_VOLTS_N.value if small else practice.DCC_VOLTS.value


@dataclass(frozen=True, slots=True)
class OutputPath:
    """What lies between the bus and a frog: the output's own resistance, and the wire from it."""

    ohm: float = practice.CONTACT_OHM.value
    mm: float = practice.FEED_MM.value


OutputPaths = Mapping[str, OutputPath]
"""By output; one that is not in it has the usual path."""

USUAL: OutputPaths = {}


@dataclass(frozen=True, slots=True)
class Sizes:
    """Conductor sizes that differ from the file's, for proposals: bus by district, one dropper size for
    all.
    """

    bus: Mapping[str, str]
    dropper: str | None = None


AS_STATED = Sizes({})


def build_circuit(
    layout: Layout,
    network: RailNetwork,
    settings: Mapping[str, str],
    outputs: OutputPaths = USUAL,
    celsius: float = practice.COLD_C,
    sizes: Sizes = AS_STATED,
) -> Circuit:
    """The circuit at these settings (every drive of the network) and this temperature of the copper."""
    resistors = [
        *_buses(layout, network, celsius, sizes),
        *_droppers(layout, network, celsius, sizes),
        *_switched(layout, network, settings, outputs, celsius),
        *_rails(layout, network, settings, celsius),
    ]
    sources = []
    for name, d in layout.file.district.items():
        ohm = max(d.internal_ohm, practice.LEAST_OHM)
        sources.append(Source(name, f"{name}.A", f"{name}.B", supply_volts(layout, d), ohm))
    reference = sources[0].minus
    for s in sources[1:]:
        resistors.append(Resistor(s.minus, reference, practice.FLOAT_OHM, Part.REFERENCE))
    for pair in network.commons:
        a, b = sorted(pair)
        resistors.append(Resistor(f"{a}.B", f"{b}.B", practice.COMMON_OHM.value, Part.COMMON))
    nodes = dict.fromkeys([s.minus for s in sources] + [s.plus for s in sources])
    nodes |= dict.fromkeys(n for r in resistors for n in (r.a, r.b))
    nodes |= dict.fromkeys(network.rails)
    return Circuit(tuple(nodes), tuple(resistors), tuple(sources), reference)


def taps(network: RailNetwork) -> dict[str, list[tuple[str, object]]]:
    """The droppers of each district in the order of the file: those at one place tap the bus together."""
    found: dict[str, dict[tuple[str, object], None]] = {}
    for n, f in enumerate(network.feeds):
        district = network.wires[f.wire].district
        found.setdefault(district, {})[district, f.at if f.at is not None else n] = None
    return {d: list(keys) for d, keys in found.items()}


def _tap_numbers(network: RailNetwork) -> dict[tuple[str, object], tuple[int, int]]:
    return {key: (n, len(keys)) for keys in taps(network).values() for n, key in enumerate(keys, start=1)}


def _buses(layout: Layout, network: RailNetwork, celsius: float, sizes: Sizes) -> Iterator[Resistor]:
    """Both bus wires of each district, its droppers evenly along them in the order of the file."""
    for name, keys in taps(network).items():
        d = layout.file.district[name]
        size = sizes.bus.get(name, d.bus_wire)
        step = wires.wire(size).ohm_per_m_at(celsius) * d.bus_mm / 1000.0 / len(keys)
        for side in ("A", "B"):
            for n in range(1, len(keys) + 1):
                before = f"{name}.{side}" if n == 1 else f"{name}.{side}#{n - 1}"
                ohm = max(step, practice.LEAST_OHM)
                yield Resistor(before, f"{name}.{side}#{n}", ohm, Part.BUS, size, name)


def _droppers(layout: Layout, network: RailNetwork, celsius: float, sizes: Sizes) -> Iterator[Resistor]:
    numbers = _tap_numbers(network)
    for n, f in enumerate(network.feeds):
        wire = network.wires[f.wire]
        tap, _ = numbers[wire.district, f.at if f.at is not None else n]
        size = sizes.dropper or f.size or layout.file.layout.dropper_wire
        mm = practice.DROPPER_MM.value if f.mm is None else f.mm
        ohm = max(wires.wire(size).ohm_per_m_at(celsius) * mm / 1000.0, practice.LEAST_OHM)
        yield Resistor(f"{f.wire}#{tap}", f.rail, ohm, Part.DROPPER, size, f.rail)


def _switched(
    layout: Layout, network: RailNetwork, settings: Mapping[str, str], outputs: OutputPaths, celsius: float
) -> Iterator[Resistor]:
    """Where a table row holds: the bus's far end, the output's contact, and the wire to the frog."""
    ends = {d: len(keys) for d, keys in taps(network).items()}
    size = layout.file.layout.dropper_wire
    for s in network.switched:
        row = next((r for r in s.rows if holds(r.when, settings)), None)
        if row is None:
            continue
        district = network.wires[row.wire].district
        tap = f"{row.wire}#{ends[district]}" if ends.get(district) else row.wire
        node = f"{s.output}@{row.wire}"
        path = outputs.get(s.output, OutputPath())
        yield Resistor(tap, node, max(path.ohm, practice.LEAST_OHM), Part.SWITCH, None, s.output)
        ohm = wires.wire(size).ohm_per_m_at(celsius) * path.mm / 1000.0
        yield Resistor(node, s.rail, ohm, Part.FEED_WIRE, size, s.output)


def _rails(layout: Layout, network: RailNetwork, settings: Mapping[str, str], celsius: float) -> Iterator[Resistor]:
    """Half of each rail to where it meets the next, plus what joins them."""
    per_mm = rails.rail(layout.file.layout.rail_code).ohm_per_m.value / 1000.0
    length = rail_lengths(layout, network)
    between: dict[frozenset[str], float] = {}
    for j in network.joints:
        for pair in (j.left, j.right):
            between[frozenset(pair)] = j.mm
    bond_wire = wires.wire(layout.file.layout.dropper_wire).ohm_per_m_at(celsius)
    extra = {
        BondKind.JOINER: practice.JOINER_OHM.value,
        BondKind.UNTRUSTED: practice.UNTRUSTED_OHM.value,
        BondKind.CASTING: practice.CASTING_OHM.value,
        BondKind.LINK: practice.LINK_OHM.value,
        BondKind.BLADE: bond_wire * practice.BOND_MM.value / 1000.0,
        BondKind.FROG: bond_wire * practice.BOND_MM.value / 1000.0,
        BondKind.SECTION: bond_wire * practice.BOND_MM.value / 1000.0,
        BondKind.COMMON: practice.COMMON_OHM.value,
    }
    for b in network.bonds:
        halves = per_mm * (length.get(b.a, 0.0) + length.get(b.b, 0.0)) / 2.0
        mm = between.get(frozenset((b.a, b.b)), 0.0)
        wire = b.kind in (BondKind.BLADE, BondKind.FROG, BondKind.SECTION)
        yield Resistor(
            b.a, b.b, halves + per_mm * mm + extra[b.kind], Part.BOND if wire else Part.RAIL, None, b.kind.value
        )
    for c in network.contacts:
        if holds(c.when, settings):
            halves = per_mm * (length.get(c.a, 0.0) + length.get(c.b, 0.0)) / 2.0
            yield Resistor(c.a, c.b, halves + practice.BLADE_OHM.value, Part.BLADE, None, c.b)
