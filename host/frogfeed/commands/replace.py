"""`frogfeed replace`: a new board in the place of an old one."""

from __future__ import annotations

from pathlib import Path

import click

from frogfeed.board.recover import check_replacement, serial_number_value
from frogfeed.board.transfer import push_board
from frogfeed.commands.link import board_of, connected, port_options
from frogfeed.commands.shared import USAGE, board_settings, fail, layout_argument, open_layout
from frogfeed.layout.reading import read_layout_text
from frogfeed.layout.writing import set_values, with_values
from frogfeed.track.assembly.assemble import assemble


@click.command("replace")
@layout_argument
@click.argument("board")
@port_options
def command(file: Path, board: str, port: str | None, serial: str | None) -> None:
    """Make a new board BOARD: its settings and the layout go there, and its serial number into the file.

    Plug in the new board alone, or name its --port.
    """
    layout = open_layout(file)
    name, old = board_of(layout, board)
    if board not in layout.file.board:
        named = ", ".join(layout.file.board) or "none"
        fail(f"{file} has no table [board.{board}] to hold a serial number (it has: {named}). Add one first.", USAGE)
    with connected(port, serial, alone=True) as client:
        hello = client.hello or client.connect()
        check_replacement(hello, board, old, client.where)
        number = serial_number_value(board, hello.id)
        changed = read_layout_text(with_values(layout.text, number), layout.name)
        network = assemble(changed)
        documents = board_settings(changed, network)
        push_board(client, documents[name or board], changed.text.encode("utf-8"), replace=True)
        set_values(file, number)
        click.echo(f"{board} is now the board with id {hello.id}; {file} says so, and it holds its settings.")
