"""Installing on the bench: the real MicroPython's prompt behind a pseudo terminal, driven by mpremote's library."""

from __future__ import annotations

import contextlib
import itertools
import json
import time
from collections.abc import Callable, Iterator
from typing import Any

import pytest
import railway
import serial

from frogfeed.bench.bench import Bench
from frogfeed.board.client import Client, Limits
from frogfeed.board.commands import throw
from frogfeed.board.errors import (
    BoardError,
    InstallFailed,
    NoAnswer,
    NoPort,
    PortVanished,
    RuntimeRefused,
    WrongBoard,
)
from frogfeed.board.install import flow, payload
from frogfeed.board.install.facts import RuntimeFacts, ask_runtime, check_runtime
from frogfeed.board.install.flow import Sources, install
from frogfeed.board.install.installer import Step, put_firmware
from frogfeed.board.install.payload import firmware_sources, make_payload, version_of
from frogfeed.board.install.pointer import POINTER, Pointer
from frogfeed.board.install.repl import Repl, enter_prompt, leave_prompt
from frogfeed.board.ports import opener_for
from frogfeed.board.transfer import push_board

TEXT, DOCUMENTS, SCENARIO = railway.built()
((NAME, DOCUMENT),) = DOCUMENTS.items()


def version(number: str) -> Sources:
    """This firmware, calling itself another version: every other file stays the same."""
    main, files = firmware_sources()
    files = dict(files)
    old = files["frogboard/__init__.py"]
    files["frogboard/__init__.py"] = old.replace(b'VERSION = "0.1.0"', f'VERSION = "{number}"'.encode())
    assert files["frogboard/__init__.py"] != old
    return main, files


@pytest.fixture
def bench() -> Iterator[Bench]:
    with Bench(SCENARIO, virtual=False) as bench:
        yield bench


def find(bench: Bench) -> Callable[[], str]:
    return lambda: bench.port()


def running(bench: Bench) -> str:
    """The version of the firmware that answers."""
    client = Client(opener_for(device=bench.port()), limits=Limits(hello_s=20))
    try:
        return client.connect().firmware
    finally:
        client.close()


def folders(bench: Bench) -> set[str]:
    return {path.name for path in bench.root().iterdir() if path.name.startswith("fw-")}


def settled(bench: Bench) -> str:
    """The pointer's text once the new firmware has taken the mark away."""
    end = time.monotonic() + 10
    while True:
        text = (bench.root() / POINTER).read_text()
        if text.count("\n") == 2 or time.monotonic() > end:
            return text
        time.sleep(0.01)


def test_from_firmware_to_firmware_with_the_settings_kept(bench: Bench) -> None:
    with Client(opener_for(device=bench.port())) as client:
        push_board(client, DOCUMENT, TEXT.encode())
    steps: list[Step] = []
    first = install(find(bench), sources=version("1.0.0"), progress=steps.append)
    assert first.before is not None and first.before.firmware == "0.1.0"
    assert first.after.firmware == "1.0.0" and first.after.board == NAME
    assert first.done.form == "mpy" and first.done.before == "."
    assert steps[-1].sent == steps[-1].to_send > 10_000
    assert [step.sent for step in steps[:-1]] == sorted(step.sent for step in steps[:-1])
    with Client(opener_for(device=bench.port())) as client:
        assert throw(client, "T2", "right").at == "right"

    second = install(find(bench), sources=version("1.1.0"))
    assert second.after.firmware == "1.1.0"
    assert second.done.sent == 1, "only the file that says the version has changed"
    assert second.done.copied == len(firmware_sources()[1]) - 1
    assert second.done.before == first.done.folder
    assert settled(bench) == f"{second.done.folder}\n{first.done.folder}\n"
    with Client(opener_for(device=bench.port())) as client:
        drive = client.state().drive("T2")
        assert drive is not None and drive.at == "right"

    again = install(find(bench), sources=version("1.1.0"))
    assert again.done.unchanged and again.after.firmware == "1.1.0"

    third = install(find(bench), sources=version("1.2.0"))
    assert folders(bench) == {second.done.folder, third.done.folder}, "older ones are cleared away"


