"""`frogfeed watch`: a live view."""

from __future__ import annotations

from contextlib import suppress

import click
from rich.console import Console

from frogfeed.board.watch import watch
from frogfeed.commands.link import connected, port_options


@click.command("watch")
@port_options
@click.option("--seconds", type=float, help="End after this long; else with Ctrl-C.")
@click.option("--every", "every_ms", type=click.IntRange(50, 10_000), default=500, show_default=True,
              help="Milliseconds between measurements.")  # fmt: skip
def command(port: str | None, serial: str | None, seconds: float | None, every_ms: int) -> None:
    """Live view of positions, feeds, currents and faults; one line an event where the output is no terminal."""
    with connected(port, serial) as client, suppress(KeyboardInterrupt):
        watch(client, Console(), every_ms=every_ms, seconds=seconds)
