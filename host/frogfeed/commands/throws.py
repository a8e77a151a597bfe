"""`frogfeed throws`: every planned throw against time."""

from __future__ import annotations

import re
from pathlib import Path

import click

from frogfeed.commands.shared import layout_argument, open_network, planned


@click.command("throws")
@layout_argument
@click.option("--drive", "only", help="Only this drive.")
@click.option(
    "--svg", type=click.Path(path_type=Path, file_okay=False), help="Write one SVG a throw into this folder instead."
)
def command(file: Path, only: str | None, svg: Path | None) -> None:
    """Plot each throw: where the blade may be, which rail it may touch, and what the feed does meanwhile."""
    from frogfeed.plan.suit import contacts_of
    from frogfeed.throw.timeline import timeline, timeline_svg, timeline_text

    layout, network = open_network(file)
    plan = planned(layout, network, "text", None)
    if only is not None and only not in network.drives:
        raise click.BadParameter(f"no drive is called {only!r}; there are {', '.join(network.drives)}")
    count = 0
    for board in plan.boards:
        by_name = {d.need.name: d for d in board.drives}
        for feed in board.feeds:
            for move in feed.moves:
                drive = by_name[move.drive]
                if drive.linkage is None or drive.motion is None or only not in (None, move.drive):
                    continue
                contacts = contacts_of(board.profile, feed.channel)
                line = timeline(drive.linkage, drive.motion, contacts, move.window)
                names = drive.need.settings
                count += 1
                if svg is None:
                    click.echo(f"{move.drive} to {names[move.to]}: {feed.need.output}")
                    click.echo(timeline_text(line, names))
                    continue
                svg.mkdir(parents=True, exist_ok=True)
                name = re.sub(r"[^A-Za-z0-9_.-]", "_", f"{move.drive}-{names[move.to]}-{feed.need.output}.svg")
                (svg / name).write_text(timeline_svg(line, names), encoding="utf-8")
    if svg is not None:
        click.echo(f"{count} throws drawn in {svg}")
    elif not count:
        click.echo("No drive that is thrown by a servo decides a switched feed.")
