"""`frogfeed image`: one file for a new board, and what such a file holds."""

from __future__ import annotations

import json
from pathlib import Path

import click

from frogfeed.board.errors import BoardError
from frogfeed.board.image.build import build_image, image_bytes, uf2_bytes
from frogfeed.board.image.content import board_files, check_runtime_file, payload_for
from frogfeed.board.image.drive import choose_drive, drop, find_drives
from frogfeed.board.image.inspect import inspect_image
from frogfeed.board.image.runtime import read_runtime
from frogfeed.board.image.uf2 import read_uf2
from frogfeed.commands.link import board_of, board_option
from frogfeed.commands.shared import BOARD, USAGE, board_settings, fail, format_option, open_network
from frogfeed.layout.atomic import replace_file

existing = click.Path(path_type=Path, exists=True, dir_okay=False)


@click.group("image", invoke_without_command=True)
@click.option("--runtime", type=existing, help="MicroPython's UF2 file for your board.")
@click.option("--layout", "file", type=existing, help="The layout file; without it the board waits for a push.")
@click.option("-o", "--output", type=click.Path(path_type=Path, dir_okay=False), help="File to write, .uf2 or .hex.")
@click.option("--drop", "drop_it", is_flag=True, help="Copy the image to the bootloader drive that is plugged in.")
@click.option("--geometry", help="Kind of board, where the runtime does not say where its files lie.")
@board_option
@click.pass_context
def command(
    ctx: click.Context,
    runtime: Path | None,
    file: Path | None,
    output: Path | None,
    drop_it: bool,
    geometry: str | None,
    board: str | None,
) -> None:
    """One file for a new board: the MicroPython you supply, our firmware, and the layout's settings."""
    if ctx.invoked_subcommand is not None:
        return
    if runtime is None or (output is None and not drop_it):
        raise click.UsageError("Say --runtime FILE.uf2, and -o OUT.uf2 (or OUT.hex) or --drop.")
    document = text = None
    if file is not None:
        layout, network = open_network(file)
        name, _ = board_of(layout, board)
        documents = board_settings(layout, network)
        document = documents[name or next(iter(documents))]
        text = layout.text.encode("utf-8")
    data = runtime.read_bytes()
    try:
        info = read_runtime(read_uf2(data, name=runtime.name), name=runtime.name)
        check_runtime_file(info, name=runtime.name)
        image = build_image(data, board_files(payload_for(info), document, text), geometry=geometry, name=runtime.name)
        if output is not None:
            written = image_bytes(image, output.suffix)
            replace_file(output, written)
            click.echo(f"Wrote {output}: {len(written)} bytes for {image.geometry.name}.")
        if drop_it:
            drop(uf2_bytes(image), choose_drive(find_drives(), info.chip))
            click.echo("Copied to the bootloader drive; the board starts with it now.")
    except BoardError as e:
        fail(str(e), BOARD if drop_it else USAGE)
    except OSError as e:
        fail(f"{output} could not be written: {e.strerror}.", USAGE)


@command.command("inspect")
@click.argument("file", type=existing)
@format_option()
def inspect(file: Path, form: str) -> None:
    """Say what a UF2 or Intel HEX file holds: chip, runtime, memory, files."""
    try:
        found = inspect_image(file.read_bytes(), name=file.name)
    except BoardError as e:
        fail(str(e), USAGE)
    if form == "json":
        click.echo(json.dumps(found.as_dict(), indent=1))
        return
    click.echo(f"{file}: {found.kind}, {found.size} bytes")
    for label, value in (("chip", found.chip), ("program", found.program), ("version", found.version)):
        click.echo(f"  {label:<8} {value or 'not said'}")
    for family, blocks in found.families:
        click.echo(f"  family   {family}, {blocks} blocks")
    for start, count in found.runs:
        click.echo(f"  memory   {start:#010x} to {start + count - 1:#010x} ({count} bytes)")
    if found.geometry is not None:
        click.echo(f"  files    at {found.geometry.storage_address:#010x}, {found.geometry.blocks} blocks")
    for held in found.files or ():
        click.echo(f"    {held.path:<32} {held.size:>7}  {held.sha256[:16]}")
