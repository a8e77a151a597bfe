"""One life of the virtual board, from its reset to the next: kernel, world, firmware, exit."""

import gc
import json
import sys

MYPY = False
"""True for the type checker alone, which knows the modules here by their package; a board by their bare names."""

if MYPY:
    from collections.abc import Callable
    from typing import Any, BinaryIO, NoReturn

    from frogfeed.bench.shapes import Boot, Change, Scenario
    from frogfeed.bench.sim.boardfiles import has_settings
    from frogfeed.bench.sim.kernel import Kernel, RealTime
    from frogfeed.bench.sim.orders import orders
    from frogfeed.bench.sim.physics.world import World
else:
    from boardfiles import has_settings
    from kernel import Kernel
    from orders import orders
    from physics.world import World

GARBAGE_BYTES = 2_000_000
"""So much may lie about before a collection. Each one looks at all that lives: with less room there are more."""
EXIT_RESET = 75
"""The process ends with this where the host is to start the board again."""


class Life:
    """Why the board started, its watchdog, and how its life ends."""

    def __init__(self, kernel: "Kernel", world: "World", boot: "Boot") -> None:
        self.kernel = kernel
        self.world = world
        self.cause = boot["cause"]
        self.unique = bytes(int(boot["unique"][i : i + 2], 16) for i in range(0, 16, 2))
        self.serve_prompt = boot.get("serve_prompt", False)
        self.ended = False
        self.fed = 0
        self.bites_at = 0
        self.watchdog_slot = kernel.slot(self._bark)

    def feed(self, us: int) -> None:
        """The watchdog was fed."""
        kernel = self.kernel
        self.fed += 1
        if kernel.real:
            kernel.sync()
        self.bites_at = kernel.now + us
        if kernel.due[self.watchdog_slot] < 0:
            kernel.at(self.bites_at, self.watchdog_slot)

    def _bark(self, _: int) -> None:
        if self.kernel.now < self.bites_at:
            self.kernel.at(self.bites_at, self.watchdog_slot)
        else:
            self.end("watchdog")

    def end(self, why: str) -> "NoReturn":
        """Tell the host, hand over the world, and leave."""
        if not self.ended:
            self.ended = True
            if why == "power":
                self.world.power_lost()
            self.kernel.send({"end": why, "state": self.world.dump()})
        # The chip stops here: nothing of the firmware runs any more, no handler and no closing of files. The host
        # ends this process when it has read the message.
        while self.kernel.ctl_in.read(1):
            pass
        sys.exit(EXIT_RESET)


def _real() -> "RealTime":
    """The real clock, a poller and a wait, or what stands for them under CPython."""
    import select

    if sys.implementation.name == "micropython":
        import utime

        time_ns: "Callable[[], int]" = utime.time_ns
        wait: "Callable[[int], None]" = utime.sleep_us
    else:
        import time

        def nap(us: int) -> None:
            time.sleep(us / 1e6)

        time_ns = time.monotonic_ns
        wait = nap

    def monotonic() -> int:
        return time_ns() // 1000

    def poller_for(stream: "BinaryIO") -> "select.poll":
        poller = select.poll()
        poller.register(stream, select.POLLIN)
        return poller

    return monotonic, poller_for, wait


def _module(name: str, **contents: object) -> None:
    """A module made of the given things."""
    kind = type(sys)
    module: "Any" = kind(name) if sys.implementation.name != "micropython" else _Plain()
    for key, value in contents.items():
        setattr(module, key, value)
    sys.modules[name] = module


class _Port:
    """Standard input or output without a buffer, for CPython: what the firmware polls is what it reads."""

    def __init__(self, fd: int, mode: str) -> None:
        self.buffer = open(fd, mode, buffering=0, closefd=False)
        self.fileno = self.buffer.fileno
        self.flush = self.buffer.flush
        self.encoding = "utf-8"
        self.errors = "strict"

    def isatty(self) -> bool:
        """Never."""
        return False

    def read(self, count: int = -1) -> str:
        """Text from the port."""
        text: str = self.buffer.read(count).decode()
        return text

    def readline(self) -> str:
        """A line of text from the port."""
        text: str = self.buffer.readline().decode()
        return text

    def write(self, text: str) -> int:
        """Text to the port."""
        self.buffer.write(text.encode())
        return len(text)


class _Plain:
    """Stands for a module where modules can't be made."""


