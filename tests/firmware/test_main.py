"""main.py and the whole loop on the real MicroPython, real time, over pipes, with pins that are only written down."""

from __future__ import annotations

import base64
import binascii
import json
import os
import select
import shutil
import signal
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

from frogboard import frame, methods, settings

HERE = Path(__file__).parent
FIRMWARE = HERE.parents[1] / "firmware"


class Chip:
    """A board's file system and, while it runs, its program."""

    def __init__(self, micropython: str, root: Path) -> None:
        self.root = root
        self._micropython = micropython
        self._process: subprocess.Popen[bytes] | None = None
        self._id = 0
        self.events: list[dict[str, Any]] = []
        shutil.copy(FIRMWARE / "main.py", root)
        shutil.copytree(FIRMWARE / "frogboard", root / "frogboard", ignore=shutil.ignore_patterns("__pycache__"))

    def start(self) -> None:
        (self.root / "pins").write_text("")
        self._got = b""
        self._process = subprocess.Popen(
            [self._micropython, "main.py"],
            cwd=self.root,
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            env={**os.environ, "MICROPYPATH": f"{HERE / 'fake'}:.frozen:"},
        )

    def stop(self) -> None:
        if self._process is not None and self._process.poll() is None:
            self._process.kill()
            self._process.wait(10)

    def wait(self) -> int:
        assert self._process is not None
        return self._process.wait(10)

    def write(self, data: bytes) -> None:
        assert self._process is not None and self._process.stdin is not None
        self._process.stdin.write(data)
        self._process.stdin.flush()

    def line(self) -> str:
        assert self._process is not None and self._process.stdout is not None
        fd = self._process.stdout.fileno()
        while b"\n" not in self._got:
            assert select.select([fd], [], [], 10)[0], "nothing is said for ten seconds"
            more = os.read(fd, 4096)
            if not more:
                return ""
            self._got += more
        line, self._got = self._got.split(b"\n", 1)
        return line.decode() + "\n"

    def ask(self, method: str, **params: Any) -> Any:
        self._id += 1
        self.write(frame.pack({"jsonrpc": "2.0", "id": self._id, "method": method, "params": params}))
        while True:
            line = self.line()
            assert line, "the program ended"
            message = json.loads(line.rsplit(" ", 1)[0])
            if message.get("id") == self._id:
                return message.get("result", message.get("error"))
            self.events.append(message["params"])

    def push(self, text: bytes) -> Any:
        crc = f"{binascii.crc32(text):08x}"
        self.ask("push.begin", what="settings", size=len(text), crc32=crc)
        for at in range(0, len(text), 480):
            self.ask("push.chunk", at=at, data=base64.b64encode(text[at : at + 480]).decode())
        return self.ask("push.commit", crc32=crc)

    def pins(self) -> list[tuple[int, str, int, int]]:
        rows = [line.split() for line in (self.root / "pins").read_text().splitlines()]
        return [(int(r[0]), r[1], int(r[2]), int(r[3])) for r in rows]


@pytest.fixture
def chip(micropython: str, tmp_path: Path) -> Iterator[Chip]:
    one = Chip(micropython, tmp_path)
    yield one
    one.stop()


def document() -> bytes:
    moves = [
        {
            "drive": 0,
            "to": to,
            "off_us": (2000, 1000)[to],
            "off_lead_ms": 20,
            "on_us": (1000, 2000)[to],
            "on_lag_ms": 20,
        }
        for to in (0, 1)
    ]
    doc = {
        "schema": settings.SCHEMA,
        "layout": "Möwenkai",
        "layout_hash": "0123456789abcdef",
        "board": "B1",
        "profile": "direct-relay",
        "control": "dc",
        "max_moving": 2,
        "led_pin": 25,
        "drives": [
            {
                "name": "T1",
                "kind": "servo",
                "settings": ["left", "right"],
                "out": {"kind": "pwm", "pin": 0},
                "pulse_us": [1000, 2000],
                "travel_ms": 200,
                "lag_ms": 20,
            }
        ],
        "feeds": [
            {
                "name": "T1.F",
                "output": "pair",
                "a": {"pin": 8},
                "b": {"pin": 9, "active": 0},
                "dead_ms": 20,
                "release_ms": 15,
                "operate_ms": 10,
                "bounce_ms": 5,
                "bonded": False,
                "table": [{"when": [[0, 0]], "feed": "B"}, {"when": [[0, 1]], "feed": "A"}],
                "moves": moves,
            }
        ],
    }
    return settings.seal(json.dumps(doc))


def throw(chip: Chip, to: str) -> None:
    chip.ask("throw", drive="T1", to=to)
    for _ in range(200):
        if chip.ask("state", part="drives")["items"][0]["at"] == to:
            break
        time.sleep(0.02)
    for _ in range(200):
        if chip.ask("state", part="feeds")["items"][0]["is"] != "off":
            return
        time.sleep(0.02)
    raise AssertionError("does not arrive")


