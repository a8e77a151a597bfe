"""`frogfeed bench`: virtual boards behind serial ports."""

from __future__ import annotations

import time
from contextlib import suppress
from pathlib import Path

import click

from frogfeed.bench.bench import Bench
from frogfeed.bench.errors import BenchError
from frogfeed.bench.setup import scenario_of
from frogfeed.board.client import Client
from frogfeed.board.ports import opener_for
from frogfeed.board.transfer import push_board
from frogfeed.commands.shared import BOARD, board_settings, fail, open_network
from frogfeed.demo.railway import demo_file


@click.command("bench")
@click.argument("file", type=click.Path(path_type=Path, dir_okay=False), required=False)
@click.option("--pushed", is_flag=True, help="Begin with the settings on the board; else it is new.")
@click.option("--seconds", type=float, help="End after this long; else with Ctrl-C.")
def command(file: Path | None, pushed: bool, seconds: float | None) -> None:
    """Virtual boards with the real firmware, each behind a serial port, on the railway of FILE (default: the demo)."""
    layout, network = open_network(file or demo_file())
    documents = board_settings(layout, network)
    try:
        with Bench(scenario_of(layout, network, list(documents.values())), virtual=False) as bench:
            click.echo(f"The firmware runs on {bench.interpreter}, in real time. Ctrl-C ends.")
            for name in documents:
                click.echo(f"  board {name}: {bench.port(name)}")
            first = bench.port(next(iter(documents)))
            if pushed:
                push_all(bench, documents, layout.text)
            click.echo(f"Try in another terminal: frogfeed push {layout.name} --port {first}", nl=True)
            ends = None if seconds is None else time.monotonic() + seconds
            seen = 0
            with suppress(KeyboardInterrupt):
                while ends is None or time.monotonic() < ends:
                    time.sleep(0.2)
                    events = list(bench.log)
                    for e in events[seen:]:
                        if e.kind in ("spark", "dead-wheel", "rule", "died", "restart"):
                            click.echo(str(e))
                    seen = len(events)
    except BenchError as e:
        fail(str(e), BOARD)


def push_all(bench: Bench, documents: dict[str, bytes], text: str) -> None:
    """Send every board its settings, over its own port."""
    for name, data in documents.items():
        with Client(opener_for(device=bench.port(name))) as client:
            push_board(client, data, text.encode("utf-8"))
