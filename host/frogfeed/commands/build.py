"""`frogfeed build`: one settings document a board."""

from __future__ import annotations

from pathlib import Path

import click

from frogfeed.commands.shared import USAGE, board_settings, fail, layout_argument, open_network
from frogfeed.layout.atomic import replace_file


@click.command("build")
@layout_argument
@click.option(
    "-o", "--output", type=click.Path(path_type=Path, file_okay=False), default=Path("build"), show_default=True,
    help="Folder for the documents, one a board.",
)  # fmt: skip
def command(file: Path, output: Path) -> None:
    """Write the settings document of every board, checked by the firmware's own validator."""
    layout, network = open_network(file)
    documents = board_settings(layout, network)
    try:
        output.mkdir(parents=True, exist_ok=True)
        for board, data in documents.items():
            replace_file(output / f"{board}.json", data)
            click.echo(f"{output / board}.json: {len(data)} bytes")
    except OSError as e:
        fail(f"{output} could not be written: {e.strerror}. Choose a folder that you may write to.", USAGE)
