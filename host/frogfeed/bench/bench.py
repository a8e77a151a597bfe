"""The bench: virtual boards on a virtual railway, in virtual or in real time.

    with Bench(scenario) as bench:
        port = bench.serial()          # virtual time: write(bytes), read() -> bytes, advance(ms)
        bench.advance(1000)
        assert not bench.log.of("spark")

In virtual time everything happens in `advance`, in lock-step and the same for the same seed. In real time
(`virtual=False`) a thread keeps the boards going and `port()` is the path of a pseudo terminal.
"""

from __future__ import annotations

import contextlib
import json
import shutil
import tempfile
import threading
from collections.abc import Callable, Mapping, Sequence
from pathlib import Path
from types import TracebackType
from typing import Any, Self

from frogfeed.bench import realtime
from frogfeed.bench.controls import Controls
from frogfeed.bench.errors import BenchError, BoardResetError
from frogfeed.bench.events import Event, Log
from frogfeed.bench.firmware import make_image, put_firmware
from frogfeed.bench.process import EXIT_RESET, Child, interpreter, wait_at
from frogfeed.bench.railway import Railway
from frogfeed.bench.serial_side import VirtualSerial
from frogfeed.bench.shapes import Boot, Scenario, WorldState
from frogfeed.bench.slot import Slot
from frogfeed.bench.terminal import Terminal

BOOT_US = 200_000
"""From the reset to the first line of main.py (from memory: a board is back within a fraction of a second)."""
STUCK_S = 30.0
CROWDED_US, QUIET_US = 200_000, 4_000_000
"""How often what is said is carried in the midst of a long `advance`: while much is said, and while little is."""
WATCHFUL_US = 10_000
"""The same for several boards with sensors, while nothing moves, rolls or sparks; else it is one tick.

No longer than a relay takes to close: what flows then would be felt so much later than on one board.
"""
STIRRED_US = 500_000
"""So long after a fault on the track it is one tick in any case."""
MOST_RESETS = 50
"""Resets in one `advance` after which the bench gives up: the firmware never gets going."""


