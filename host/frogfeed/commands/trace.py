"""`frogfeed trace`: what lies between the supply and a rail."""

from __future__ import annotations

import difflib
import json
from pathlib import Path

import click

from frogfeed.commands.netlist import parse_when
from frogfeed.commands.shared import FINDINGS, USAGE, fail, format_option, layout_argument, open_network
from frogfeed.track.meter.trace import trace


@click.command("trace")
@layout_argument
@click.argument("rail")
@click.option("--when", "when_text", help='Settings, as "T1=left,T2=right"; the others stand at their first.')
@format_option()
def command(file: Path, rail: str, when_text: str | None, form: str) -> None:
    """Everything between the supply and RAIL (such as T1.VL), in the order to put the meter on it."""
    layout, network = open_network(file, form)
    settings = parse_when(when_text, network)
    own = [r for r, piece in network.piece_of.items() if piece == rail]
    if own:
        fail(f"{rail} has more than one rail; name one: {', '.join(own)}.", USAGE)
    if rail not in network.piece_of:
        near = difflib.get_close_matches(rail, network.rails, 3)
        hint = f" Did you mean {', '.join(near)}?" if near else ""
        fail(f"No rail is called {rail!r}.{hint} Rails are named by piece and rail, as T1.VL or siding.R1.", USAGE)
    found = trace(network, rail, settings)
    if form == "json":
        ways = {w: [{"from": s.a, "to": s.b, "through": s.what} for s in steps] for w, steps in found.ways.items()}
        click.echo(json.dumps({"rail": rail, "settings": settings, "ways": ways}, indent=1))
    else:
        for wire, steps in found.ways.items():
            volts = layout.file.district[network.wires[wire].district].volts
            supply = f" ({volts:g} V between its wires A and B)" if volts else ""
            click.echo(f"{rail} from {wire}{supply}:")
            click.echo(f"   supply off, one lead on {wire} at the supply, the other moved outward: each reads closed")
            if volts:
                partner = f"{network.wires[wire].district}.{'B' if wire.endswith('A') else 'A'}"
                click.echo(
                    f"   supply on, one lead on {partner} at the supply, nothing on the track: each reads {volts:g} V"
                )
            for n, s in enumerate(steps, 1):
                click.echo(f"  {n:2} [ ] {s.b:<16} through {s.what} from {s.a}")
        if not found.ways:
            click.echo(f"Nothing feeds {rail} at these settings.")
        if len(found.ways) > 1:
            click.echo(f"{rail} is joined to {len(found.ways)} bus wires at these settings: a short.")
    raise SystemExit(0 if len(found.ways) == 1 else FINDINGS)
