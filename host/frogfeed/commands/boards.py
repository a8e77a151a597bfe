"""`frogfeed boards`: what is plugged in, and which board profiles there are."""

from __future__ import annotations

import json

import click

from frogfeed.board.discover import look_around
from frogfeed.commands.shared import format_option
from frogfeed.parts import boards as profiles


@click.command("boards")
@click.option("--port", multiple=True, help="Also ask this port, which is not a board's by its USB number.")
@click.option("--profiles", "list_profiles", is_flag=True, help="List the kinds of board that a layout may name.")
@format_option()
def command(port: tuple[str, ...], list_profiles: bool, form: str) -> None:
    """List the boards that are plugged in: with our firmware, a bare runtime, a bootloader drive, or unknown."""
    if list_profiles:
        for name in profiles.names():
            click.echo(f"{name:<12} {profiles.profile(name).title}")
        return
    seen = look_around(also=port)
    if form == "json":
        click.echo(json.dumps([s.as_dict() for s in seen], indent=1))
        return
    for s in seen:
        held = f"  {s.hello.board} of {s.hello.layout}" if s.hello is not None and s.hello.board else ""
        click.echo(f"{s.where:<16} {s.state.value}{held}{f'  id {s.id}' if s.id else ''}")
        if s.next_step:
            click.echo(f"{'':<16} {s.next_step}")
    if not seen:
        click.echo("Nothing is plugged in that could be a board. `frogfeed bench` gives a virtual one.")
