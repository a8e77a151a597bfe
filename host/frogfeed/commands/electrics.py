"""`frogfeed electrics`: volts, short-circuit currents and budgets in numbers."""

from __future__ import annotations

import json
from dataclasses import asdict
from pathlib import Path

import click

from frogfeed.commands.shared import format_option, layout_argument, open_network


@click.command("electrics")
@layout_argument
@format_option()
def command(file: Path, form: str) -> None:
    """Volts under load, currents of a short and servo budgets: the numbers behind what check says of wires."""
    from frogfeed.electrics.circuit import USUAL
    from frogfeed.electrics.report import report, report_json, report_text
    from frogfeed.electrics.survey import survey
    from frogfeed.plan.budget import servo_budget
    from frogfeed.plan.model import PlanRefusedError
    from frogfeed.plan.paths import output_paths
    from frogfeed.plan.planner import make_plan

    layout, network = open_network(file, form)
    try:
        plan = make_plan(layout, network)
    except PlanRefusedError:
        plan = None
    reports = report(layout, survey(layout, network, USUAL if plan is None else output_paths(plan)))
    budgets = [servo_budget(b) for b in plan.boards] if plan is not None else []
    if form == "json":
        data = {"districts": report_json(reports), "servos": [asdict(b) for b in budgets]}
        click.echo(json.dumps(data, indent=1))
        return
    click.echo(report_text(reports), nl=False)
    for b in budgets:
        click.echo(
            f"Board {b.board}: {b.servos} servos, {b.at_once} at a time: {b.starting_a:.1f} A as they start, "
            f"{b.moving_a:.1f} A moving, of {b.supply_a:g} A; all thrown in {b.stagger_ms / 1000:.1f} s"
        )
    if plan is None:
        click.echo("No plan fits the boards, so outputs are reckoned at usual values; `frogfeed check` says why.")
