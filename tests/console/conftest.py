"""A console on a copy of the demo railway: with virtual boards in real time, or with links that the test holds."""

from __future__ import annotations

import contextlib
import threading
import time
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest
import uvicorn
from playwright.sync_api import Browser, Page, expect, sync_playwright

from frogfeed.bench.bench import Bench
from frogfeed.console.link import LinkMaker
from frogfeed.console.ports import bench_links
from frogfeed.console.railway import Railway, railway_of
from frogfeed.console.serve import Served, run
from frogfeed.console.session import Session
from frogfeed.demo.railway import demo_file
from frogfeed.layout.reading import read_layout

CHROMIUM = "/usr/bin/chromium"
LONG_S = 90.0
"""How long anything is waited for: a machine that is slow and busy gets there too."""
LONG_MS = 1000 * LONG_S
FLAGS = [
    "--headless",
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
]


@dataclass
class Console:
    """A console that serves in a thread of its own."""

    session: Session
    served: Served
    file: Path
    bench: Bench | None

    @property
    def base(self) -> str:
        return f"http://127.0.0.1:{self.served.port}"

    @property
    def key(self) -> str:
        return self.served.operator.partition("key=")[2]

    @property
    def visitor_key(self) -> str:
        return self.served.visitor.partition("key=")[2]

    @property
    def cookie(self) -> str:
        return f"frogfeed-{self.served.port}"

    def get(self, section: str, key: str) -> Any:
        return self.session.store.get(section, key)

    def wait(self, done: Any, limit_s: float = LONG_S) -> None:
        """Wait until `done()` holds."""
        end = time.monotonic() + limit_s
        while not done():
            assert time.monotonic() < end, "it did not come to that in time"
            time.sleep(0.03)

    def at_rest(self, drive: str, setting: str) -> bool:
        d = self.get("drives", drive) or {}
        return d.get("at") == setting and not d["moving"] and d["to"] is None


@contextlib.contextmanager
def serving(session: Session, file: Path, bench: Bench | None = None) -> Iterator[Console]:
    """Run the console in a thread until the block ends."""
    told: list[Served] = []
    servers: list[uvicorn.Server] = []
    thread = threading.Thread(target=lambda: run(session, ready=told.append, stop=servers.append), daemon=True)
    thread.start()
    end = time.monotonic() + LONG_S
    while not told or not servers[0].started:
        assert time.monotonic() < end and thread.is_alive(), "the console did not start"
        time.sleep(0.02)
    try:
        yield Console(session, told[0], file, bench)
    finally:
        servers[0].should_exit = True
        thread.join(LONG_S)
        assert not thread.is_alive()


@contextlib.contextmanager
def on_bench(file: Path, pushed: bool = True) -> Iterator[Console]:
    """A console on a layout's virtual boards, with their settings on them."""
    railway = railway_of(read_layout(file))
    with bench_links(railway) as (bench, links), serving(Session(file, railway, links), file, bench) as console:
        for board in links:
            console.wait(lambda b=board: (console.get("boards", b) or {}).get("up"))
        if pushed:
            with attached(console) as seat:
                for board in links:
                    seat.ask("push", board=board)
        yield console


@contextlib.contextmanager
def with_links(file: Path, links: Mapping[str, LinkMaker], railway: Railway | None = None) -> Iterator[Console]:
    """A console on links of the test's own."""
    with serving(Session(file, railway or railway_of(read_layout(file)), links), file) as console:
        yield console


def attached(console: Console) -> Any:
    from frogfeed.console.seat import AttachedSeat

    return contextlib.closing(AttachedSeat("127.0.0.1", console.served.port, console.key))


@pytest.fixture(scope="session")
def railway() -> Railway:
    return railway_of(read_layout(demo_file()))


def yard(turnouts: int) -> str:
    """A fan of sidings on one lead, each turnout with a switched frog and a servo of its own; boards as needed."""
    lines = ['lead = ["west", { feed = "main", left = "A" }, "T1.toe"]']
    for n in range(1, turnouts + 1):
        after = f'"T{n + 1}.toe"' if n < turnouts else '"east"'
        lines.append(f't{n} = ["T{n}.left", "|", {{ feed = "main", left = "A" }}, {after}]')
        lines.append(f's{n} = ["T{n}.right", "|", {{ feed = "main", left = "A" }}, "road-{n}"]')
    places = [f'road-{n} = {{ kind = "buffer" }}' for n in range(1, turnouts + 1)]
    boards = [f'[board.B{b}]\nprofile = "expander"\nserial = "F{b:03}"' for b in range(1, turnouts // 8 + 2)]
    tables = [f'[turnout.T{n}]\nstate = "isolated-frog"' for n in range(1, turnouts + 1)]
    head = '[layout]\nname = "Long Yard"\ngauge = "OO"\ncontrol = "dc"\n[district.main]\nvolts = 12.0'
    ends = 'west = { kind = "buffer" }\neast = { kind = "buffer" }'
    return "\n".join([head, *tables, *boards, "[place]", ends, *places, "[lines]", *lines, ""])


@pytest.fixture(scope="module")
def console(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Console]:
    """One console on the demo's virtual board for a whole module; its tests leave the railway usable."""
    with on_bench(demo_copy(tmp_path_factory.mktemp("quay"))) as found:
        yield found


def demo_copy(folder: Path) -> Path:
    file = folder / "quay.toml"
    file.write_bytes(demo_file().read_bytes())
    return file


@pytest.fixture(scope="session")
def browser() -> Iterator[Browser]:
    if not Path(CHROMIUM).exists():
        pytest.skip(f"no browser at {CHROMIUM}: `make system` says how to get it")
    expect.set_options(timeout=LONG_MS)
    with sync_playwright() as p:
        found = p.chromium.launch(executable_path=CHROMIUM, args=FLAGS)
        yield found
        found.close()


@contextlib.contextmanager
def opened(
    browser: Browser, console: Console, width: int = 1280, height: int = 900, address: str = ""
) -> Iterator[Page]:
    """A page that has drawn the railway; errors in its scripts, or reports of its policy, fail the test."""
    context = browser.new_context(viewport={"width": width, "height": height}, reduced_motion="reduce")
    context.set_default_timeout(LONG_MS)
    page = context.new_page()
    troubles: list[str] = []
    page.on("pageerror", lambda e: troubles.append(str(e)))
    page.on("console", lambda m: troubles.append(m.text) if m.type in ("error", "warning") else None)
    page.goto(address or console.served.operator)
    page.wait_for_selector("svg .rail[data-is]", state="attached")
    try:
        yield page
    finally:
        context.close()
    kept = [t for t in troubles if "WebSocket" not in t and "ERR_CONNECTION" not in t]
    assert not kept, kept
