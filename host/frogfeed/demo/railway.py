"""The demo railway made ready: read, checked, planned, built, and put on the bench in virtual time."""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from importlib.resources import files
from pathlib import Path
from typing import Any

from frogboard import settings as board_settings
from frogfeed.bench.bench import Bench
from frogfeed.bench.physical import OutputPhysics
from frogfeed.bench.setup import physical_of, scenario_of
from frogfeed.board.client import Client
from frogfeed.board.transfer import push_board
from frogfeed.board.transport import SteppedTransport
from frogfeed.layout.model import Layout
from frogfeed.layout.reading import read_layout
from frogfeed.plan.model import Plan
from frogfeed.plan.planner import make_plan
from frogfeed.plan.settings import build_settings
from frogfeed.track.assembly.assemble import assemble
from frogfeed.track.network.model import RailNetwork

DOCUMENT = "saltmarsh-quay.toml"
WRONG = "saltmarsh-quay-wrong.toml"

Change = Callable[[dict[str, Any]], None]
"""Changes a settings document in place, for tests that prove what the bench sees."""


def demo_file(name: str = DOCUMENT) -> Path:
    """The path of a layout file that the demo ships."""
    return Path(str(files("frogfeed.demo").joinpath(name)))


@dataclass(frozen=True)
class Ready:
    """The demo's layout with its network, plan and settings documents by board."""

    layout: Layout
    network: RailNetwork
    plan: Plan
    documents: Mapping[str, bytes]
    outputs: Mapping[str, OutputPhysics] = field(default_factory=dict)


def prepare(file: Path, change: Change | None = None, outputs: Mapping[str, OutputPhysics] | None = None) -> Ready:
    """Everything up to the settings documents; `change` edits each of them before it is sealed again."""
    layout = read_layout(file)
    network = assemble(layout)
    plan = make_plan(layout, network)
    documents = build_settings(layout, plan)
    if change is not None:
        documents = {board: _changed(data, change) for board, data in documents.items()}
    return Ready(layout, network, plan, documents, outputs or {})


def _changed(data: bytes, change: Change) -> bytes:
    content = json.loads(data)
    change(content)
    del content["crc32"]
    sealed: bytes = board_settings.seal(json.dumps(content, separators=(",", ":")))
    return sealed


def bench_of(ready: Ready, virtual: bool = True, seed: int = 1) -> Bench:
    """The bench with one virtual board for each settings document, not started yet."""
    physical = physical_of(ready.layout, ready.network, outputs=ready.outputs)
    scenario = scenario_of(ready.layout, ready.network, list(ready.documents.values()), physical, seed)
    return Bench(scenario, virtual=virtual)


def connect(bench: Bench, board: str) -> Client:
    """A client for a board on the bench in virtual time."""
    transport = SteppedTransport(bench.serial(board), name=f"the virtual board {board}")
    client = Client(lambda: transport, first_number=1)
    client.connect()
    return client


def push_all(bench: Bench, ready: Ready) -> dict[str, Client]:
    """Connect to every board and send it its settings and the layout's text."""
    clients: dict[str, Client] = {}
    for board, data in ready.documents.items():
        clients[board] = connect(bench, board)
        push_board(clients[board], data, ready.layout.text.encode("utf-8"))
    return clients
