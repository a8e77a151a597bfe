"""`frogfeed console`: the local page."""

from __future__ import annotations

import contextlib
from collections.abc import Mapping
from pathlib import Path

import click

from frogfeed.bench.bench import Bench
from frogfeed.bench.errors import BenchError
from frogfeed.bench.setup import scenario_of
from frogfeed.board.ports import opener_for
from frogfeed.commands.bench import push_all
from frogfeed.commands.shared import BOARD, fail, open_network, planned
from frogfeed.console.link import ClientLink, LinkMaker
from frogfeed.console.refusals import RefusedError
from frogfeed.console.serve import Served, run
from frogfeed.console.session import open_session
from frogfeed.demo.railway import demo_file
from frogfeed.layout.model import Layout
from frogfeed.plan.settings import build_settings


def links_for(layout: Layout, boards: list[str], ports: Mapping[str, str]) -> dict[str, LinkMaker]:
    """A link for every board: on a stated port, else by the USB serial number of the file."""
    links: dict[str, LinkMaker] = {}
    for name in boards:
        table = layout.file.board.get(name)
        opener = opener_for(device=ports.get(name), serial_number=table.serial if table is not None else None)
        links[name] = lambda opener=opener, name=name: ClientLink(opener, name)  # type: ignore[misc]
    return links


@click.command("console")
@click.argument("file", type=click.Path(path_type=Path, dir_okay=False), required=False)
@click.option("--port", "ports", multiple=True, help="PORT for the only board, or BOARD=PORT.")
@click.option("--bench", "use_bench", is_flag=True, help="With virtual boards instead of real ones.")
@click.option("--host", default="127.0.0.1", show_default=True, help="Address to listen on; others may then connect.")
@click.option(
    "--http-port", type=click.IntRange(0, 65535), default=0, help="Port of the page; any free one unless said."
)
def command(file: Path | None, ports: tuple[str, ...], use_bench: bool, host: str, http_port: int) -> None:
    """The page beside the railway: see both rails, throw, trim, prove, find faults, change the plan.

    Without FILE it shows the demo railway. The address printed holds a key; whoever has it may throw.
    """
    path = file or demo_file()
    layout, network = open_network(path)
    documents = build_settings(layout, network, planned(layout, network))
    named = dict(_split(p, list(documents)) for p in ports)
    try:
        with contextlib.ExitStack() as stack:
            if use_bench:
                bench = stack.enter_context(
                    Bench(scenario_of(layout, network, list(documents.values())), virtual=False)
                )
                named |= {name: bench.port(name) for name in documents}
                push_all(bench, documents, layout.text)
            session = open_session(path, links_for(layout, list(documents), named), keep=file is not None)
            run(session, host=host, port=http_port, ready=_announce)
    except BenchError as e:
        fail(str(e), BOARD)
    except RefusedError as e:
        fail(str(e), BOARD)


def _split(text: str, boards: list[str]) -> tuple[str, str]:
    board, found, port = text.partition("=")
    if found and board in boards:
        return board, port
    if len(boards) != 1:
        raise click.UsageError(f"The layout has boards {', '.join(boards)}: say --port BOARD=PORT for each.")
    return boards[0], text


def _announce(served: Served) -> None:
    click.echo(f"Open {served.operator}")
    click.echo(f"Visitors, who may only look: {served.visitor}")
    click.echo("Ctrl-C ends.")
