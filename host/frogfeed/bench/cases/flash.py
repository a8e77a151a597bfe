"""Power that goes at any erase or program of the flash: in a push, a position save, an install."""

from __future__ import annotations

import zlib
from collections.abc import Callable
from contextlib import suppress
from dataclasses import replace

from frogfeed.bench.bench import Bench
from frogfeed.bench.cases.base import (
    IMPATIENT,
    Case,
    Outcome,
    again,
    changed_turnouts,
    ready,
    two_turnouts,
    verdict,
)
from frogfeed.bench.errors import BenchError, BoardResetError
from frogfeed.bench.link import client_of
from frogfeed.board.client import Client
from frogfeed.board.errors import BoardError
from frogfeed.board.install.installer import put_firmware
from frogfeed.board.install.payload import make_payload
from frogfeed.board.transfer import push

ONCE = replace(IMPATIENT, reconnect_s=0.0)
"""A client that gives up when the port goes, so that what the board holds then can be looked at."""
HOWS = ("before", "torn", "after")
BLOCKS = 128


def _crc(document: bytes) -> str:
    return document[10:18].decode()


def _operations(start: Callable[[], Bench], work: Callable[[Bench], None]) -> int:
    """How many flash operations the work takes when nothing goes wrong."""
    with start() as bench:
        bench.advance(500)
        before = bench.flash_counts()["operations"]
        work(bench)
        return bench.flash_counts()["operations"] - before


def cut_in_push() -> Outcome:
    """Settings and layout text pushed; the power goes at each operation in turn."""
    old, new = two_turnouts(), changed_turnouts()
    settings, text = new.documents["B1"], new.layout.text.encode()
    crcs = {_crc(old.documents["B1"]), _crc(settings)}
    layouts = {None, f"{zlib.crc32(text):08x}"}

    def start() -> Bench:
        return old.bench(flash_blocks=BLOCKS)

    def work(bench: Bench) -> None:
        client = client_of(bench, step_ms=20, limits=ONCE)
        client.connect()
        push(client, "layout", text)
        push(client, "settings", settings)
        bench.advance(1000)

    count = _operations(start, work)
    problems: list[str] = []
    kept = dict.fromkeys(crcs, 0)
    times = 0
    for how in HOWS:
        for operation in range(1, count + 1):
            times += 1
            with start() as bench:
                bench.advance(500)
                bench.cut_at_flash(operation, how)
                with suppress(BoardError):
                    work(bench)
                bench.advance(1000)
                client = client_of(bench, step_ms=20)
                hello = client.connect()
                if bench.lives() < 2:
                    problems.append(f"operation {operation} {how}: the power did not go")
                if hello.settings not in crcs:
                    problems.append(f"operation {operation} {how}: settings {hello.settings}, {hello.reason}")
                else:
                    kept[hello.settings] += 1
                held = client.request("pull", {"what": "layout", "at": 0}) if hello.settings else {}
                if held.get("crc32") not in layouts and held.get("size", 0):
                    problems.append(f"operation {operation} {how}: a layout text that is neither: {held}")
                if bench.flash_counts()["over"]:
                    problems.append(f"operation {operation} {how}: a page was programmed twice")
    old_kept, new_kept = kept[_crc(old.documents["B1"])], kept[_crc(settings)]
    return verdict(problems, f"old settings whole {old_kept} times, new ones whole {new_kept} times", times)


def cut_in_position_save() -> Outcome:
    """A throw writes a mark before and the position after it; the power goes at each operation in turn."""
    rig = two_turnouts()

    def start() -> Bench:
        return rig.bench(flash_blocks=BLOCKS)

    def begin(bench: Bench) -> Client:
        return ready(bench, step_ms=20, limits=IMPATIENT)

    with start() as bench:
        client = begin(bench)
        before = bench.flash_counts()["operations"]
        client.request("throw", {"drive": "T2", "to": "right"})
        bench.advance(2500)
        count = bench.flash_counts()["operations"] - before
    problems: list[str] = []
    unknown = known = times = 0
    for how in HOWS:
        for operation in range(1, count + 1):
            times += 1
            with start() as bench:
                client = begin(bench)
                bench.cut_at_flash(operation, how)
                with suppress(BoardError):
                    client.request("throw", {"drive": "T2", "to": "right"})
                bench.advance(3000)
                if bench.lives() < 2:
                    problems.append(f"operation {operation} {how}: the power did not go")
                again(client)
                at = next(d.at for d in client.state().drives if d.name == "T2")
                true = bench.query()["drives"]["T2"]
                if at is None:
                    unknown += 1
                elif true == {"left": 1, "right": 2}[at]:
                    known += 1
                else:
                    problems.append(f"operation {operation} {how}: it says {at}, the blades are elsewhere")
                problems += [str(e) for e in bench.log.of("spark", "rule", "jump", "died")]
    return verdict(problems, f"came up as unknown {unknown} times, at the right place {known} times", times)


