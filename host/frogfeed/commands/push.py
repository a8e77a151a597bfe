"""`frogfeed push`: settings and layout text to a board."""

from __future__ import annotations

from pathlib import Path

import click
from rich.progress import BarColumn, DownloadColumn, TextColumn

from frogfeed.board.transfer import What, push_board
from frogfeed.commands.bar import progress_bar
from frogfeed.commands.link import board_of, board_option, connected, port_options
from frogfeed.commands.shared import USAGE, board_settings, fail, layout_argument, open_network
from frogfeed.plan.settings import ascii_text


@click.command("push")
@layout_argument
@board_option
@port_options
@click.option("--over", is_flag=True, help="Also over the settings of another layout.")
def command(file: Path, board: str | None, port: str | None, serial: str | None, over: bool) -> None:
    """Send a board its settings and the layout's text: in force only when all of it has arrived whole."""
    layout, network = open_network(file)
    name, known = board_of(layout, board)
    documents = board_settings(layout, network)
    name = name or next(iter(documents))
    if name not in documents:
        fail(f"The plan gives board {name} nothing to do, so there is nothing to push.", USAGE)
    with connected(port, serial or (known if port is None else None), file=file, board=name) as client:
        held = client.hello.layout if client.hello is not None else None
        ours = ascii_text(layout.file.layout.name, 80)
        if held is not None and held != ours and not over:
            fail(
                f"The board holds the settings of another layout, {held!r}; nothing was sent.\n"
                f"  why: its outputs are wired for that railway\n  do:  plug in the board of {ours!r}, or say --over",
                USAGE,
            )
        columns = (TextColumn("{task.description}"), BarColumn(), DownloadColumn())
        with progress_bar(*columns) as bar:
            tasks = {what: bar.add_task(what, total=None) for what in ("layout", "settings")}

            def progress(what: What, done: int, total: int) -> None:
                bar.update(tasks[what], completed=done, total=total)

            text, settings = push_board(client, documents[name], layout.text.encode("utf-8"), progress=progress)
        already = " (held already)" if settings.unchanged and text.unchanged else ""
        click.echo(f"{name}: settings {settings.size} bytes, CRC {settings.crc32}; layout {text.size} bytes{already}.")
