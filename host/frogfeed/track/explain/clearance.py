"""Clearances in words: treads over a short plastic frog, wheel backs against an open live blade."""

from __future__ import annotations

from collections.abc import Iterator

from frogfeed.findings.finding import Finding
from frogfeed.layout.model import Layout
from frogfeed.track.explain.phrases import told, when_text
from frogfeed.track.network.model import RailNetwork
from frogfeed.track.pieces.catalogue import kinds_of
from frogfeed.track.pieces.clearance import OpenBlade, Vee, open_blades, vees
from frogfeed.track.solver.answers import Clash
from frogfeed.track.solver.solver import Solver


def clearance_findings(layout: Layout, network: RailNetwork, solver: Solver) -> Iterator[Finding]:
    """Plastic frogs that a tread spans, or of which too little is known; open live blades that stand too near."""
    for v in vees(layout, network, kinds_of(layout)):
        if v.open is not False:
            yield from (_vee(v, c) for c in solver.clashes((v.bridge,)))
    for b in open_blades(layout, network):
        if b.opening_mm < b.needed_mm:
            yield from (_blade_back(b, c) for c in solver.clashes((b.bridge,)))


def _vee(v: Vee, c: Clash) -> Finding:
    rails = f"{c.bridge.a} and {c.bridge.b}"
    need = f"{v.reach_mm:.1f} mm" if v.reach_mm is not None else "the frog number times their sum"
    sizes = f"a flat tread of {v.tread_mm:.2f} mm on rail heads of {v.head_mm:.2f} mm reaches {need} beyond the point"
    if v.plastic_mm is not None and v.reach_mm is not None:
        code = "vee-bridged"
        what = f"A tread can join {rails} beyond the plastic of {v.piece}: {sizes}, the plastic {v.plastic_mm:g} mm."
        cure = (
            f"Lacquer over the last {v.reach_mm - v.plastic_mm:.1f} mm keeps treads off until it wears. Insulated "
            "joiners at both heels with the blades feeding make the leg that is not set dead, which ends the short "
            "and holds trains. An isolated frog fed by a switch ends it for good."
        )
    else:
        code = "vee-unknown"
        lacks = [n for n, known in (("plastic_mm", v.plastic_mm), ("frog_number", v.reach_mm)) if known is None]
        what = f"Whether a tread can join {rails} beyond the plastic is not known: {sizes}."
        cure = f"State {' and '.join(lacks)} of {v.piece}, and this is decided."
    why = f"Wheels with flat treads then short {c.wires[0]} and {c.wires[1]} {when_text(c.when)}; coned ones may not."
    return told(code, v.piece, what, why, cure, v.bridge.at, c.when, c.path)


def _blade_back(b: OpenBlade, c: Clash) -> Finding:
    return told(
        "blade-back",
        b.piece,
        f"The open blade {c.bridge.b} stands {b.opening_mm:.2f} mm off {c.bridge.a}; wheel backs need "
        f"{b.needed_mm:.2f} mm, and it carries the other polarity {when_text(c.when)}.",
        "The back of a wheel that brushes the blade shorts the supply, now with one wagon and then with another.",
        "Let the drive open the blade farther (blade_throw_mm), or bond the blades and isolate the frog.",
        b.bridge.at,
        c.when,
        c.path,
    )
