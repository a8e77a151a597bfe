"""`frogfeed meter`: continuity readings that find any single wiring fault."""

from __future__ import annotations

import json
from pathlib import Path

import click

from frogfeed.commands.shared import format_option, layout_argument, open_network
from frogfeed.track.meter.readings import meter_plan


@click.command("meter")
@layout_argument
@format_option()
def command(file: Path, form: str) -> None:
    """The shortest list of continuity readings that any single wiring fault spoils. Supplies off, boards on."""
    _, network = open_network(file, form)
    plan = meter_plan(network)
    if form == "json":
        click.echo(
            json.dumps(
                {
                    "checks": [
                        {"settings": dict(c.settings), "probes": [c.probe_a, c.probe_b], "closed": c.expect_closed,
                         "finds": [str(f) for f in c.finds]}
                        for c in plan.checks
                    ],
                    "covered": plan.covered,
                    "least": plan.least,
                    "hidden": [str(f) for f in plan.hidden],
                    "alike": [[str(f) for f in g] for g in plan.alike],
                },
                indent=1,
            )
        )  # fmt: skip
        return
    proven = "no shorter list exists" if len(plan.checks) == plan.least else f"at least {plan.least} are needed"
    click.echo(f"{len(plan.checks)} readings show any one of {plan.covered} wiring faults ({proven}).")
    click.echo("Supplies off. Drives not named stand at their first setting.")
    last = None
    for n, c in enumerate(plan.checks, 1):
        if c.settings != last:
            last = c.settings
            click.echo("\n" + (", ".join(f"{d} at {s}" for d, s in c.settings) or "All drives at their first setting"))
        click.echo(f"  {n:2} [ ] {c.probe_a:<16} {c.probe_b:<16} {'closed' if c.expect_closed else 'open'}")
    if plan.hidden:
        click.echo("\nFaults that no continuity reading can show, for another way round exists:")
        for f in plan.hidden:
            click.echo(f"  {f}")
    if plan.alike:
        click.echo("\nFaults that all readings show alike:")
        for group in plan.alike:
            click.echo("  " + "; or ".join(str(f) for f in group))
