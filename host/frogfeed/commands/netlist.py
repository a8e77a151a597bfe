"""`frogfeed netlist`: the rail network for outside checks."""

from __future__ import annotations

import json
from pathlib import Path

import click

from frogfeed.commands.shared import USAGE, fail, layout_argument, open_network
from frogfeed.layout.model import Layout
from frogfeed.plan.model import PlanRefusedError
from frogfeed.plan.planner import make_plan
from frogfeed.track.network.model import RailNetwork
from frogfeed.track.network.netlist import netlist


def parse_when(text: str | None, network: RailNetwork) -> dict[str, str]:
    """Settings from "T1=left,T2=right"; drives that it leaves out stand at their first setting."""
    at = {drive: settings[0] for drive, settings in network.drives.items()}
    for part in filter(None, (text or "").replace(" ", "").split(",")):
        drive, _, setting = part.partition("=")
        if drive not in at:
            fail(f"No drive is called {drive!r}; there are {', '.join(at)}.", USAGE)
        if setting not in network.drives[drive]:
            fail(f"{drive} has no setting {setting!r}; it has {', '.join(network.drives[drive])}.", USAGE)
        at[drive] = setting
    return at


def _rests(layout: Layout, network: RailNetwork) -> dict[str, str]:
    """Where outputs without an off rest, as the plan puts them; nothing where there is no plan."""
    try:
        plan = make_plan(layout, network)
    except PlanRefusedError:
        return {}
    feeds = [f for b in plan.boards for f in b.feeds if f.rest is not None]
    return {f.need.output: f"{f.need.district}.{f.rest}" for f in feeds}


@click.command("netlist")
@layout_argument
@click.option("--format", "form", type=click.Choice(["json", "spice"]), default="json", show_default=True)
@click.option("--when", "when_text", help='Settings for the SPICE deck, as "T1=left,T2=right".')
def command(file: Path, form: str, when_text: str | None) -> None:
    """Export the rail network: JSON for all settings, or a SPICE deck for the settings given."""
    layout, network = open_network(file)
    if form == "json":
        click.echo(json.dumps(netlist(network, _rests(layout, network)), indent=1))
        return
    from frogfeed.electrics.spice import spice_deck

    click.echo(spice_deck(layout, network, parse_when(when_text, network)))
