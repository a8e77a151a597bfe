"""`frogfeed trim`: servo ends set live and saved in the layout file."""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path

import click
from pydantic import TypeAdapter, ValidationError

from frogfeed.commands.seat import seated
from frogfeed.commands.shared import USAGE, fail
from frogfeed.console.terminal import set_ends, trim_drive
from frogfeed.layout.drives import drive_uses
from frogfeed.layout.model import Layout
from frogfeed.layout.schema import Pulse

_PULSE_US: TypeAdapter[int] = TypeAdapter(Pulse)


def drive_meant(layout: Layout, name: str, drives: Iterable[str]) -> str:
    """The drive of that name, or the one that throws the piece of that name; ends the command where there is none."""
    known = list(drives)
    if name in known:
        return name
    uses = [use.drive for (piece, _), use in drive_uses(layout.file, layout.kinds).items() if piece == name]
    if len(uses) == 1:
        click.echo(f"{name} is thrown by {uses[0]}.")
        return uses[0]
    if not uses:
        fail(f"No drive is called {name!r}; there are {', '.join(known)}.", USAGE)
    return fail(f"{name} has {len(uses)} drives: trim one of {', '.join(uses)}.", USAGE)


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
        try:
            wanted[setting] = _PULSE_US.validate_python(int(pulse))
        except ValidationError:
            fail(f"--set {text}: no servo takes such a pulse; 300 to 2700 microseconds are possible.", USAGE)
    with seated(file, ports, bench) as (seat, railway):
        drive = drive_meant(railway.layout, drive, railway.network.drives)
        if drive in railway.hand:
            fail(f"{drive} is thrown by hand: there is no servo to trim.", USAGE)
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
