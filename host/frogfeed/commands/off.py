"""`frogfeed off`: all feeds off, or their faults cleared."""

from __future__ import annotations

import click

from frogfeed.board.commands import all_off, feed_reset
from frogfeed.commands.link import connected, port_options


@click.command("off")
@click.option("--clear", is_flag=True, help="Instead clear the faults of all feeds, so that they work again.")
@click.option("--feed", help="With --clear: only this feed.")
@port_options
def command(clear: bool, feed: str | None, port: str | None, serial: str | None) -> None:
    """Turn all feeds of a board off; with --clear, let those with a latched fault work again."""
    with connected(port, serial) as client:
        if clear or feed:
            cleared = feed_reset(client, feed)
            click.echo(f"{cleared} {'fault' if cleared == 1 else 'faults'} cleared; feeds work again.")
            return
        off, held = all_off(client)
        stay = f"; {held} that have no off stay as they are" if held else ""
        click.echo(f"{off} feeds are off{stay}. `frogfeed off --clear` lets them work again.")
