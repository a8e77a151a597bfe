"""`frogfeed console`: the local page."""

from __future__ import annotations

import webbrowser
from contextlib import ExitStack
from pathlib import Path

import click

from frogfeed.bench.errors import BenchError
from frogfeed.board.errors import BoardError, NoPort
from frogfeed.commands.shared import BOARD, USAGE, fail, open_layout
from frogfeed.commands.way import own_way
from frogfeed.console.attach import advertised
from frogfeed.console.ports import bench_links, serial_links
from frogfeed.console.railway import railway_of
from frogfeed.console.refusals import RefusedError
from frogfeed.console.serve import LOOPBACK, Served, run
from frogfeed.console.session import Session
from frogfeed.demo.railway import demo_file


@click.command("console")
@click.argument("file", type=click.Path(path_type=Path, dir_okay=False), required=False)
@click.option("--port", "ports", multiple=True, help="Serial port of the board, or BOARD=PORT; else found by itself.")
@click.option("--bench", is_flag=True, help="Virtual boards instead of real ones.")
@click.option("--http-port", type=click.IntRange(0, 65535), default=0, help="Port of the page; else any free one.")
@click.option("--host", default="127.0.0.1", show_default=True, help="Address to listen on; else this machine alone.")
@click.option("--name", "names", multiple=True, help="Further name by which other machines call this one.")
@click.option("--open/--no-open", "browse", default=False, help="Open the page in the browser.")
def command(
    file: Path | None,
    ports: tuple[str, ...],
    bench: bool,
    http_port: int,
    host: str,
    names: tuple[str, ...],
    browse: bool,
) -> None:
    """A page that shows both rails of FILE (default: the demo, on virtual boards) and throws, trims and proves.

    Only this machine can reach it unless --host says otherwise; the address carries a key of this start.
    """
    if bench and ports:
        raise click.UsageError("Say either --port or --bench.")
    shown = file or demo_file()
    railway = railway_of(open_layout(shown))
    virtual = bench or (file is None and not ports)
    try:
        with ExitStack() as stack:
            if virtual:
                boards, links = stack.enter_context(bench_links(railway))
                click.echo(f"Virtual boards; their firmware runs on {boards.interpreter}.")
                for name in links:
                    click.echo(f"  board {name}: {boards.port(name)}")
            else:
                links = serial_links(railway, ports)
                _look_at(ports)
            session = Session(file, railway, links, sends=virtual)

            def ready(served: Served) -> None:
                key = served.operator.partition("key=")[2]
                near = "127.0.0.1" if host in ("0.0.0.0", "::") else host
                stack.enter_context(advertised(shown, near, served.port, key))
                _tell(served, host, browse)

            run(session, host=host, port=http_port, names=names, ready=ready)
    except RefusedError as refused:
        fail(str(refused), USAGE)
    except (BenchError, BoardError) as e:
        fail(str(e), BOARD)


def _look_at(ports: tuple[str, ...]) -> None:
    """Open every port that was named, and give it back: one that is not there is told now. Raises BoardErrors."""
    for text in ports:
        device = text.partition("=")[2] or text
        try:
            own_way(device, None).opener().close()
        except NoPort as missing:
            if device.isdigit():
                missing.cure = f"--port is a board's serial port; for the page's own say --http-port {device}"
            raise


def _tell(served: Served, host: str, browse: bool) -> None:
    click.echo(f"Yours:     {served.operator}")
    click.echo(f"Visitors:  {served.visitor}   (they see all and touch nothing)")
    if host not in LOOPBACK:
        click.echo("Other machines can reach it, and the keys go over the net unencrypted: only in a net you trust.")
    click.echo("Ctrl-C ends. frogfeed is no safety system for people.")
    if browse:
        webbrowser.open(served.operator)