def run(here: str, scenario: "Scenario", board_index: int, fd_in: int, fd_out: int) -> None:
    """Build everything and run main.py from the board's files."""
    ctl_in = open(fd_in, "rb")
    ctl_out = open(fd_out, "wb") if sys.implementation.name == "micropython" else open(fd_out, "wb", buffering=0)
    boot = json.loads(ctl_in.readline())
    kernel = Kernel(ctl_in, ctl_out, boot["now"], _real() if scenario["real"] else None)

    def record(facts: "dict[str, Any]") -> None:
        kernel.send({"r": facts})

    def tell(change: "Change") -> None:
        kernel.send({"x": change})

    world = World(scenario, board_index, kernel, record, tell if len(scenario["boards"]) > 1 else None)
    life = Life(kernel, world, boot)
    world.watch.bare = boot["bare"]
    world.watch.excuse = has_settings
    world.begin(boot["state"])
    kernel.commands.update(orders(kernel, world, life))
    kernel.restless = world.restless
    kernel.heard = _hearer()
    world.board.kernel = kernel
    if not kernel.real:
        kernel.advance(kernel.now)
    kernel.sleep(boot["boot_us"])
    _module(
        "bench_state",
        KERNEL=kernel,
        WORLD=world,
        LIFE=life,
        REAL=bool(scenario["real"]),
        TICKS_START_US=scenario["ticks_start_us"],
        TICK_US=scenario["tick_us"],
    )
    _replace(here)
    _flash(boot.get("flash"), kernel, world, life, boot.get("cut"))
    sys.path.insert(0, "")
    gc.collect()
    if hasattr(gc, "threshold") and sys.implementation.name == "micropython":
        gc.threshold(GARBAGE_BYTES)
    _firmware(kernel, life)


def _flash(path: "str | None", kernel: "Kernel", world: "World", life: "Life", cut: "tuple[int, str] | None") -> None:
    """Mount a simulated flash, where the host gives a file for one; the board's modules must be loaded before."""
    if path is None:
        return
    for name in ("machine", "time", "select", "json", "binascii"):
        __import__(name)
    if MYPY:
        from frogfeed.bench.sim import flash as simulated
    else:
        import flash as simulated

    chosen = simulated.mount(open(path, "r+b"), kernel, world.board, world.chance, lambda: life.end("power"))

    if cut is not None:
        chosen.arm(cut[0], cut[1])

    def arm(message: "dict[str, Any]") -> None:
        chosen.arm(message["at"], message["how"])

    def counts(_: "dict[str, Any]") -> "dict[str, int]":
        return {
            "operations": chosen.operations,
            "erases": chosen.erases,
            "programs": chosen.programs,
            "over": chosen.over,
        }

    kernel.commands["cut"] = arm
    kernel.commands["flash"] = counts


def _replace(here: str) -> None:
    """Put the simulated modules before the built-in ones."""
    if sys.implementation.name == "micropython":
        return  # this folder is first on the path already, and MicroPython looks there first
    sys.stdin = _Port(0, "rb")
    sys.stdout = _Port(1, "wb")
    for name in ("micropython", "time", "machine"):
        sys.modules.pop(name, None)
    import importlib.util

    for name, path in (
        ("micropython", here + "/cpython/micropython.py"),
        ("time", here + "/time.py"),
        ("machine", here + "/machine.py"),
    ):
        spec = importlib.util.spec_from_file_location(name, path)
        if spec is None or spec.loader is None:
            raise ImportError(path)
        module = importlib.util.module_from_spec(spec)
        sys.modules[name] = module
        spec.loader.exec_module(module)


def _firmware(kernel: "Kernel", life: "Life") -> None:
    """Run main.py as the board does after its reset; what follows it is the prompt."""
    try:
        with open("main.py") as f:
            text = f.read()
    except OSError:
        kernel.send({"note": "no main.py"})
        text = ""
    try:
        exec(compile(text, "main.py", "exec"), {"__name__": "__main__"})
        _prompt(kernel, life)
    except SystemExit:
        if life.ended:
            raise
        life.end("soft")
    except BaseException as problem:
        import io

        trace = io.StringIO()
        show = getattr(sys, "print_exception", None)  # MicroPython's
        if show is not None:
            show(problem, trace)
        else:
            import traceback

            traceback.print_exception(problem, file=trace)
        kernel.send({"died": trace.getvalue()})
        sys.stdout.write(trace.getvalue())
        _prompt(kernel, life)


def _prompt(kernel: "Kernel", life: "Life") -> None:
    """Leave the board at its prompt: the interpreter's own, on the serial side, after this script has ended."""
    import os

    life.world.board.mask(0)
    kernel.sleep(100_000)
    if hasattr(os, "putenv"):
        os.putenv("MICROPYINSPECT", "1")
    if hasattr(os, "environ"):
        os.environ["PYTHONINSPECT"] = "1"
    kernel.send({"prompt": kernel.now})
    if life.serve_prompt:
        while True:
            message = kernel._read()
            if "do" in message:
                kernel._obey(message)


def _hearer() -> "Callable[[], bool]":
    """A function that says whether bytes from the laptop wait to be read, or its end is gone."""
    import select

    poller = select.poll()
    poller.register(sys.stdin, select.POLLIN)

    def heard() -> bool:
        return bool(poller.poll(0))

    return heard
