"""`frogfeed install`: the firmware onto a board."""

from __future__ import annotations

import click
from rich.progress import BarColumn, TextColumn

from frogfeed.board.errors import BoardError
from frogfeed.board.install.flow import install
from frogfeed.board.install.installer import Step
from frogfeed.board.ports import find_port
from frogfeed.commands.bar import progress_bar
from frogfeed.commands.link import port_options
from frogfeed.commands.shared import BOARD, fail
from frogfeed.commands.way import named


@click.command("install")
@port_options
@click.option("--chip", type=click.Choice(["rp2040", "rp2350"]), help="Refuse any other chip.")
def command(port: str | None, serial: str | None, chip: str | None) -> None:
    """Put the firmware on a board that runs MicroPython: only what changed, proved by hash.

    The new firmware goes into a folder of its own and is switched to last: a pulled cable leaves the old one running.
    """
    columns = (TextColumn("{task.description}"), BarColumn())
    try:
        with progress_bar(*columns) as bar:
            task = bar.add_task("", total=None)

            def show(step: Step) -> None:
                bar.update(task, description=step.words, completed=step.sent, total=step.to_send or None)

            found = install(
                lambda: find_port(device=port, serial_number=serial), chip=chip, chip_id=serial, progress=show
            )
    except BoardError as e:
        fail(str(named(e)), BOARD)
    done = found.done
    click.echo(f"Firmware {found.after.firmware} runs from {done.folder}: {done.sent_bytes} bytes sent.")
    if found.after.settings is None:
        click.echo("It holds no settings yet. Next: frogfeed push")