_SMALL_MAIN = {
    "frogboard/__init__.py": b'VERSION = "%s"\n',
    "frogboard/app.py": (
        b"import time\nimport machine\nfrom frogboard import VERSION, part\n\n\ndef run(root):\n"
        b"    print('version', VERSION, part.WORD)\n    w = machine.WDT(timeout=5000)\n"
        b"    while True:\n        w.feed()\n        time.sleep_ms(100)\n"
    ),
    "frogboard/part.py": b'WORD = "%s"\n' + b"# filling\n" * 60,
}


def _small(version: bytes) -> dict[str, bytes]:
    return {path: text % version if b"%s" in text else text for path, text in _SMALL_MAIN.items()}


class _Served:
    """The board's prompt, served by the bench."""

    def __init__(self, bench: Bench) -> None:
        self._bench = bench

    def run(self, code: str) -> str:
        """Run code on the board."""
        return self._bench.run_code(code)

    def close(self) -> None:
        """Nothing to give back."""


def cut_in_install() -> Outcome:
    """New firmware (a small one of three files) installed over old; the power goes at each operation in turn."""
    from frogfeed.bench.firmware import firmware_folder

    main = firmware_folder()[0].read_bytes()
    rig = two_turnouts()
    old, new = _small(b"1"), _small(b"2")
    files = {"main.py": main, **old, "data/maintenance": b"1"}

    def start(operation: int, how: str) -> Bench:
        bench = rig.bench(pushed=False, flash_blocks=64, served_prompt=True, with_firmware=False)
        bench.add_files("B1", files)
        if operation:
            bench.cut_in_next_life(operation, how)
        return bench

    def install(bench: Bench) -> None:
        put_firmware(_Served(bench), make_payload(main, new, None))
        bench.run_code("import machine\nmachine.reset()")

    problems: list[str] = []
    ran = {"1": 0, "2": 0}
    with start(0, "") as bench:
        bench.advance(1000)
        put_firmware(_Served(bench), make_payload(main, new, None))
        count = bench.flash_counts()["operations"]
    times = 0
    for how in HOWS:
        for operation in range(1, count + 1):
            times += 1
            with start(operation, how) as bench:
                with suppress(BoardResetError, BenchError, BoardError):
                    bench.advance(1000)
                    install(bench)
                if bench.lives() < 2:
                    problems.append(f"operation {operation} {how}: the power did not go")
                bench.advance(3000)
                if bench.at_prompt():  # the mark for maintenance was still there: start once more, as a person would
                    with suppress(BoardResetError):
                        bench.run_code("import machine\nmachine.reset()")
                    bench.advance(3000)
                said = bench.serial().read().decode(errors="replace")
                ran_then = [line.split() for line in said.splitlines() if line.startswith("version ")]
                if not ran_then or any(len(w) != 3 or w[1] != w[2] for w in ran_then):
                    problems.append(f"operation {operation} {how}: the board said {said[-120:]!r}")
                else:
                    ran[ran_then[-1][1]] += 1
    return verdict(problems, f"old firmware ran {ran['1']} times, new {ran['2']} times, never a mixture", times)


CASES = (
    Case(
        "flash",
        "power cut at every erase and program while settings and layout text are pushed, torn pages included",
        "the board comes up with the old settings or the new ones, whole",
        cut_in_push,
    ),
    Case(
        "flash",
        "power cut at every erase and program while a throw's mark and position are saved",
        "the drive comes up as unknown, or where its blades really are; no twitch, no spark",
        cut_in_position_save,
    ),
    Case(
        "flash",
        "power cut at every erase and program of an install",
        "the old firmware runs or the new one, whole",
        cut_in_install,
    ),
)
