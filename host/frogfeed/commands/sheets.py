"""`frogfeed sheets`: what goes under the baseboard, printed."""

from __future__ import annotations

import datetime
from pathlib import Path

import click
from rich.progress import BarColumn, TextColumn, TimeElapsedColumn

from frogfeed.commands.bar import progress_bar
from frogfeed.commands.shared import USAGE, fail, layout_argument, open_network, planned


@click.command("sheets")
@layout_argument
@click.option(
    "-o",
    "--output",
    type=click.Path(path_type=Path, file_okay=False),
    default=Path("sheets"),
    show_default=True,
    help="Folder for the book and the single sheets.",
)
@click.option(
    "--paper", type=click.Choice(["a4", "letter"]), default="a4", show_default=True, help="Size of the paper."
)
@click.option(
    "--date",
    type=click.DateTime(["%Y-%m-%d"]),
    help="Date to print, YYYY-MM-DD; left out, none is printed and the same layout gives the same bytes.",
)
def command(file: Path, output: Path, paper: str, date: datetime.datetime | None) -> None:
    """Print the work sheets: one PDF book, a PDF of every card, and the drawings as SVG."""
    from frogfeed.sheets.make import make_book
    from frogfeed.sheets.paper import PAPERS
    from frogfeed.sheets.render import TypesettingError

    layout, network = open_network(file)
    plan = planned(layout, network)
    columns = (TextColumn("{task.description:<18}"), BarColumn(), TimeElapsedColumn())
    with progress_bar(*columns) as bar:
        task = bar.add_task("", total=1.0)

        def progress(what: str, done: float) -> None:
            bar.update(task, description=what, completed=done)

        try:
            written = make_book(
                layout, network, plan, output, PAPERS[paper], progress, date=date.date() if date is not None else None
            )
        except OSError as e:
            fail(f"{output} could not be written: {e.strerror}. Choose a folder that you may write to.", USAGE)
        except TypesettingError as e:
            fail(f"The pages could not be set: {e}", USAGE)
    click.echo(f"{written[0]}: the book. {len(written) - 1} single sheets beside it.")
