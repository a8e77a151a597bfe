"""Commands in a terminal while a console has the board's port: through it, several at once, and when it ends."""

from __future__ import annotations

import os
import re
import socket
import subprocess
import sys
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner, Result

from frogfeed.bench.bench import Bench
from frogfeed.bench.setup import scenario_of
from frogfeed.board.client import Client
from frogfeed.board.errors import AmbiguousPort, NoPort, PortVanished
from frogfeed.board.lines import request_line
from frogfeed.board.transfer import push_board
from frogfeed.cli import main
from frogfeed.commands.way import way_to
from frogfeed.console.attach import advertised
from frogfeed.console.railway import Railway
from frogfeed.console.seat_port import ConsoleGone
from frogfeed.console.turns import IDLE_S, Turns
from tests.console.conftest import LONG_S, Console, demo_copy, on_bench, with_links
from tests.console.fake import FakeBoard, FakeLink

FROGFEED = [sys.executable, "-u", "-c", "from frogfeed.cli import main; main()"]


@pytest.fixture(scope="module")
def shared(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Console]:
    """A console on a virtual board that terminals of this test find."""
    folder = tmp_path_factory.mktemp("shared")
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("XDG_RUNTIME_DIR", str(folder))
        with (
            on_bench(demo_copy(folder)) as console,
            advertised(console.file, "127.0.0.1", console.served.port, console.key),
        ):
            yield console


def port_of(console: Console) -> str:
    assert console.bench is not None
    return console.bench.port()


def frogfeed(*args: object, ends: int = 0) -> Result:
    result = CliRunner().invoke(main, [str(a) for a in args])
    assert result.exit_code == ends, (result.output, result.exception)
    assert "Traceback" not in result.output
    return result


def plain(text: str) -> str:
    """Output without what differs from run to run: times, counts and names of ports."""
    return re.sub(r"/dev/\S+", "PORT", re.sub(r"\d+(\.\d+)? s\b", "TIME", text))


def test_every_command_says_the_same_through_a_console_as_over_the_port(
    shared: Console, tmp_path: Path, railway: Railway
) -> None:
    scenario = scenario_of(railway.layout, railway.network, list(railway.documents.values()))
    with Bench(scenario, virtual=False) as bench:
        said: dict[str, list[str]] = {}
        for port in (bench.port(), port_of(shared)):
            copy = tmp_path / f"{port.replace('/', '-')}.toml"
            frogfeed("push", shared.file, "--port", port)
            for command in (
                ("push", shared.file),
                ("throw", "T1", "right"),
                ("throw", "T1", "left"),
                ("throw", "T2", "left"),
                ("throw", "crossover", "left"),
                ("throw", "T5", "left"),
                ("throw", "T6", "left"),
                ("state",),
                ("off",),
                ("off", "--clear"),
                ("throw", "T1", "right"),
                ("throw", "T1", "left"),
                ("state",),
            ):
                said.setdefault(port, []).append(plain(frogfeed(*command, "--port", port).stdout))
            for command, ends in ((("throw", "nobody", "left"), 3), (("throw", "T1", "sideways"), 3)):
                refused = frogfeed(*command, "--port", port, ends=ends)
                said[port].append(plain(refused.stderr).split("\n", port == port_of(shared))[-1])
            pulled = plain(frogfeed("pull", "-o", copy, "--port", port).stdout)
            said[port].append(pulled.replace(str(copy), "COPY"))
            assert copy.read_bytes() == shared.file.read_bytes()
        own, through = said.values()
        assert own == through


def test_a_throw_in_a_terminal_is_seen_on_the_pages(shared: Console) -> None:
    result = frogfeed("throw", "T6", "right", "--file", shared.file)
    assert "T6 is at right after" in result.stdout
    assert f"Through the console on {shared.file.name} at http://127.0.0.1:{shared.served.port}" in result.stderr
    shared.wait(lambda: shared.at_rest("T6", "right"))
    log = shared.get("log", "lines")
    assert any(line["text"] == "T6 at right" for line in log)
    frogfeed("off")
    shared.wait(lambda: (shared.get("boards", "B1") or {})["all_off"])
    frogfeed("off", "--clear")
    shared.wait(lambda: not (shared.get("boards", "B1") or {})["all_off"])


def test_what_the_console_would_refuse_is_refused_in_the_terminal(shared: Console) -> None:
    route = {"start": "here", "goal": "there", "state": "laying", "settings": {"T5": "left"}}
    shared.session.store.put("route", "now", route)
    try:
        result = frogfeed("throw", "T5", "right", ends=3)
        assert "the route that is being laid" in result.stderr
        assert "wait until the route lies" in result.stderr
    finally:
        shared.session.store.put("route", "now", None)


def test_a_push_of_the_changed_file_brings_the_page_up_to_date(shared: Console) -> None:
    before = shared.file.read_text(encoding="utf-8")
    try:
        shared.file.write_text(before.replace("[layout]", "# a line more\n[layout]", 1), encoding="utf-8")
        frogfeed("push", shared.file)
        shared.wait(lambda: shared.session.railway.layout.text.count("# a line more") == 1)
        shared.wait(lambda: (shared.get("boards", "B1") or {})["matches"])
        assert shared.get("file", "dirty") is False
        assert not shared.get("faults", "settings B1")
    finally:
        shared.file.write_text(before, encoding="utf-8")
        frogfeed("push", shared.file)
        shared.wait(lambda: shared.session.railway.layout.text == before)


