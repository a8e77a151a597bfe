"""`frogfeed throw`: throw a turnout or drive."""

from __future__ import annotations

from pathlib import Path

import click

from frogfeed.board.commands import throw
from frogfeed.board.errors import BoardRefused
from frogfeed.commands.link import board_option, connected, file_option, port_options
from frogfeed.commands.shared import USAGE, fail, open_layout
from frogfeed.layout.drives import drive_uses
from frogfeed.layout.model import Layout

_NAME_THE_LAYOUT = (
    "`frogfeed state` lists the drives that the board knows; for a turnout thrown by a drive of another name, "
    "name the layout as well: --file LAYOUT"
)


def drive_of(layout: Layout | None, name: str, to: str) -> tuple[str, str]:
    """(drive, its setting) for a piece with one drive, or for the drive itself."""
    if layout is None:
        return name, to
    uses = [use for (piece, _), use in drive_uses(layout.file, layout.kinds).items() if piece == name]
    if len(uses) == 1 and to in uses[0].settings:
        return uses[0].drive, uses[0].settings[to]
    if len(uses) > 1:
        fail(f"{name} has {len(uses)} drives: throw one of {', '.join(u.drive for u in uses)}.", USAGE)
    return name, to


@click.command("throw")
@click.argument("name")
@click.argument("to")
@file_option
@board_option
@port_options
def command(name: str, to: str, file: Path | None, board: str | None, port: str | None, serial: str | None) -> None:
    """Throw the turnout or drive NAME to the setting TO, and wait until it is there."""
    from frogfeed.commands.link import board_of

    layout = open_layout(file) if file is not None else None
    known = board_of(layout, board)[1] if layout is not None else None
    drive, setting = drive_of(layout, name, to)
    with connected(port, serial or (known if port is None else None), file=file, board=board) as client:
        try:
            done = throw(client, drive, setting)
        except BoardRefused as refused:
            if layout is None and refused.reason.startswith("no drive"):
                raise BoardRefused(
                    refused.method, refused.number, refused.reason, where=refused.where, cure=_NAME_THE_LAYOUT
                ) from refused
            raise
        click.echo(f"{done.drive} is at {done.at} after {done.seconds:.1f} s.")
