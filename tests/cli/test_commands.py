"""The commands as a person meets them: exit codes, located messages, nothing half-done."""

from __future__ import annotations

import json
import os
import pty
import tomllib
from pathlib import Path

import jsonschema
import pytest
from click.testing import CliRunner, Result

from frogfeed.cli import COMMANDS, main
from frogfeed.demo.railway import WRONG, demo_file


def run(*words: str | Path) -> Result:
    return CliRunner().invoke(main, [str(w) for w in words])


@pytest.mark.parametrize("name", list(COMMANDS))
def test_every_command_explains_itself(name: str) -> None:
    result = run(name, "--help")
    assert result.exit_code == 0, result.output
    assert "Usage:" in result.output


def test_a_mistyped_command_is_answered_with_the_one_that_was_meant() -> None:
    near, far = run("chek", demo_file()), run("xyzzy")
    assert near.exit_code == far.exit_code == 2
    assert "Did you mean 'check'?" in near.output
    assert "There is no command 'xyzzy'." in far.output
    assert "Did you mean" not in far.output


def test_a_new_file_checks_clean_and_is_never_overwritten(tmp_path: Path) -> None:
    file = tmp_path / "mine.toml"
    assert run("new", file).exit_code == 0
    assert run("check", file).exit_code == 0
    before = file.read_bytes()
    assert run("new", file).exit_code == 2
    assert file.read_bytes() == before


def test_check_says_0_1_and_2(tmp_path: Path) -> None:
    assert run("check", demo_file()).exit_code == 0
    wrong = run("check", demo_file(WRONG))
    assert wrong.exit_code == 1
    unwrapped = " ".join(wrong.output.split())  # a long path breaks the line at 80 columns
    assert f"{demo_file(WRONG)}:38:10: error short: T2" in unwrapped
    broken = tmp_path / "broken.toml"
    broken.write_text(
        '[layout]\nname = "x"\ngauge = "OO"\ncontrol = "dc"\n[district.main]\n[turnout.T1]\nmkae = "live-frog"\n'
    )
    result = run("check", broken)
    assert result.exit_code == 2
    assert f"{broken}:7:1" in result.stderr and "make" in result.stderr


def test_the_wrong_demo_is_wrong_in_six_ways() -> None:
    found = json.loads(run("check", demo_file(WRONG), "--format", "json").stdout)["findings"]
    serious = [f["code"] for f in found if f["severity"] != "note"]
    track = [c for c in serious if not c.startswith(("elec-", "plan-", "throw-"))]
    assert sorted(track) == sorted(["short", "short", "never-fed", "clash", "hangs-on-blade", "hangs-on-joiner"])


def test_sarif_is_sarif() -> None:
    found = json.loads(run("check", demo_file(WRONG), "--format", "sarif").stdout)
    assert found["version"] == "2.1.0"
    assert any(r["ruleId"] == "short" for r in found["runs"][0]["results"])


def test_text_fits_80_columns() -> None:
    path = str(demo_file(WRONG))
    for line in run("check", demo_file(WRONG)).stdout.splitlines():
        assert len(line.replace(path, "file.toml")) <= 80


def test_the_schema_takes_the_demo_and_refuses_nonsense() -> None:
    schema = json.loads(run("schema").stdout)
    data = tomllib.loads(demo_file().read_text(encoding="utf-8"))
    jsonschema.Draft202012Validator(schema).validate(data)
    data["turnout"]["T1"]["make"] = "wooden"
    assert list(jsonschema.Draft202012Validator(schema).iter_errors(data))


def test_netlist_has_the_documented_form() -> None:
    net = json.loads(run("netlist", demo_file()).stdout)
    assert set(net) == {
        "drives", "rails", "wires", "bonds", "contacts", "feeds", "switched", "bridges", "roads",
    }  # fmt: skip
    rails = set(net["rails"])
    assert all(set(b) <= rails for b in net["bonds"])
    for s in net["switched"]:
        assert set(s) == {"rail", "output", "table", "unpowered"}
        assert s["rail"] in rails and all(row["wire"] in net["wires"] for row in s["table"])
    wrong_drive = run("netlist", demo_file(), "--format", "spice", "--when", "T99=left")
    assert wrong_drive.exit_code == 2