def start(*args: object) -> subprocess.Popen[str]:
    return subprocess.Popen(
        [*FROGFEED, *map(str, args)], stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, env={**os.environ}
    )


def read_until(stream: Any, words: str) -> str:
    """Lines of a program's output until one holds these words."""
    seen = ""
    while words not in seen:
        line = stream.readline()
        assert line, f"it ended before it said {words!r}: {seen}"
        seen += line
    return seen


def test_several_at_once(shared: Console) -> None:
    watching = start("watch", "--seconds", LONG_S)
    try:
        read_until(watching.stderr, "Through the console")
        read_until(watching.stdout, "current")
        programs = [
            start("throw", "T1", "right"), start("throw", "T2", "right"), start("state"), start("push", shared.file)
        ]  # fmt: skip
        for program in programs:
            said, told = program.communicate(timeout=LONG_S)
            assert program.returncode == 0, told
            assert said
        shared.wait(lambda: shared.at_rest("T1", "right") and shared.at_rest("T2", "right"))
        assert "moves to right" in read_until(watching.stdout, "T2 at right")
    finally:
        watching.terminate()
        watching.wait(LONG_S)
    frogfeed("throw", "T1", "left")
    frogfeed("throw", "T2", "left")


def test_two_that_send_at_once_take_turns(shared: Console) -> None:
    text = shared.session.railway.layout.text.encode("utf-8")
    document = shared.session.railway.documents["B1"]
    problems: list[Exception] = []

    def send(more: bytes) -> None:
        try:
            way = way_to(port_of(shared), None)
            with Client(way.opener, limits=way.limits, first_number=way.first_number) as client:
                push_board(client, document, text + more)
        except Exception as problem:
            problems.append(problem)

    threads = [threading.Thread(target=send, args=(b"# %d\n" % n,)) for n in range(3)]
    for t in threads:
        t.start()
    for t in threads:
        t.join(LONG_S)
    assert not problems
    frogfeed("push", shared.file)


def test_a_push_that_was_given_up_holds_nobody_up_for_long() -> None:
    now = [0.0]
    turns = Turns(lambda: now[0])
    assert turns.take("B1", "a")
    assert turns.may("B1", "a") and not turns.may("B1", "b") and turns.may("B2", "b")
    now[0] = IDLE_S - 1
    turns.went_on("B1", "push.chunk")
    now[0] = IDLE_S + 1
    assert not turns.may("B1", "b")
    now[0] = 3 * IDLE_S
    assert turns.may("B1", "b")
    assert turns.take("B1", "b")
    turns.went_on("B1", "push.commit")
    assert turns.may("B1", "a")


def test_what_needs_the_port_itself_names_the_console_that_has_it(shared: Console) -> None:
    port = port_of(shared)
    where = f"the console on {shared.file.name} at http://127.0.0.1:{shared.served.port} (process {os.getpid()})"
    other = shared.file.with_name("other.toml")
    other.write_bytes(shared.file.read_bytes())
    for command in (
        ("install", "--port", port),
        ("replace", shared.file, "B1", "--port", port),
        ("console", shared.file, "--port", port),
        ("trim", other, "T1", "--set", "left=1200", "--port", port),
        ("prove", other, "--yes-to-none", "--port", port),
    ):
        result = frogfeed(*command, ends=3)
        assert where in result.output, command
        assert "end that console" in result.output, command
    assert where in frogfeed("boards", "--port", port).stdout
    assert where in frogfeed("boards", "--port", port, "--format", "json").stdout
    assert (shared.get("boards", "B1") or {})["up"]


def test_trim_and_prove_find_the_console_by_its_port_too(shared: Console) -> None:
    result = frogfeed("trim", shared.file, "T5", "--set", "left=1150", "--port", port_of(shared))
    assert "T5 left: 1150" in result.output
    shared.wait(lambda: shared.get("drives", "T5")["ends"][0] == 1150)
    frogfeed("push", shared.file)


def test_a_port_that_is_busy_by_another_program_stays_busy(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, railway: Railway
) -> None:
    monkeypatch.setenv("XDG_RUNTIME_DIR", str(tmp_path))
    scenario = scenario_of(railway.layout, railway.network, list(railway.documents.values()))
    with Bench(scenario, virtual=False) as bench, Client(way_to(bench.port(), None).opener):
        for command in (("state",), ("install",)):
            result = frogfeed(*command, "--port", bench.port(), ends=3)
            assert "another program has this port open" in result.output


