"""The circuit as a SPICE deck that ngspice runs as it is: `ngspice -b deck.cir`."""

from __future__ import annotations

from collections.abc import Mapping

from frogfeed.electrics.circuit import USUAL, Circuit, OutputPaths, build_circuit
from frogfeed.electrics.practice import LEAK_OHM
from frogfeed.layout.model import Layout
from frogfeed.parts.spelling import printable_ascii
from frogfeed.track.network.model import RailNetwork


def spice_deck(
    layout: Layout,
    network: RailNetwork,
    settings: Mapping[str, str],
    outputs: OutputPaths = USUAL,
    loads: Mapping[tuple[str, str], float] | None = None,
) -> str:
    """The deck of a layout at these settings; `loads` are amperes drawn between two rails."""
    when = ", ".join(f"{d}={s}" for d, s in settings.items())
    title = f"{layout.file.layout.name} at {when}" if when else layout.file.layout.name
    return deck(build_circuit(layout, network, settings, outputs), title, loads)


def node_numbers(circuit: Circuit) -> dict[str, int]:
    """The deck's number of every node; the reference is 0."""
    others = [n for n in circuit.nodes if n != circuit.reference]
    return {circuit.reference: 0} | {n: i for i, n in enumerate(others, start=1)}


def deck(circuit: Circuit, title: str, loads: Mapping[tuple[str, str], float] | None = None) -> str:
    """The deck of a circuit: an operating point, which ngspice prints node by node in batch mode."""
    number = node_numbers(circuit)
    lines = [f"* {printable_ascii(title)}", "* node numbers:"]
    lines += [f"*   {i} {printable_ascii(name)}" for name, i in number.items()]
    for i, r in enumerate(circuit.resistors, start=1):
        what = printable_ascii(f"{r.part.value} {r.thing}")
        lines.append(f"R{i} {number[r.a]} {number[r.b]} {r.ohm:.12g} ; {what}")
    top = len(number)
    for i, s in enumerate(circuit.sources, start=1):
        inner = top - 1 + i
        lines.append(f"V{i} {inner} {number[s.minus]} DC {s.volts:.12g} ; supply of {printable_ascii(s.district)}")
        lines.append(f"RS{i} {inner} {number[s.plus]} {s.ohm:.12g}")
    lines += [f"RL{i} {i} 0 {LEAK_OHM:g}" for name, i in number.items() if i]
    for i, ((a, b), amps) in enumerate((loads or {}).items(), start=1):
        lines.append(f"I{i} {number[a]} {number[b]} DC {amps:.12g}")
    lines += [".options reltol=1e-6 gmin=1e-15 numdgt=9", ".op"]
    return "\n".join([*lines, ".end", ""])
