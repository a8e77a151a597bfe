"""`frogfeed pull`: the layout file back from a board."""

from __future__ import annotations

from pathlib import Path

import click

from frogfeed.board.recover import recover
from frogfeed.commands.link import connected, port_options
from frogfeed.commands.shared import USAGE, fail
from frogfeed.layout.atomic import create_file


@click.command("pull")
@click.option("-o", "--output", type=click.Path(path_type=Path, dir_okay=False), required=True, help="File to write.")
@port_options
def command(output: Path, port: str | None, serial: str | None) -> None:
    """Get the layout file that a board keeps. Nothing is overwritten."""
    if output.exists():
        fail(f"{output} is there already, and was left as it is. Choose another name.", USAGE)
    with connected(port, serial) as client:
        found = recover(client)
    data = found.trimmed.encode("utf-8")
    try:
        create_file(output, data)
    except OSError as e:
        fail(f"{output} could not be written: {e.strerror}.", USAGE)
    trims = f", with {len(found.trims)} trimmed servo ends" if found.trims else ""
    click.echo(f"Wrote {output}: {len(data)} bytes{trims}.")
    if not found.fits:
        click.echo("The settings in force on the board were built from another version of this file.", err=True)
