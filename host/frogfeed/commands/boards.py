"""`frogfeed boards`: what is plugged in, and which board profiles there are."""

from __future__ import annotations

import json

import click

from frogfeed.board.discover import State, look_around
from frogfeed.commands.shared import format_option
from frogfeed.console.attach import holder_of
from frogfeed.parts import profiles


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
    consoles = {s.where: holder_of(s.where) for s in seen if s.state is State.BUSY}
    if form == "json":
        holders = {where: str(held.console) for where, held in consoles.items() if held is not None}
        told = [{**s.as_dict(), "console": holders.get(s.where)} for s in seen]
        click.echo(json.dumps(told, indent=1))
        return
    for s in seen:
        held = f"  {s.hello.board} of {s.hello.layout}" if s.hello is not None and s.hello.board else ""
        click.echo(f"{s.where:<16} {s.state.value}{held}{f'  id {s.id}' if s.id else ''}")
        held_by = consoles.get(s.where)
        if held_by is not None:
            click.echo(f"{'':<16} {held_by.board}, at {held_by.console}; end that one to have the port")
        elif s.next_step:
            click.echo(f"{'':<16} {s.next_step}")
    if not seen:
        click.echo("Nothing is plugged in that could be a board. `frogfeed bench` gives a virtual one.")