def test_from_an_empty_board_to_a_remembered_throw(chip: Chip) -> None:
    chip.start()
    hello = chip.ask("hello")
    assert hello["settings"] is None and hello["id"] == "e6614103e7452d2f" and hello["reset"] == "power"
    assert [row for row in chip.pins() if row[1] != "watchdog"] == [], "no pin is touched without settings"
    text = document()
    assert chip.push(text)["committed"] == "settings"
    hello = chip.ask("hello")
    assert hello["settings"] == text[10:18].decode() and hello["layout"] == "Möwenkai"
    assert [row[2:] for row in chip.pins() if row[1] == "pin" and row[2] in (8, 9)] == [(8, 0), (9, 1)]
    assert not [row for row in chip.pins() if row[1] == "pulse"], "unknown: no pulse before it is asked for"
    throw(chip, "left")
    throw(chip, "right")
    pulses = [row[3] for row in chip.pins() if row[1] == "pulse"]
    assert pulses[0] == 1_000_000 and max(pulses) == 2_000_000 and pulses[-1] == 0
    assert {"move", "rest", "feed"} <= {e["kind"] for e in chip.events}
    chip.stop()
    chip.start()
    state = chip.ask("state", part="drives")["items"][0]
    assert state["at"] == "right" and not state["moving"]
    assert not [row for row in chip.pins() if row[1] == "pulse"], "no twitch at power-up"
    assert chip.ask("reset") == {"reset": True}
    assert chip.wait() == 75
    levels = {row[2]: row[3] for row in chip.pins() if row[1] == "pin"}
    assert levels[8] == 0 and levels[9] == 1, "off before the reset"


def test_cut_in_mid_throw_it_comes_up_unknown(chip: Chip) -> None:
    chip.start()
    chip.push(document())
    throw(chip, "left")
    chip.ask("throw", drive="T1", to="right")
    time.sleep(0.15)
    chip.stop()
    chip.start()
    assert chip.ask("state", part="drives")["items"][0]["at"] is None
    assert chip.ask("state", part="feeds")["items"][0]["is"] == "off"


def test_maintenance_stays_at_the_prompt_for_one_start(chip: Chip) -> None:
    chip.start()
    assert chip.ask("maintenance") == {"maintenance": True}
    assert chip.wait() == 75
    chip.start()
    assert "maintenance" in chip.line()
    assert chip.wait() == 0
    assert not [row for row in chip.pins() if row[1] == "watchdog"]
    chip.start()
    assert chip.ask("hello")["protocol"] == methods.PROTOCOL


def test_an_exception_turns_everything_off_resets_and_is_told_afterwards(chip: Chip) -> None:
    chip.start()
    chip.push(document())
    throw(chip, "left")
    chip.stop()
    control = chip.root / "frogboard" / "control.py"
    sound = control.read_text()
    control.write_text(sound.replace("self.inputs.step(dt_ms)", "self.log.now_ms > 100 and 1 // 0"))
    for _ in range(3):
        chip.start()
        assert chip.wait() == 75
        levels = {row[2]: row[3] for row in chip.pins() if row[1] == "pin"}
        assert levels[8] == 0 and levels[9] == 1
    chip.start()
    hello = chip.ask("hello")
    assert hello["board"] is None and "crashed 3 times" in hello["reason"]
    assert "ZeroDivisionError" in chip.ask("state", part="board")["items"][0]["crash"]
    chip.stop()
    control.write_text(sound)
    chip.start()
    assert chip.push(document())["committed"] == "settings"
    assert chip.ask("hello")["board"] == "B1"


def test_firmware_that_cannot_start_gives_the_folder_before(chip: Chip) -> None:
    shutil.copytree(chip.root / "frogboard", chip.root / "fw1" / "frogboard")
    shutil.move(chip.root / "frogboard", chip.root / "fw2" / "frogboard")
    (chip.root / "fw2" / "frogboard" / "__init__.py").write_text('VERSION = "9.9.9"\n')
    pointer = chip.root / "firmware.at"
    (chip.root / "cause").write_text("3")  # on the chip a reset by program counts as the watchdog's
    pointer.write_text("fw2\nfw1\nnew\n")
    chip.start()
    chip.write(b"\n")
    until(lambda: pointer.read_text() == "fw2\nfw1\ntried\n")
    chip.stop()
    chip.start()
    assert chip.ask("hello")["firmware"] != "9.9.9", "it was never heard of while it was new"
    assert pointer.read_text() == "fw1\nfw2\n"
    chip.stop()
    pointer.write_text("fw2\nfw1\nnew\n")
    chip.start()
    assert chip.ask("hello")["firmware"] == "9.9.9"
    until(lambda: pointer.read_text() == "fw2\nfw1\n")
    chip.stop()
    chip.start()
    assert chip.ask("hello")["firmware"] == "9.9.9", "it has proved itself"
    chip.stop()
    (chip.root / "fw2" / "frogboard" / "link.py").write_text("this is no Python\n")
    chip.start()
    assert chip.ask("hello")["firmware"] != "9.9.9"


