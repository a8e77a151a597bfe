"""`frogfeed demo`: the whole job on the demo railway."""

from __future__ import annotations

import json
import time

import click

from frogfeed.bench.errors import BenchError
from frogfeed.board.errors import BoardError
from frogfeed.checking import all_findings
from frogfeed.commands.shared import BOARD, FINDINGS, fail, open_network, show
from frogfeed.demo.railway import WRONG, demo_file, prepare
from frogfeed.demo.report import HEAD, NEXT, as_json, details, rows, verdict
from frogfeed.demo.run import run_throws
from frogfeed.findings.finding import Severity
from frogfeed.layout.reading import read_layout
from frogfeed.track.assembly.assemble import assemble


@click.command("demo")
@click.option("--quiet", is_flag=True, help="Only the verdict.")
@click.option("--json", "as_data", is_flag=True, help="The throws as JSON.")
@click.option("--seed", type=int, default=1, show_default=True, help="Seed of the bench's chance.")
def command(quiet: bool, as_data: bool, seed: int) -> None:
    """The whole job on Saltmarsh Quay, an invented harbour branch, with a virtual board.

    Checks and plans the railway, starts the bench with the real firmware, pushes the settings, and throws everything
    both ways while trains run over it. Ends with 1 where the bench saw a spark or a dead wheel.
    """
    talk = not (quiet or as_data)
    started = time.monotonic()
    file = demo_file()
    layout, network = open_network(file)
    findings = tuple(all_findings(layout, network))
    bad = [f for f in findings if f.severity is not Severity.NOTE]
    if talk:
        click.echo(
            f"1 Check   {layout.file.layout.name}: {len(network.rails)} rails, {len(network.drives)} drives, all "
            f"settings proven; {len(bad)} errors and warnings, {len(findings)} findings in all."
        )
    if bad:
        show(bad, "text")
        raise SystemExit(FINDINGS)
    ready = prepare(file)
    if talk:
        for board in ready.plan.boards:
            click.echo(
                f"2 Plan    board {board.name} ({board.profile.name}): {len(board.drives)} drives, "
                f"{len(board.feeds)} switched feeds, {ready.plan.optimum.wire_mm / 1000:.1f} m of wire."
            )
        for name, data in ready.documents.items():
            click.echo(f"3 Build   settings for {name}: {len(data)} bytes.")
    reports = []

    def begun(interpreter: str) -> None:
        click.echo(f"4 Bench   settings pushed; the firmware runs on {interpreter}, in virtual time.\n\n{HEAD}")

    try:
        for report in run_throws(ready, seed, begun if talk else None):
            reports.append(report)
            if talk:
                click.echo("\n".join([*rows(report), *details(report)]))
    except (BenchError, BoardError) as e:
        fail(str(e), BOARD)
    if as_data:
        click.echo(json.dumps(as_json(reports), indent=1))
    else:
        click.echo(("\n" if talk else "") + verdict(reports))
    if talk:
        click.echo("Times count from when horn or relay first moves; the window is when the feed is off, as planned.")
        click.echo(f"That took {time.monotonic() - started:.1f} s.\n")
        wrong = read_layout(demo_file(WRONG))
        found = tuple(all_findings(wrong, assemble(wrong)))
        serious = [f for f in found if f.severity is not Severity.NOTE]
        click.echo(f"The same railway with six mistakes ({demo_file(WRONG)}):\n")
        show(serious, "text")
        click.echo("\n" + NEXT)
    raise SystemExit(0 if all(r.clean for r in reports) else FINDINGS)
