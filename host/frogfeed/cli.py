"""The command line: a table of commands, each in a module of its own that is imported only when it runs."""

from __future__ import annotations

import errno
import gc
import importlib
import os
import sys
from difflib import get_close_matches
from pathlib import Path
from typing import Any

import click

from frogfeed import __version__

COLLECTOR = (100_000, 50, 100)
"""How seldom Python looks for garbage that holds itself: what a command reads and proves lives to its end, and on a
large railway a third of the time goes by in looking at all of it again and again.
"""

COMMANDS: dict[str, tuple[str, str]] = {
    "new": ("start", "Write a commented starting layout file."),
    "check": ("check", "Say what is wrong with a layout, for all settings at once."),
    "plan": ("plan", "Boards, channels, tables, and what to do to each turnout."),
    "throws": ("throws", "Plot each throw: blade, contacts and feed against time."),
    "electrics": ("electrics", "Volts under load, currents of a short, budgets."),
    "build": ("build", "Write the settings document of every board."),
    "sheets": ("sheets", "Print the work sheets: PDF book and single drawings."),
    "netlist": ("netlist", "Export the rail network as JSON or a SPICE deck."),
    "trace": ("trace", "All that lies between the supply and a rail, in metering order."),
    "meter": ("meter", "The shortest list of continuity readings that finds any wiring fault."),
    "schema": ("schema", "Print the JSON Schema of the layout file."),
    "bench": ("bench", "A virtual board with the real firmware behind a serial port."),
    "demo": ("demo", "The whole job on the demo railway, with the virtual board."),
    "boards": ("boards", "List the boards that are plugged in, and their state."),
    "install": ("install", "Put the firmware on a board, only what changed."),
    "image": ("image", "One file for a new board: runtime, firmware, settings."),
    "push": ("push", "Send a board its settings."),
    "pull": ("pull", "Get a board's layout file back, trims included."),
    "replace": ("replace", "Move everything of a board to a new one."),
    "throw": ("throw", "Throw a turnout or drive."),
    "state": ("state", "Show what a board reports."),
    "watch": ("watch", "Live view of positions, feeds and faults."),
    "off": ("off", "All feeds off, or their faults cleared."),
    "trim": ("trim", "Set servo ends live, and save them in the layout file."),
    "prove": ("prove", "Prove the wiring by throwing, sensing and metering."),
    "console": ("console", "The local page: see it, throw it, trim it, prove it."),
}


class Lazy(click.Group):
    """A group whose commands are imported only when they run, so that `--help` starts at once."""

    def main(self, *args: Any, **kwargs: Any) -> Any:
        """Run, and say so where what is printed finds no room."""
        try:
            try:
                return super().main(*args, **kwargs)
            finally:
                sys.stdout.flush()
        except OSError as problem:
            if problem.errno != errno.ENOSPC:
                raise
            with Path(os.devnull).open("w") as nowhere:  # what is left unsaid goes there in the end
                os.dup2(nowhere.fileno(), sys.stdout.fileno())
            click.echo("No room for the output: the disk is full. Make room, or send it elsewhere.", err=True)
            sys.exit(2)

    def list_commands(self, ctx: click.Context) -> list[str]:
        return list(COMMANDS)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        entry = COMMANDS.get(cmd_name)
        if entry is None:
            return None
        module = importlib.import_module(f"frogfeed.commands.{entry[0]}")
        command: click.Command = module.command
        return command

    def resolve_command(
        self, ctx: click.Context, args: list[str]
    ) -> tuple[str | None, click.Command | None, list[str]]:
        if args[0] not in COMMANDS and not args[0].startswith("-"):
            near = get_close_matches(args[0].lower(), COMMANDS, n=1)
            ctx.fail(f"There is no command {args[0]!r}." + (f" Did you mean {near[0]!r}?" if near else ""))
        return super().resolve_command(ctx, args)

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        with formatter.section("Commands"):
            formatter.write_dl([(name, text) for name, (_, text) in COMMANDS.items()])


@click.group(cls=Lazy, context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100})
@click.version_option(__version__, prog_name="frogfeed")
def main() -> None:
    """Plan, prove, wire and switch the frogs of a two-rail model railway.

    Start with `frogfeed demo`, or `frogfeed new my-layout.toml` and `frogfeed check my-layout.toml`.
    frogfeed is no safety system for people; mains belongs inside approved supplies only.
    """
    gc.set_threshold(*COLLECTOR)
