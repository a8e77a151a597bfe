"""`frogfeed new`: a commented starting file."""

from __future__ import annotations

from pathlib import Path

import click

from frogfeed.commands.shared import USAGE, fail, layout_argument
from frogfeed.layout.starter import write_starter


@click.command("new")
@layout_argument
def command(file: Path) -> None:
    """Write a commented starting layout file that checks clean. Nothing is overwritten."""
    try:
        write_starter(file)
    except FileExistsError:
        fail(f"{file} is there already, and was left as it is. Choose another name.", USAGE)
    except OSError as e:
        fail(f"{file} could not be written: {e.strerror}. Choose a folder that you may write to.", USAGE)
    click.echo(f"Wrote {file}. Next: frogfeed check {file}")
