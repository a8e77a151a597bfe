"""`frogfeed pull`: the layout file back from a board."""

from __future__ import annotations

from pathlib import Path

import click

from frogfeed.board.transfer import pull
from frogfeed.commands.link import connected, port_options
from frogfeed.commands.shared import BOARD, USAGE, fail
from frogfeed.layout.atomic import create_file


@click.command("pull")
@click.option("-o", "--output", type=click.Path(path_type=Path, dir_okay=False), required=True, help="File to write.")
@port_options
def command(output: Path, port: str | None, serial: str | None) -> None:
    """Get the layout file that a board keeps. Nothing is overwritten."""
    if output.exists():
        fail(f"{output} is there already, and was left as it is. Choose another name.", USAGE)
    with connected(port, serial) as client:
        found = pull(client, "layout")
    if found is None:
        fail("The board keeps no layout file: none was ever pushed to it.", BOARD)
    try:
        create_file(output, found.data)
    except OSError as e:
        fail(f"{output} could not be written: {e.strerror}.", USAGE)
    click.echo(f"Wrote {output}: {len(found.data)} bytes, CRC {found.crc32}.")