def test_without_the_compiler_the_sources_themselves_are_installed(
    bench: Bench, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(payload, "can_compile", lambda: False)
    done = install(find(bench), sources=version("1.0.0"))
    assert done.done.form == "py" and done.after.firmware == "1.0.0"
    assert {path.suffix for path in (bench.root() / done.done.folder / "frogboard").iterdir()} == {".py"}
    assert done.done.copied == len(firmware_sources()[1]) - 1, "what lay beside main.py was copied on the board"


class Puller:
    """Wraps a prompt; the cable comes out at a given command: before it, or with half of it on its way."""

    def __init__(self, at: int, half: bool) -> None:
        self.left = at
        self.half = half
        self.commands = 0
        self.pulled = False

    def wrap(self, repl: Repl) -> Repl:
        honest = repl.run

        def run(code: str) -> str:
            self.commands += 1
            self.left -= 1
            if self.left < 0 and not self.pulled:
                self.pulled = True
                if self.half:
                    with contextlib.suppress(serial.SerialException, OSError):
                        repl._transport.serial.write(b"\x05A\x01" + code.encode()[: len(code) // 2])
                repl._transport.serial.close()
                raise PortVanished("the cable came out")
            return honest(code)

        repl.run = run  # type: ignore[method-assign]
        return repl


def reset(bench: Bench) -> None:
    """What plugging the cable in again does to a board that lives on it: it starts anew."""
    leave_prompt(enter_prompt(find(bench)))


@pytest.mark.slow
@pytest.mark.parametrize("half", [False, True], ids=["between", "within"])
def test_the_cable_pulled_at_every_stage_leaves_the_old_firmware_running(
    half: bool, monkeypatch: pytest.MonkeyPatch
) -> None:
    with Bench(SCENARIO, virtual=False) as bench:
        now = install(find(bench), sources=version("1.0.0")).after.firmware
        old: list[int] = []
        for stage in itertools.count():
            new = f"2.{stage}.0"
            puller = Puller(stage, half)
            monkeypatch.setattr(flow, "enter_prompt", lambda find, p=puller, **how: p.wrap(enter_prompt(find, **how)))
            whole = False
            with contextlib.suppress(PortVanished):
                install(find(bench), sources=version(new))
                whole = True
            monkeypatch.undo()
            if whole:
                break
            reset(bench)
            found = running(bench)
            if found == now:
                old.append(stage)
            else:
                assert found == new, f"stage {stage}"
                now = new
        assert stage > 10, "so many commands an installation has at least"
        assert old[:8] == list(range(8)), "until the rename, near the end, the old one runs"
        assert running(bench) == new, "the one that was not interrupted"


def test_an_interrupted_install_goes_on_where_it_was(monkeypatch: pytest.MonkeyPatch) -> None:
    with Bench(SCENARIO, virtual=False) as bench:
        puller = Puller(40, True)
        monkeypatch.setattr(flow, "enter_prompt", lambda find, **how: puller.wrap(enter_prompt(find, **how)))
        with pytest.raises(PortVanished):
            install(find(bench), sources=version("1.0.0"))
        monkeypatch.undo()
        done = install(find(bench), sources=version("1.0.0")).done  # the board still stands at its prompt
        assert 0 < done.sent < len(firmware_sources()[1])
        assert running(bench) == "1.0.0"


def test_bytes_changed_on_the_way_are_found_before_the_pointer_turns(
    bench: Bench, monkeypatch: pytest.MonkeyPatch
) -> None:
    spoilt: list[str] = []

    def enter(find: Callable[[], str], **how: Any) -> Repl:
        repl = enter_prompt(find, **how)
        honest = repl.run

        def run(code: str) -> str:
            if code.startswith("_f.write") and not spoilt:
                spoilt.append(code)
                code = "_f.write(b'rubbish')"
            return honest(code)

        repl.run = run  # type: ignore[method-assign]
        return repl

    monkeypatch.setattr(flow, "enter_prompt", enter)
    with pytest.raises(InstallFailed, match="did not arrive"):
        install(find(bench), sources=version("1.0.0"))
    monkeypatch.undo()
    assert spoilt
    assert running(bench) == "0.1.0"
    assert not (bench.root() / POINTER).exists()
    assert install(find(bench), sources=version("1.0.0")).done.sent == 1


def broken(number: str, name: str, text: str) -> Sources:
    main, files = version(number)
    return main, {**files, name: text.encode()}


def test_firmware_that_cannot_be_loaded_leaves_the_old_one_running(bench: Bench) -> None:
    install(find(bench), sources=version("1.0.0"))
    with pytest.raises(InstallFailed, match=r"firmware 2\.0\.0 is on the board, but 1\.0\.0 runs"):
        install(find(bench), sources=broken("2.0.0", "frogboard/app.py", "raise RuntimeError('broken')\n"))
    assert running(bench) == "1.0.0"


def test_firmware_that_hangs_is_left_by_the_watchdog_for_the_old_one(bench: Bench) -> None:
    install(find(bench), sources=version("1.0.0"))
    main, files = version("2.0.0")
    # a loop that never feeds the watchdog; it looks at the clock, or the bench's own watchdog would stand still
    hang = b"        while True:\n            time.sleep_ms(1)\n"
    loop = files["frogboard/app.py"].replace(b"        began_us = time.ticks_us()\n", hang)
    assert loop != files["frogboard/app.py"]
    with pytest.raises(InstallFailed, match=r"but 1\.0\.0 runs"):
        install(find(bench), sources=(main, {**files, "frogboard/app.py": loop}))
    assert running(bench) == "1.0.0"
    assert bench.lives() >= 3


def test_a_source_that_is_no_python_is_refused_before_anything_is_sent(bench: Bench) -> None:
    with pytest.raises(InstallFailed, match="cannot be compiled"):
        install(find(bench), sources=broken("2.0.0", "frogboard/link.py", "this is no Python\n"))
    assert running(bench) == "0.1.0"
    assert folders(bench) == set()


def test_the_wrong_board_is_left_as_it_was(bench: Bench) -> None:
    with pytest.raises(WrongBoard, match="0000000100000000"):
        install(find(bench), sources=version("1.0.0"), chip_id="e6614103e7452d2f")
    assert running(bench) == "0.1.0"
    assert folders(bench) == set()


def test_a_board_without_any_firmware() -> None:
    with Bench(SCENARIO, virtual=False) as bench:
        client = Client(opener_for(device=bench.port()))
        client.connect()
        client.request("maintenance")
        client.close()
        repl = enter_prompt(find(bench))
        repl.run(
            "import os\nfor n in os.listdir('frogboard'):\n os.remove('frogboard/'+n)\n"
            "os.rmdir('frogboard')\nos.remove('main.py')"
        )
        repl.close()
        done = install(find(bench), sources=version("1.0.0"))
        assert done.before is None and done.done.before == ""
        assert done.after.firmware == "1.0.0"
        assert (bench.root() / POINTER).read_text() == f"{done.done.folder}\n\n"


def test_no_port_and_nothing_behind_it(tmp_path: Any) -> None:
    def nowhere() -> str:
        raise NoPort("no such port")

    with pytest.raises(NoPort):
        install(nowhere)
    import os
    import pty

    master, slave = pty.openpty()
    try:
        began = time.monotonic()
        with pytest.raises(NoAnswer, match="no MicroPython prompt"):
            enter_prompt(lambda: os.ttyname(slave), limit_s=1.0)
        assert time.monotonic() - began < 15
    finally:
        os.close(master)
        os.close(slave)


# ---- which runtimes are taken


class Says:
    """A prompt whose board gives fixed answers."""

    def __init__(self, **facts: Any) -> None:
        self.facts = {
            "name": "micropython",
            "version": [1, 29, 0],
            "machine": "Some board with RP2040",
            "mpy": 0x1E06,
            "platform": "rp2",
            "free": 800_000,
            "id": "e661",
            "lacks": [],
            **facts,
        }
        self.ran: list[str] = []

    def run(self, code: str) -> str:
        self.ran.append(code)
        return json.dumps(self.facts)

    def close(self) -> None:
        pass


def test_a_fitting_runtime_is_taken() -> None:
    facts = ask_runtime(Says())
    assert (facts.chip, facts.mpy_version, facts.free) == ("RP2040", 6, 800_000)
    check_runtime(facts)
    check_runtime(facts, chip="rp2040")
    check_runtime(ask_runtime(Says(machine="Board with RP2350", version=[1, 24, 1])), chip="RP2350")


@pytest.mark.parametrize(
    ("facts", "chip", "words"),
    [
        ({"version": [1, 21, 0]}, None, "too old"),
        ({"name": "circuitpython", "version": [9, 0, 0]}, None, "not MicroPython"),
        ({"machine": "Some module with ESP32", "platform": "esp32"}, None, "not made for"),
        ({"machine": "Some board with RP2040"}, "RP2350", "profile"),
        ({"lacks": ["WDT", "PWM"]}, None, "machine.WDT, machine.PWM"),
        ({"platform": "linux", "machine": "linux", "lacks": ["Pin"]}, None, "lacks machine.Pin"),
    ],
)
def test_others_are_refused_with_the_reason(facts: dict[str, Any], chip: str | None, words: str) -> None:
    with pytest.raises(RuntimeRefused, match=words) as caught:
        check_runtime(ask_runtime(Says(**facts)), chip=chip)
    assert caught.value.cure


def test_a_refused_runtime_gets_its_own_program_back(bench: Bench, monkeypatch: pytest.MonkeyPatch) -> None:
    honest = ask_runtime

    def old(prompt: Any) -> RuntimeFacts:
        facts = honest(prompt)
        return RuntimeFacts(facts.name, (1, 20, 0), facts.machine, facts.platform, None, -1, facts.id)

    monkeypatch.setattr(flow, "ask_runtime", old)
    with pytest.raises(RuntimeRefused, match="too old"):
        install(find(bench), sources=version("1.0.0"))
    assert running(bench) == "0.1.0"
    assert folders(bench) == set()


def test_too_little_room_is_told_before_anything_is_sent() -> None:
    board = Says(files={}, pointer="")
    with pytest.raises(InstallFailed, match="5000 bytes free"):
        put_firmware(board, make_payload(*firmware_sources(), 6), free=5000)
    assert not any("open(" in code and "'wb'" in code for code in board.ran)


def test_a_board_that_talks_nonsense_is_told() -> None:
    class Nonsense(Says):
        def run(self, code: str) -> str:
            return "boo"

    with pytest.raises(InstallFailed, match="'boo'"):
        ask_runtime(Nonsense())


# ---- what is sent


def test_bytecode_only_where_the_runtime_takes_that_version() -> None:
    main, files = firmware_sources()
    assert make_payload(main, files, 6).form == "mpy"
    assert all(content[:2] == b"M\x06" for content in make_payload(main, files, 6).files.values())
    for other in (5, 7, None):
        made = make_payload(main, files, other)
        assert made.form == "py" and made.files == files


def test_the_folder_is_named_by_its_contents() -> None:
    main, files = firmware_sources()
    one = make_payload(main, files, None)
    assert one.folder == make_payload(main, dict(reversed(files.items())), None).folder
    assert one.folder != make_payload(*version("9.9.9"), None).folder
    assert one.folder != make_payload(main, files, 6).folder
    assert version_of(version("9.9.9")[1]) == "9.9.9"
    assert version_of({}) is None


def test_the_pointer_reads_as_main_py_reads_it() -> None:
    for pointer in (Pointer("fw-1", "fw-0", True), Pointer("fw-1", "fw-0"), Pointer("fw-1")):
        assert Pointer.of(pointer.text()) == pointer
    assert Pointer.of("") is None


def test_every_error_of_installing_ends_with_exit_code_3() -> None:
    assert {kind.exit_code for kind in (InstallFailed, RuntimeRefused, PortVanished, NoAnswer)} == {3}
    assert issubclass(InstallFailed, BoardError)
