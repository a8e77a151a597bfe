"""`frogfeed trim`: servo ends, live."""

from __future__ import annotations

from pathlib import Path

import click

from frogfeed.board.client import Client
from frogfeed.board.commands import throw, trim
from frogfeed.commands.link import board_of, board_option, connected, port_options
from frogfeed.commands.shared import FINDINGS, USAGE, fail, layout_argument, open_layout, show
from frogfeed.commands.throw import drive_of
from frogfeed.layout.drives import drive_settings
from frogfeed.layout.model import Layout
from frogfeed.layout.reading import BadLayout
from frogfeed.layout.writing import CannotWrite, set_values

HELP = "a number sets the pulse in µs, +N and -N move it, t throws there and back, s saves, q ends without saving"


@click.command("trim")
@layout_argument
@click.argument("name")
@click.argument("setting")
@click.option("--to", "pulse_us", type=int, help="Set this pulse (µs), save it, and end.")
@board_option
@port_options
def command(
    file: Path, name: str, setting: str, pulse_us: int | None, board: str | None, port: str | None, serial: str | None
) -> None:
    """Set the end of a servo for the SETTING of turnout or drive NAME, and save it in the layout file.

    Comments and order of the file are kept. Without --to the end is set step by step.
    """
    layout = open_layout(file)
    drive, at = drive_of(layout, name, setting)
    settings = drive_settings(layout.file).get(drive)
    if settings is None or at not in settings:
        fail(f"No drive or turnout {name} with a setting {setting}.", USAGE)
    _, known = board_of(layout, board)
    with connected(port, serial or (known if port is None else None)) as client:
        throw(client, drive, at)
        if pulse_us is not None:
            kept = trim(client, drive, at, pulse_us, keep=True)
        else:
            stepped = _step(client, drive, at, settings)
            if stepped is None:
                click.echo("Nothing was saved; the board keeps its old end after the next push or reset.")
                return
            kept = trim(client, drive, at, stepped, keep=True)
        others = {d.name: d.pulse_us for d in client.state().drives}
    _save(file, layout, drive, at, kept, others)
    click.echo(f"{drive} at {at}: {kept} µs, on the board and in {file}.")


def _step(client: Client, drive: str, at: str, settings: tuple[str, ...]) -> int | None:
    """The pulse that a person settles on; None where they leave it."""
    state = client.state().drive(drive)
    pulse = state.pulse_us if state is not None else 1500
    click.echo(f"{drive} at {at}: {pulse} µs. {HELP[0].upper()}{HELP[1:]}.")
    while True:
        word = str(click.prompt(f"{pulse} µs", default="q", show_default=False)).strip()
        if word == "q":
            return None
        if word == "s":
            return pulse
        if word == "t":
            for there in (*(s for s in settings if s != at), at):
                throw(client, drive, there)
            continue
        try:
            wanted = pulse + int(word) if word[0] in "+-" else int(word)
        except ValueError:
            click.echo(HELP)
            continue
        pulse = trim(client, drive, at, wanted)


def _save(file: Path, layout: Layout, drive: str, at: str, pulse_us: int, others: dict[str, int]) -> None:
    """Write the end into the file; the drive's other ends are written too where the file states none."""
    table = layout.file.drive.get(drive)
    stated = dict(table.pulse_us) if table is not None and table.pulse_us is not None else {}
    values: dict[str, int] = {**stated, at: pulse_us}
    if not stated:
        from frogfeed.plan.planner import make_plan
        from frogfeed.track.assemble import assemble

        plan = make_plan(layout, assemble(layout))
        for board in plan.boards:
            for d in board.drives:
                if d.need.name == drive and d.linkage is not None:
                    ends = dict(zip(d.need.settings, (round(p) for p in d.linkage.pulse_us), strict=True))
                    values = {**ends, at: pulse_us}
    try:
        set_values(file, {("drive", drive, "pulse_us", s): v for s, v in values.items()})
    except BadLayout as bad:
        show(bad.findings, "text", err=True)
        raise SystemExit(FINDINGS) from None
    except (CannotWrite, OSError) as e:
        fail(f"{file} was left as it was: {e}", USAGE)
