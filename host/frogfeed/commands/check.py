"""`frogfeed check`: everything that is wrong with a layout."""

from __future__ import annotations

from pathlib import Path

import click

from frogfeed.checking import all_findings
from frogfeed.commands.shared import exit_code, format_option, layout_argument, open_network, show


@click.command("check")
@layout_argument
@format_option("sarif")
def command(file: Path, form: str) -> None:
    """Say what is wrong with a layout, where, why it matters and what cures it.

    Answers hold for all settings of all drives at once. Ends with 0 when clean (notes are allowed), 1 on errors and
    warnings, 2 where the file is broken.
    """
    layout, network = open_network(file, form)
    found = tuple(all_findings(layout, network))
    show(found, form)
    raise SystemExit(exit_code(found))
