"""Trimming and proving in a terminal: on a session of its own, and at a console that runs already."""

from __future__ import annotations

import json
import tomllib
from collections.abc import Iterator
from pathlib import Path

import pytest
from click.testing import CliRunner

from frogfeed.commands.prove import command as prove
from frogfeed.commands.trim import command as trim
from frogfeed.console.attach import advertised, attach
from frogfeed.console.own_seat import OwnSeat
from frogfeed.console.ports import serial_links
from frogfeed.console.railway import Railway, railway_of
from frogfeed.console.refusals import RefusedError
from frogfeed.console.session import Session
from frogfeed.console.terminal import prove_layout, trim_drive, wait_ready
from frogfeed.layout.reading import read_layout_text
from tests.console.conftest import LONG_S, demo_copy, with_links, yard
from tests.console.fake import FakeBoard, FakeLink


@pytest.fixture
def seat(railway: Railway, tmp_path: Path) -> Iterator[OwnSeat]:
    board = FakeBoard(railway, "B1")
    file = demo_copy(tmp_path)
    found = OwnSeat(
        Session(file, railway_of(read_layout_text(file.read_text(), str(file))), {"B1": lambda: FakeLink(board)})
    )
    wait_ready(found, "B1", LONG_S)
    yield found
    found.close()


def answers(*words: str) -> Iterator[str]:
    yield from words


def test_a_drive_is_trimmed_by_words(seat: OwnSeat) -> None:
    said: list[str] = []
    words = answers("right", "+20", "-5", "+600", "speed x", "nonsense", "save", "quit")
    assert trim_drive(seat, "crossover", said.append, lambda _: next(words))
    text = "\n".join(said)
    assert "*right 1815 µs" in text
    assert "outside the servo's range" in text
    assert text.count("move this end by") == 3
    assert seat.session.path is not None
    kept = tomllib.loads(seat.session.path.read_text(encoding="utf-8"))
    assert kept["drive"]["crossover"]["pulse_us"] == {"left": 1200, "right": 1815}


def test_a_proof_without_a_person_leaves_out_what_needs_one(seat: OwnSeat) -> None:
    said: list[str] = []
    proof = prove_layout(seat, said.append, None, meter=True, by="nobody")
    results = {s[0]: s[4] for s in proof["steps"]}
    assert results["T1 to right"] == "pass"
    assert results["D7 to right"] == "skip"
    assert {r for n, r in results.items() if n.startswith("meter")} == {"skip"}
    assert proof["verdict"] == "unfinished"
    assert proof["saved"]
    assert len(said) == len(results)


def test_a_proof_can_be_stopped_and_only_one_runs(seat: OwnSeat) -> None:
    seat.ask("prove.start", meter=False, by="")
    with pytest.raises(RefusedError, match="a proof is running"):
        seat.ask("prove.start", meter=False, by="")
    seat.ask("prove.stop")
    assert seat.get("proof", "now")["state"] == "ended"
    assert seat.get("proof", "now")["verdict"] == "unfinished"


def test_a_terminal_finds_the_console_that_runs_on_its_file(
    railway: Railway, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("XDG_RUNTIME_DIR", str(tmp_path))
    board = FakeBoard(railway, "B1")
    file = demo_copy(tmp_path)
    with with_links(file, {"B1": lambda: FakeLink(board)}) as console:
        assert attach(file) is None
        with advertised(file, "127.0.0.1", console.served.port, console.key):
            result = CliRunner().invoke(trim, [str(file), "T5", "--set", "left=1130", "--save"], catch_exceptions=False)
            assert result.exit_code == 0, result.output
            assert "T5 left: 1130" in result.output
            assert console.get("drives", "T5")["ends"][0] == 1130
            assert tomllib.loads(file.read_text())["drive"]["T5"]["pulse_us"]["left"] == 1130
            wrong = CliRunner().invoke(trim, [str(file), "T99", "--set", "left=1130"])
            assert wrong.exit_code == 2
            assert "No drive is called 'T99'" in wrong.output
            piece = next(
                n for n, t in tomllib.loads(file.read_text())["turnout"].items() if t.get("drive") == "crossover"
            )
            named = CliRunner().invoke(trim, [str(file), piece, "--set", "left=1210"])
            assert named.exit_code == 0, named.output
            assert f"{piece} is thrown by crossover." in named.output
            for words, said in (
                (("D7", "--set", "left=1210"), "D7 is thrown by hand"),
                (("T5", "--set", "left=121"), "300 to 2700"),
                (("T5", "--set", "left=x"), "say it as left=1450"),
            ):
                refused = CliRunner().invoke(trim, [str(file), *words])
                assert refused.exit_code == 2
                assert said in refused.output


def test_prove_on_the_bench_ends_with_its_exit_code(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("XDG_RUNTIME_DIR", str(tmp_path))
    file = demo_copy(tmp_path)
    result = CliRunner().invoke(prove, [str(file), "--bench", "--yes-to-none", "--no-meter", "--json"])
    assert result.exit_code == 0, result.output
    told = json.loads(result.output)
    assert {s["result"] for s in told["steps"]} == {"pass", "skip"}
    assert (tmp_path / told["record"]).exists()


def test_without_a_board_it_ends_with_3_and_says_what_to_do(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("XDG_RUNTIME_DIR", str(tmp_path))
    file = demo_copy(tmp_path)
    result = CliRunner().invoke(prove, [str(file), "--port", str(tmp_path / "no-such-port")])
    assert result.exit_code == 3
    assert "no such port" in result.output
    assert "Traceback" not in result.output


def test_ports_are_stated_for_the_right_boards(railway: Railway) -> None:
    assert set(serial_links(railway, ["/dev/x"])) == {"B1"}
    assert set(serial_links(railway, ["B1=/dev/x"])) == {"B1"}
    assert set(serial_links(railway)) == {"B1"}
    with pytest.raises(RefusedError, match="no board B7"):
        serial_links(railway, ["B7=/dev/x"])
    several = railway_of(read_layout_text(yard(20), "yard.toml"))
    with pytest.raises(RefusedError, match="does not say which board"):
        serial_links(several, ["/dev/x"])
    names = [b.name for b in several.plan.boards] if several.plan else []
    with pytest.raises(RefusedError, match="stated for two boards"):
        serial_links(several, [f"{names[0]}=/dev/x", f"{names[1]}=/dev/x"])


def test_the_console_keeps_nothing_of_the_shipped_demo(railway: Railway) -> None:
    session = Session(None, railway, {})
    with pytest.raises(RefusedError, match="does not save"):
        session.save("anything")