@contextmanager
def found_console(railway: Railway, folder: Path, patch: pytest.MonkeyPatch) -> Iterator[tuple[Console, FakeBoard]]:
    """A console that has board B1, which terminals find in `folder` while no port is to be seen."""
    patch.setenv("XDG_RUNTIME_DIR", str(folder))
    patch.setattr("frogfeed.board.ports._list_ports.comports", list)
    file, board = demo_copy(folder), FakeBoard(railway, "B1")
    with with_links(file, {"B1": lambda: FakeLink(board)}) as console:
        console.wait(lambda: (console.get("boards", "B1") or {}).get("up"))
        with advertised(file, "127.0.0.1", console.served.port, console.key):
            yield console, board


def test_only_one_board_is_taken_without_a_name(
    railway: Railway, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("XDG_RUNTIME_DIR", str(tmp_path))
    monkeypatch.setattr("frogfeed.board.ports.list_ports", lambda: ())
    monkeypatch.setattr("frogfeed.board.ports._list_ports.comports", list)
    with pytest.raises(NoPort):
        way_to(None, None)
    with found_console(railway, tmp_path, monkeypatch) as (console, _):
        file = console.file
        found = way_to(None, None).through
        assert found is not None and (found.board, found.port) == ("B1", "fake")
        assert way_to(None, None, file=file, board="B1").through is not None
        assert way_to(None, "00").through is not None
        for way in ({"serial": "E66"}, {"serial": None, "board": "B2"}, {"serial": None, "file": tmp_path / "x"}):
            with pytest.raises(NoPort):
                way_to(None, **way)  # type: ignore[arg-type]
        with (
            advertised(tmp_path / "copy.toml", "127.0.0.1", console.served.port, console.key),
            pytest.raises(AmbiguousPort) as several,
        ):
            way_to(None, None)
        assert several.value.candidates == ("fake", "fake")


def test_a_board_unplugged_from_the_console_comes_back_to_the_terminal(
    railway: Railway, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    with found_console(railway, tmp_path, monkeypatch) as (console, board):
        way = way_to(None, None)
        transport = way.opener()
        monkeypatch.setattr("frogfeed.console.relay.HEARD_S", 0.05)
        board.plugged = False
        console.wait(lambda: not (console.get("boards", "B1") or {}).get("up"))
        transport.write(request_line(1, "hello", {}))
        with pytest.raises(PortVanished, match=r"the port went away|no such port"):
            transport.read(LONG_S)
        transport.close()
        board.plugged = True
        console.wait(lambda: (console.get("boards", "B1") or {}).get("up"))
        again = way.opener()
        again.write(request_line(2, "throw", {"drive": "T1", "to": "right"}))
        said, end = b"", time.monotonic() + LONG_S
        while b'"queued":1' not in said and time.monotonic() < end:
            said += again.read(1.0)
        assert b'"queued":1' in said
        again.close()


def test_a_console_that_goes_away_while_one_watches_is_told(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("XDG_RUNTIME_DIR", str(tmp_path))
    console = start("console", demo_copy(tmp_path), "--bench")
    watching = None
    try:
        read_until(console.stdout, "Ctrl-C ends")
        watching = start("watch", "--seconds", 10 * LONG_S)
        read_until(watching.stderr, "Through the console")
        read_until(watching.stdout, "current")
        console.terminate()
        said, told = watching.communicate(timeout=LONG_S)
        assert watching.returncode == 3, said + told
        assert "the console went away" in told
        assert "give the command again" in told
        assert "Traceback" not in told
    finally:
        for program in (console, watching):
            if program is not None and program.poll() is None:
                program.terminate()
            if program is not None:
                program.communicate(timeout=LONG_S)


def test_a_console_that_died_says_so_at_the_next_request(
    railway: Railway, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    with found_console(railway, tmp_path, monkeypatch):
        way = way_to(None, None)
        transport = way.opener()
    with pytest.raises(ConsoleGone, match="the console went away"):
        transport.read(LONG_S)
    with pytest.raises(ConsoleGone, match="the console went away"):
        transport.write(b"\n")
    transport.close()
    with pytest.raises(ConsoleGone, match="no console answers there"):
        way.opener()


@pytest.mark.parametrize("port", ["99999", "B1=/dev/no-such-port"])
def test_a_console_refuses_a_port_that_is_not_there(port: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("XDG_RUNTIME_DIR", str(tmp_path))
    result = frogfeed("console", demo_copy(tmp_path), "--port", port, ends=3)
    assert "there is no such port" in result.output
    assert ("--http-port 99999" in result.output) == (port == "99999")
    for wrong in ("99999", "-1", "x"):
        assert "--http-port" in frogfeed("console", demo_copy(tmp_path), "--http-port", wrong, ends=2).output


def test_a_console_that_lets_nobody_in_is_named_not_taken_for_a_missing_board(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("XDG_RUNTIME_DIR", str(tmp_path))
    monkeypatch.setattr("frogfeed.board.ports._list_ports.comports", list)
    file = demo_copy(tmp_path)
    with socket.create_server(("127.0.0.1", 0)) as closed:
        port = closed.getsockname()[1]
    with advertised(file, "127.0.0.1", port, "key"), pytest.raises(ConsoleGone, match="does not answer"):
        way_to(None, None, file=file)
    with pytest.raises(NoPort):
        way_to(None, None, file=file)
