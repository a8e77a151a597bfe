"""`frogfeed trim`: servo ends set live and saved in the layout file."""

from __future__ import annotations

from pathlib import Path

import click

from frogfeed.commands.seat import seated
from frogfeed.commands.shared import USAGE, fail
from frogfeed.console.terminal import set_ends, trim_drive


@click.command("trim")
@click.argument("file", type=click.Path(path_type=Path, dir_okay=False))
@click.argument("drive")
@click.option("--set", "ends", multiple=True, help="Without questions: SETTING=MICROSECONDS, for each end.")
@click.option("--save", is_flag=True, help="With --set: save into the layout file as well.")
@click.option("--port", "ports", multiple=True, help="Serial port of the board, or BOARD=PORT; else found by itself.")
@click.option("--bench", is_flag=True, help="Virtual boards instead of real ones.")
def command(file: Path, drive: str, ends: tuple[str, ...], save: bool, ports: tuple[str, ...], bench: bool) -> None:
    """Trim the servo of DRIVE in FILE while you watch its blades. Comments in the file are kept.

    Where a console runs on FILE, both show the same.
    """
    wanted: dict[str, int] = {}
    for text in ends:
        setting, _, pulse = text.partition("=")
        if not pulse.isdigit():
            fail(f"--set {text}: say it as left=1450, in microseconds.", USAGE)
        wanted[setting] = int(pulse)
    with seated(file, ports, bench) as (seat, railway):
        if drive not in railway.network.drives:
            near = ", ".join(railway.network.drives)
            fail(f"No drive is called {drive!r}; there are {near}.", USAGE)
        if wanted:
            set_ends(seat, drive, wanted)
            if save:
                seat.ask("trim.save", drive=drive)
            shown = seat.ask("trim.show", drive=drive)
            for setting, end in zip(shown["settings"], shown["ends"], strict=True):
                click.echo(f"{drive} {setting}: {end} µs")
            return
        saved = trim_drive(
            seat, drive, click.echo, lambda text: click.prompt(text, prompt_suffix="", default="", show_default=False)
        )
        click.echo("Saved." if saved else "Nothing was saved; the board keeps its trims until new settings come.")
