"""The bench in real time: a serial port that anything can open; and several boards on one railway."""

from __future__ import annotations

import os
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
import serial

from frogfeed.bench import process
from frogfeed.bench.bench import Bench
from frogfeed.bench.errors import BenchError, BoardStuckError

MakeBench = Callable[..., Bench]


def test_a_program_talks_to_it_through_a_serial_port(make_bench: MakeBench) -> None:
    with make_bench(virtual=False) as bench, serial.Serial(bench.port(), timeout=3, exclusive=True) as port:
        assert port.readline().startswith(b"ready 1")
        port.write(b"s")
        began = time.monotonic()
        port.write(b"r")
        assert port.readline().startswith(b"right")
        assert 1.1 < time.monotonic() - began < 2.5, "it takes as long as a throw takes"
        assert bench.query()["drives"] == {"T1": 2}
        assert bench.log.of("spark") == []


def test_closing_and_opening_the_port_is_survived(make_bench: MakeBench) -> None:
    with make_bench(virtual=False) as bench:
        with serial.Serial(bench.port(), timeout=3, exclusive=True) as port:
            assert port.readline().startswith(b"ready")
        with serial.Serial(bench.port(), timeout=3, exclusive=True) as port:
            port.write(b"z")
            assert port.readline().startswith(b"ready 3")
        assert bench.lives() == 2


def test_the_process_is_gone_afterwards_and_so_is_its_folder(make_bench: MakeBench) -> None:
    with make_bench(virtual=False) as bench:
        pid, folder = bench.process_id(), bench.root().parent
        os.kill(pid, 0)
        assert folder.exists()
    with pytest.raises(ProcessLookupError):
        os.kill(pid, 0)
    assert not folder.exists()


def test_two_boards_share_one_railway(
    make_bench: MakeBench, two_boards: tuple[dict[str, Any], list[dict[str, Any]]]
) -> None:
    netlist, documents = two_boards
    with make_bench(netlist=netlist, documents=documents) as bench:
        for board in ("B1", "B2"):
            bench.serial(board).write(b"s")
        bench.advance(500)
        bench.serial("B1").write(b"r")
        bench.advance(2000)
        assert bench.log.of("spark") == []
        assert bench.query("B1")["rails"]["T1.BL"] == "m.A"
        assert bench.query("B2")["rails"]["T2.BL"] == "n.B"
        # the second board's mistake is seen on the railway that both share
        bench.serial("B2").write(b"Or")
        bench.advance(3000)
        sparks = bench.log.of("spark")
        assert {w for e in sparks for w in e.facts["wires"]} == {"n.A", "n.B"}


def test_two_boards_give_the_same_run_again(
    make_bench: MakeBench, two_boards: tuple[dict[str, Any], list[dict[str, Any]]]
) -> None:
    netlist, documents = two_boards

    def run() -> list[str]:
        with make_bench(netlist=netlist, documents=documents) as bench:
            for board in ("B1", "B2"):
                bench.serial(board).write(b"sOr")
            bench.advance(4000)
            return [str(e) for e in bench.log.sorted()]

    assert run() == run()


def test_a_board_that_hangs_is_told_of(make_bench: MakeBench, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("frogfeed.bench.bench.STUCK_S", 1.0)
    (tmp_path / "main.py").write_text("while True:\n    pass\n")
    with make_bench(firmware=tmp_path) as bench:
        pid = bench.process_id()
        with pytest.raises(BoardStuckError, match="loops without looking at the time"):
            bench.advance(1000)
    with pytest.raises(ProcessLookupError):
        os.kill(pid, 0)


def test_a_board_that_never_gets_going_is_told_of(make_bench: MakeBench, tmp_path: Path) -> None:
    (tmp_path / "main.py").write_text("import machine\nmachine.reset()\n")
    with make_bench(firmware=tmp_path) as bench, pytest.raises(BenchError, match="resets again and again"):
        bench.advance(60_000)


def test_without_a_micropython_it_says_so_and_goes_on(make_bench: MakeBench, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(process, "micropython_command", lambda: None)
    with make_bench() as bench:
        assert "for want of a MicroPython" in bench.interpreter
        port = bench.serial()
        port.write(b"sr")
        bench.advance(3000)
        assert b"right" in port.read()
    with pytest.raises(BenchError, match="no MicroPython for this platform"):
        make_bench(python=False)


def test_a_reader_that_never_reads_does_not_stop_time(make_bench: MakeBench) -> None:
    with make_bench() as bench:
        port = bench.serial()
        port.listen(False)
        port.write(b"s")
        bench.advance(10_000)
        assert port.read() == b""
        port.listen(True)
        bench.advance(10)
        assert b"ready" in port.read()
