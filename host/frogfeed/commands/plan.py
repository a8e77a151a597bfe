"""`frogfeed plan`: boards, channels, tables, and the work on each piece."""

from __future__ import annotations

import json
from pathlib import Path

import click

from frogfeed.commands.propose import show_proposal
from frogfeed.commands.shared import FINDINGS, format_option, layout_argument, open_network, planned, show
from frogfeed.plan.export import plan_to_json, read_channels
from frogfeed.plan.makeup import make_ups
from frogfeed.plan.show import show_plan


@click.command("plan")
@layout_argument
@format_option()
@click.option(
    "--keep",
    type=click.Path(path_type=Path, exists=True, dir_okay=False),
    help="An earlier plan (JSON): what is wired there stays where it can.",
)
@click.option("--from-bare", is_flag=True, help="Propose the gaps, bonds and feeds that are missing.")
@click.option(
    "-o",
    "--output",
    type=click.Path(path_type=Path, dir_okay=False),
    help="With --from-bare: write the changed file.",
)
def command(file: Path, form: str, keep: Path | None, from_bare: bool, output: Path | None) -> None:
    """Assign drives and feeds to boards and channels, and list what to cut, bond, insulate and feed."""
    layout, network = open_network(file, form)
    if from_bare or layout.file.layout.feeds == "propose":
        raise SystemExit(show_proposal(layout, form, output))
    try:
        held = read_channels(keep.read_text(encoding="utf-8")) if keep is not None else None
    except ValueError as e:
        raise click.BadParameter(f"{keep}: {e}", param_hint="--keep") from e
    plan = planned(layout, network, form, held)
    steps = make_ups(layout, network, plan)
    if form == "json":
        click.echo(json.dumps(plan_to_json(plan, steps), indent=1))
        return
    click.echo(show_plan(layout, plan, steps), nl=False)
    if plan.findings:
        show(plan.findings, form)
    raise SystemExit(FINDINGS if any(f.severity != "note" for f in plan.findings) else 0)