class Bench(Controls):
    """See the module. `scenario` comes from `build_scenario`.

    `firmware`: a folder with another main.py, for tests; None: the project's own, or none at all without
    `with_firmware`. `roots`: folders to be used as the
    boards' files (kept afterwards); None: temporary ones. `python`: True insists on CPython, False on MicroPython.
    `files`: more files for a board by its name, such as settings. `flash_blocks`: give the boards a simulated flash of
    so many 4 KiB blocks with littlefs on it, whose power can be cut at any operation; 0: their folders are their files.
    `served_prompt`: a board at its prompt runs what `run_code` gives it, and its serial side is dead; else its
    interpreter's own prompt is there.
    """

    def __init__(
        self,
        scenario: Scenario,
        *,
        virtual: bool = True,
        firmware: Path | None = None,
        roots: Sequence[Path] | None = None,
        python: bool | None = None,
        on_event: Callable[[Event], None] | None = None,
        files: Mapping[str, Mapping[str, bytes]] | None = None,
        flash_blocks: int = 0,
        served_prompt: bool = False,
        with_firmware: bool = True,
    ) -> None:
        self.scenario: Scenario = {**scenario, "real": not virtual}
        self.virtual = virtual
        self._command, self.interpreter = interpreter(python)
        self._on_event = on_event
        self._firmware = firmware
        self._folder: Path | None = None
        self._files = files or {}
        self._flash_blocks = flash_blocks
        self._served_prompt = served_prompt
        self._with_firmware = with_firmware
        if flash_blocks and self.interpreter != "MicroPython":
            raise BenchError("a simulated flash needs a real MicroPython: its file system is part of it")
        names = [b["name"] for b in scenario["boards"]]
        self._roots = list(roots) if roots is not None else None
        self._slots = [Slot(n, i, Path()) for i, n in enumerate(names)]
        self._own_roots = roots is None
        self.log = Log()
        self.lines: list[str] = []
        self.now_us = 0
        self._resets = 0
        self._ids = 0
        self._answers: dict[int, dict[str, Any]] = {}
        self._railway = Railway(self.scenario) if len(names) > 1 else None
        self._sensed = [b["name"] for b in scenario["boards"] if b["sensors"] or b["trips"]]
        self._told_ma: dict[str, int] = {}
        self._stirred_us = -STIRRED_US
        self._lock = threading.RLock()
        self._thread: threading.Thread | None = None
        self._stop = threading.Event()

    def add_files(self, board: str, files: Mapping[str, bytes]) -> None:
        """Files for a board, to be there when the bench starts."""
        self._files = {**self._files, board: {**self._files.get(board, {}), **files}}

    # ---- start and end --------------------------------------------------------------------------------

    def __enter__(self) -> Self:
        folder = self._folder = Path(tempfile.mkdtemp(prefix="frogfeed-bench-"))
        try:
            path = folder / "scenario.json"
            path.write_text(json.dumps({k: v for k, v in self.scenario.items() if k != "classes"}))
            self._scenario_path = path
            for slot in self._slots:
                slot.root = folder / slot.name if self._roots is None else self._roots[slot.index]
                slot.root.mkdir(parents=True, exist_ok=True)
                if self._own_roots and self._with_firmware:
                    put_firmware(slot.root, self._firmware)
                for name, data in self._files.get(slot.name, {}).items():
                    (slot.root / name).parent.mkdir(parents=True, exist_ok=True)
                    (slot.root / name).write_bytes(data)
                if self._flash_blocks:
                    slot.flash = folder / f"{slot.name}.flash"
                    make_image(slot.root, slot.flash, self._flash_blocks)
                if not self.virtual:
                    slot.terminal = Terminal()
                self._spawn(slot, "power")
            if self.virtual:
                self.advance(0)
            else:
                self._thread = threading.Thread(target=self._run_real, name="bench", daemon=True)
                self._thread.start()
        except BaseException:
            self.close()
            raise
        return self

    def __exit__(
        self, kind: type[BaseException] | None, problem: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()

    def close(self) -> None:
        """End every board, by its id, and remove the temporary folder."""
        self._stop.set()
        if self._thread is not None:
            self._thread.join(5.0)
            self._thread = None
        for slot in self._slots:
            if slot.child is not None:
                slot.child.end()
                slot.child = None
            if slot.terminal is not None:
                slot.terminal.close()
                slot.terminal = None
        if self._folder is not None:
            shutil.rmtree(self._folder, ignore_errors=True)
            self._folder = None

    def _spawn(self, slot: Slot, cause: str) -> None:
        causes = {"power": 1, "brown-out": 1, "reset": 3, "watchdog": 3, "soft": 5, "bootloader": 3}
        slot.lives += 1
        self._told_ma = {}
        boot: Boot = {
            "now": slot.now_us,
            "cause": causes.get(cause, 2),
            "unique": f"{self.scenario['seed'] & 0xFFFFFFFF:08x}{slot.index:08x}",
            "bare": True,
            "state": slot.state,
            "boot_us": BOOT_US,
            "flash": str(slot.flash) if slot.flash is not None else None,
            "cut": slot.next_cut,
            "serve_prompt": self._served_prompt,
        }
        slot.next_cut = None
        slot.child = Child(self._command, slot.root, self._scenario_path, slot.index, boot)
        if self.virtual:
            self._collect(slot)

    # ---- serial sides ---------------------------------------------------------------------------------

    def serial(self, board: str | None = None) -> VirtualSerial:
        """The serial side of a board (default: the first) in virtual time."""
        if not self.virtual:
            raise BenchError("the bench runs in real time: open its port() instead")
        return VirtualSerial(self, self._slot(board))

    def port(self, board: str | None = None) -> str:
        """The path of a board's pseudo terminal in real time."""
        terminal = self._slot(board).terminal
        if terminal is None:
            raise BenchError("the bench runs in virtual time: use serial() instead")
        return terminal.path

    def root(self, board: str | None = None) -> Path:
        """The folder that holds a board's files."""
        return self._slot(board).root

    def lives(self, board: str | None = None) -> int:
        """How often a board has started."""
        return self._slot(board).lives

    def process_id(self, board: str | None = None) -> int:
        """The id of a board's present process."""
        child = self._slot(board).child
        return child.process.pid if child is not None else 0

    def _slot(self, board: str | None) -> Slot:
        if board is None:
            return self._slots[0]
        for slot in self._slots:
            if slot.name == board:
                return slot
        raise BenchError(f"no board {board} on the bench; there are: {', '.join(s.name for s in self._slots)}")

    # ---- virtual time ---------------------------------------------------------------------------------

    def advance(self, ms: float) -> None:
        """Let the bench's time go by, in virtual time. Raises BoardStuckError where a board does not come back."""
        if not self.virtual:
            raise BenchError("time goes by itself on a bench in real time")
        end = self.now_us + round(1000 * ms)
        self._resets = 0
        while True:
            crowded = any(len(s.to_board) > 1024 or s.lately > 2048 for s in self._slots)
            self._advance_to(min(end, self.now_us + self._slice_us(crowded)))
            if self.now_us >= end:
                return

    def _slice_us(self, crowded: bool) -> int:
        """How far the boards may go before they hear of each other and of what is said."""
        if self._railway is not None and self._sensed:
            stirred = self.now_us < self._stirred_us + STIRRED_US or not self._railway.quiet
            return int(self.scenario["tick_us"]) if stirred else WATCHFUL_US
        return CROWDED_US if crowded else QUIET_US

    def _advance_to(self, goal: int) -> None:
        for slot in self._slots:
            slot.lately = 0
            self._grant(slot, goal)
        for slot in self._slots:
            while not self._collect(slot):
                self._resets += 1
                if self._resets > MOST_RESETS:
                    raise BenchError(f"board {slot.name} resets again and again; its last words: {self.lines[-5:]}")
                self._grant(slot, goal)
        self.now_us = goal
        if self._railway is not None:
            self._share(goal)

    def _share(self, goal: int) -> None:
        """Let the railway that several boards share come up to a time, and tell their sensors what flows."""
        assert self._railway is not None
        for record in self._railway.run_to(goal):
            self._keep(record, "")
        if self._sensed:
            now_ma = self._railway.output_ma()
            if now_ma != self._told_ma:
                self._told_ma = now_ma
                for slot in self._slots:
                    if slot.name in self._sensed and slot.child is not None:
                        slot.child.send({"do": "current", "ma": now_ma})

    def _grant(self, slot: Slot, goal: int) -> None:
        child = slot.child
        if child is None:
            return
        if slot.to_board and slot.plugged:
            took = child.feed(bytes(slot.to_board))
            del slot.to_board[:took]
        if not child.at_prompt:
            child.send({"go": goal})

    def _collect(self, slot: Slot) -> bool:
        """Take in what a child reports until it stands at its horizon. False: it was reset and has started again."""
        child = slot.child
        if child is None or child.at_prompt:
            if child is not None:
                self._drain_prompt(slot, child)
            return True
        messages, wrote = wait_at(child, STUCK_S, slot.reading)
        self._receive(slot, wrote)
        ended = None
        for message in messages:
            if "at" in message:
                slot.now_us = message["at"]
            elif "end" in message:
                ended = message
            elif "closed" in message:
                ended = ended or message
            elif "prompt" in message:
                child.at_prompt = True
                child.send({"go": 1 << 45})
            else:
                self._hear(slot, message)
        if slot.reading:
            self._receive(slot, child.drain())
        if ended is not None:
            self._restart(slot, child, ended)
            return False
        return True

    def _drain_prompt(self, slot: Slot, child: Child) -> None:
        """A board at its prompt lives in real time: give it a moment to answer."""
        for message in child.receive(0.02):
            if "end" in message or "closed" in message:
                self._restart(slot, child, message)
                return
            self._hear(slot, message)
        if slot.reading:
            self._receive(slot, child.drain())

    def _restart(self, slot: Slot, child: Child, ended: Mapping[str, Any]) -> None:
        if "state" in ended:
            state: WorldState = ended["state"]
            slot.state = state
            slot.now_us = state["now"]
            cause = str(ended["end"])
        else:
            code = child.wait_end()
            if code not in (0, EXIT_RESET):
                raise BenchError(
                    f"board {slot.name}: the process of the virtual board ended with {code}; its last words:"
                    f" {child.stderr_tail() or self.lines[-5:]}"
                )
            cause = "soft"
        child.end()
        self._keep({"e": "restart", "t": slot.now_us, "cause": cause}, slot.name)
        slot.to_board.clear()
        self._spawn(slot, cause)

    def _receive(self, slot: Slot, data: bytes) -> None:
        slot.lately += len(data)
        if data and slot.plugged:
            slot.from_board += data

    # ---- what children report -------------------------------------------------------------------------

    def _hear(self, slot: Slot, message: Mapping[str, Any]) -> None:
        if "r" in message:
            self._keep(message["r"], slot.name)
        elif "x" in message:
            if self._railway is not None:
                self._railway.change(slot.index, message["x"])
        elif "re" in message:
            if message["re"] is not None:
                self._answers[message["re"]] = dict(message)
        elif "died" in message:
            self.lines.append(f"{slot.name}: {message['died']}")
            self._keep({"e": "died", "t": slot.now_us, "text": message["died"]}, slot.name)
        elif "note" in message:
            self.lines.append(f"{slot.name}: {message['note']}")

    def _keep(self, record: Mapping[str, Any], board: str) -> None:
        event = self.log.add(record, "" if record["e"] in ("spark", "spark-end", "dead-wheel") else board)
        if self._on_event is not None:
            self._on_event(event)

    # ---- real time ------------------------------------------------------------------------------------

    def _run_real(self) -> None:
        """Keep the boards going until the bench is closed."""
        while not self._stop.is_set():
            with self._lock:
                slots = [s for s in self._slots if s.child is not None]
                watched = realtime.readers(slots)
                blocked = any(s.to_board or s.from_board for s in slots)
            ready = realtime.wait(watched, blocked)
            with self._lock:
                for slot in slots:
                    child = slot.child
                    ended = realtime.carry(slot, ready, self._hear)
                    if child is not None and ended is not None:
                        self._restart(slot, child, ended)
                now_us = min(s.now_us for s in self._slots)
                if self._railway is not None:
                    self._share(now_us)
                self.now_us = now_us

    # ---- questions to a board's physics ---------------------------------------------------------------

    def ask(self, board: str | None = None, **message: Any) -> Any:
        """Send a command to the physics of a board and return its answer. Raises BenchError where it is refused."""
        slot = self._slot(board)
        with self._lock:
            child = slot.child
            if child is None:
                raise BenchError(f"board {slot.name} is off")
            self._ids += 1
            number = self._ids
            child.send({**message, "id": number})
            for _ in range(200):
                if self._thread is None or threading.current_thread() is self._thread:
                    for heard in child.receive(0.25):
                        if "end" in heard or "closed" in heard:
                            self._restart(slot, child, heard)
                            raise BoardResetError(f"board {slot.name} was reset by {message.get('do')}")
                        self._hear(slot, heard)
                else:
                    self._lock.release()
                    try:
                        self._stop.wait(0.01)
                    finally:
                        self._lock.acquire()
                answer = self._answers.pop(number, None)
                if answer is not None:
                    if "error" in answer:
                        raise BenchError(f"board {slot.name} refused {message.get('do')}: {answer['error']}")
                    return answer["ok"]
        raise BenchError(f"board {slot.name} gives no answer to {message.get('do')}")

    @contextlib.contextmanager
    def locked(self) -> Any:
        """Hold the bench still while several things are looked at together (real time)."""
        with self._lock:
            yield self
