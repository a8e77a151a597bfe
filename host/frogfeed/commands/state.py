"""`frogfeed state`: what a board reports."""

from __future__ import annotations

import json
from dataclasses import asdict

import click

from frogfeed.board.messages import BoardState, LoopState
from frogfeed.commands.link import connected, port_options
from frogfeed.commands.shared import format_option


@click.command("state")
@port_options
@format_option()
def command(port: str | None, serial: str | None, form: str) -> None:
    """Show what a board reports: who it is, where its drives stand, what its feeds carry."""
    with connected(port, serial) as client:
        hello = client.hello or client.connect()
        state = client.state() if hello.settings is not None else BoardState(LoopState())
    if form == "json":
        click.echo(json.dumps({"hello": asdict(hello), "state": asdict(state)}, indent=1))
        return
    click.echo(
        f"Board {hello.board or '(no settings)'}, layout {hello.layout or '-'} [{hello.layout_hash or '-'}], "
        f"firmware {hello.firmware}, up {hello.up_ms / 1000:.0f} s"
    )
    if hello.reason:
        click.echo(f"No settings in force: {hello.reason}. `frogfeed push` sends them.")
    if state.board.all_off:
        click.echo("All feeds are turned off, until `frogfeed off --clear` or a reset button.")
    for d in state.drives:
        where = f"moving to {d.to}" if d.moving else d.at or "unknown"
        click.echo(f"  drive {d.name:<16} {where}{'  STALL SUSPECTED' if d.stalled else ''}")
    for f in state.feeds:
        click.echo(f"  feed  {f.name:<16} {f.told}{f'  FAULT: {f.fault}' if f.fault else ''}")
