"""What commands that talk to boards share: which port, which board, and errors of the link as exit code 3."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any, TypeVar

import click

from frogfeed.board.client import Client, Expected
from frogfeed.board.errors import BoardError
from frogfeed.commands.shared import BOARD, fail
from frogfeed.commands.way import own_way, way_to
from frogfeed.layout.model import Layout

F = TypeVar("F", bound=Callable[..., Any])


def port_options(command: F) -> F:
    """--port and --serial, which say where the board is."""
    command = click.option("--serial", help="The board's USB serial number, where several are plugged in.")(command)
    return click.option("--port", help="The serial port to use, such as the one `frogfeed bench` prints.")(command)


file_option = click.option(
    "--file", type=click.Path(path_type=Path, dir_okay=False), help="The layout file, to find and check its boards."
)
board_option = click.option("--board", help="Which board of the layout, where it has several.")


def board_of(layout: Layout | None, board: str | None) -> tuple[str | None, str | None]:
    """(board name, USB serial number) as far as the layout says them."""
    if layout is None or not layout.file.board:
        return board, None
    names = list(layout.file.board)
    name = board or (names[0] if len(names) == 1 else None)
    if name is None:
        raise click.UsageError(f"The layout has boards {', '.join(names)}: say which with --board.")
    if name not in layout.file.board:
        raise click.UsageError(f"The layout has no board {name}; it has {', '.join(names)}.")
    return name, layout.file.board[name].serial


@contextmanager
def connected(
    port: str | None,
    serial: str | None = None,
    expected: Expected | None = None,
    *,
    file: Path | None = None,
    board: str | None = None,
    alone: bool = False,
) -> Iterator[Client]:
    """A greeted client; every error of the link ends the command with exit code 3 and says what to do.

    Where a running console has the board's port, the client speaks through it, unless the command must be `alone`.
    """
    try:
        way = own_way(port, serial) if alone else way_to(port, serial, file=file, board=board)
        if way.through is not None:
            click.echo(f"Through {way.through.console}.", err=True)
        with Client(way.opener, expected=expected, limits=way.limits, first_number=way.first_number) as client:
            yield client
    except BoardError as e:
        fail(str(e), BOARD)