def test_build_writes_one_document_a_board_whole(tmp_path: Path) -> None:
    assert run("build", demo_file(), "-o", tmp_path / "out").exit_code == 0
    assert [p.name for p in (tmp_path / "out").iterdir()] == ["B1.json"]
    refused = run("build", demo_file(WRONG), "-o", tmp_path / "none")
    assert refused.exit_code == 1
    assert not (tmp_path / "none").exists()


def test_an_unwritable_folder_is_told_of(tmp_path: Path) -> None:
    block = tmp_path / "file"
    block.write_text("in the way")
    result = run("build", demo_file(), "-o", block / "out")
    assert result.exit_code == 2
    assert "could not be written" in " ".join(result.stderr.split())


def test_plan_from_bare_writes_a_file_that_checks_clean(tmp_path: Path) -> None:
    bare = tmp_path / "bare.toml"
    bare.write_text(
        '[layout]\nname = "Bare"\ngauge = "OO"\ncontrol = "dc"\nfeeds = "propose"\n[district.main]\n'
        '# the one turnout\n[turnout.T1]\nfrog_number = 6\n[place.a]\nkind = "buffer"\n[place.b]\nkind = "buffer"\n'
        '[place.c]\nkind = "buffer"\n[lines]\nm = ["a", "T1.toe", "T1.left", "b"]\ns = ["T1.right", "c"]\n'
    )
    out = tmp_path / "full.toml"
    result = run("plan", bare, "-o", out)
    assert result.exit_code == 0, result.output
    assert "because" in result.output
    assert "# the one turnout" in out.read_text()
    assert run("check", out).exit_code == 0
    assert run("plan", bare, "-o", out).exit_code == 2


def test_trace_names_the_way_and_the_nearest_rail() -> None:
    ok = run("trace", demo_file(), "T6.VR", "--when", "T6=right")
    assert ok.exit_code == 0
    assert "blade contact" in ok.output
    assert "each reads 12 V" in ok.output
    assert run("trace", demo_file(), "T6.VR", "--when", "T6=left").exit_code == 1
    near = run("trace", demo_file(), "T6.VX")
    assert near.exit_code == 2
    assert "T6.VR" in near.stderr
    piece = run("trace", demo_file(), "T6")
    assert piece.exit_code == 2
    assert {"T6.SL", "T6.VR"} <= set(piece.stderr.replace(",", " ").replace(".\n", " ").split())


@pytest.mark.parametrize(
    "words",
    [
        ("state", "--port", "/dev/no-such-port"),
        ("throw", "T1", "left", "--port", "/dev/no-such-port"),
        ("watch", "--port", "/dev/no-such-port", "--seconds", "1"),
        ("pull", "-o", "never-written.toml", "--port", "/dev/no-such-port"),
    ],
)
def test_no_port_ends_with_3_and_says_what_to_do(
    words: tuple[str, ...], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    result = CliRunner().invoke(main, list(words))
    assert result.exit_code == 3
    assert "/dev/no-such-port" in result.stderr and "do:" in result.stderr
    assert list(tmp_path.iterdir()) == []


def test_what_went_wrong_is_told_in_80_columns_with_its_parts_below_each_other() -> None:
    told = run("state", "--port", "/dev/no-such-port").stderr.splitlines()
    assert max(len(line) for line in told) <= 80
    why = next(i for i, line in enumerate(told) if line.startswith("  do:  "))
    assert told[why + 1].startswith(" " * 7)


def test_a_port_that_never_answers_ends_with_3() -> None:
    ours, theirs = pty.openpty()
    try:
        os.write(ours, b"boot text\r\n\x00\xff{]\r\n")
        result = run("state", "--port", os.ttyname(theirs))
        assert result.exit_code == 3
        assert "do:" in result.stderr
    finally:
        os.close(ours)
        os.close(theirs)