def full(chip: Chip) -> None:
    """Nothing can be written any more where the pointer and the crash would be: a folder is in the way."""
    (chip.root / "firmware.at.new").mkdir()
    (chip.root / "data" / "crash.new").mkdir(parents=True)


def broken(folder: Path) -> None:
    (folder / "frogboard").mkdir(parents=True, exist_ok=True)
    (folder / "frogboard" / "__init__.py").write_text("")
    (folder / "frogboard" / "app.py").write_text("this is no Python\n")


@pytest.mark.parametrize("writable", [True, False])
@pytest.mark.parametrize("pointer", ["", "fw2\nfw1\nnew\n", "fw2\nfw1\ntried\n"])
def test_without_firmware_it_can_be_interrupted_and_tries_again(chip: Chip, writable: bool, pointer: str) -> None:
    for folder in ("", "fw1", "fw2"):
        broken(chip.root / folder)
    if pointer:
        (chip.root / "firmware.at").write_text(pointer)
    if not writable:
        full(chip)
    chip.start()
    assert "can't be loaded: SyntaxError" in chip.line()
    assert "Ctrl-C" in chip.line()
    began = time.monotonic()
    if writable:
        assert chip.wait() == 75, "tries again"
        assert time.monotonic() - began > 3
    else:
        assert chip._process is not None
        chip._process.send_signal(signal.SIGINT)
        assert chip.wait() not in (0, 75), "interrupted: at its prompt"
        assert time.monotonic() - began < 3
    assert [row[1] for row in chip.pins()] == (["reset"] if writable else []), "no watchdog, no pin"


def test_a_full_flash_still_runs_what_is_sure(chip: Chip) -> None:
    shutil.copytree(chip.root / "frogboard", chip.root / "fw1" / "frogboard")
    shutil.copytree(chip.root / "frogboard", chip.root / "fw2" / "frogboard")
    (chip.root / "fw2" / "frogboard" / "__init__.py").write_text('VERSION = "9.9.9"\n')
    full(chip)
    for mark in ("new", "tried"):
        (chip.root / "firmware.at").write_text(f"fw2\nfw1\n{mark}\n")
        chip.start()
        assert chip.ask("hello")["firmware"] != "9.9.9", "a trial that can't be noted down is none"
        chip.stop()


def test_the_package_beside_is_the_last_resort(chip: Chip) -> None:
    broken(chip.root / "fw1")
    broken(chip.root / "fw2")
    for pointer in (b"fw2\nfw1\n", b"gone\n", b"\xff\xfe\x00\n"):
        (chip.root / "firmware.at").write_bytes(pointer)
        chip.start()
        assert chip.ask("hello")["protocol"] == methods.PROTOCOL
        chip.stop()


def until(true: Callable[[], bool]) -> None:
    end = time.monotonic() + 10
    while not true():
        assert time.monotonic() < end
        time.sleep(0.01)


def test_a_chip_that_cannot_do_what_the_settings_say_stays_reachable(chip: Chip) -> None:
    text = document()
    doc = json.loads(text)
    del doc["crc32"]
    doc["feeds"][0]["a"]["pin"] = 40
    chip.start()
    assert chip.push(settings.seal(json.dumps(doc)))["committed"] == "settings"
    assert "invalid pin" in chip.ask("hello")["reason"]
    assert chip.push(text)["committed"] == "settings"
    assert chip.ask("hello")["reason"] is None


def test_a_button_held_at_reset_leaves_the_board_at_its_prompt(chip: Chip) -> None:
    doc = json.loads(document())
    del doc["crc32"]
    doc["inputs"] = [{"name": "hold", "pin": 15}]
    doc["hold_input"] = 0
    chip.start()
    chip.push(settings.seal(json.dumps(doc)))
    chip.stop()
    (chip.root / "held").write_text("15")
    chip.start()
    assert "button held" in chip.line()
    assert chip.wait() == 0
    assert not [row for row in chip.pins() if row[1] in ("watchdog", "pulse")]
    (chip.root / "held").unlink()
    chip.start()
    assert chip.ask("hello")["board"] == "B1"


def test_garbage_and_control_bytes_do_no_harm(chip: Chip) -> None:
    chip.start()
    chip.write(b"\x03\x03\x04 garbage \xff\x00" + b"z" * 3000 + b"\n")
    assert chip.ask("hello")["protocol"] == methods.PROTOCOL
    assert chip.ask("state", part="board")["items"][0]["bad_lines"] == 1


if sys.platform == "win32":
    pytest.skip("pipes are polled here, which that system has not", allow_module_level=True)
