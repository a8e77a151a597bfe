"""`frogfeed check`: everything that is wrong with a layout."""

from __future__ import annotations

from pathlib import Path

import click

from frogfeed.checking import all_findings
from frogfeed.commands.shared import exit_code, format_option, layout_argument, open_network, show
from frogfeed.findings.show import worst_first


@click.command("check")
@layout_argument
@format_option("sarif")
@click.option("--notes/--no-notes", default=True, help="Show the notes, or only count them.")
def command(file: Path, form: str, notes: bool) -> None:
    """Say what is wrong with a layout, where, why it matters and what cures it; the worst first.

    Answers hold for all settings of all drives at once. Ends with 0 when clean (notes are allowed), 1 on errors and
    warnings, 2 where the file is broken.
    """
    layout, network = open_network(file, form)
    found = worst_first(all_findings(layout, network))
    show(found, form, notes=notes)
    raise SystemExit(exit_code(found))
