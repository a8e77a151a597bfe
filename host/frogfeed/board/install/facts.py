"""What runtime a board has, and whether the firmware can run there."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from frogfeed.board.errors import RuntimeRefused
from frogfeed.board.install.repl import Prompt, value

__all__ = ["OLDEST", "RuntimeFacts", "ask_runtime", "check_runtime"]

OLDEST = (1, 22)
"""The oldest MicroPython whose rp2 port has all that the firmware uses."""
NEEDED = ("Pin", "PWM", "WDT", "I2C", "ADC", "reset", "reset_cause", "unique_id")
CHIPS = ("RP2040", "RP2350")

_ASK = f"""
import json, sys, os
import machine
_i = sys.implementation
try:
    _s = os.statvfs('')
    _free = _s[0] * _s[3]
except (OSError, AttributeError):
    _free = -1
try:
    _id = ''.join('%02x' % b for b in machine.unique_id())
except Exception:
    _id = ''
print(json.dumps({{
    'name': _i.name, 'version': list(_i.version[:3]), 'machine': getattr(_i, '_machine', ''),
    'mpy': getattr(_i, '_mpy', -1), 'platform': sys.platform, 'free': _free, 'id': _id,
    'lacks': [n for n in {NEEDED!r} if not hasattr(machine, n)]}}))
"""


@dataclass(frozen=True, slots=True)
class RuntimeFacts:
    """A runtime. `mpy_version` None: loads no bytecode; `free` bytes on its file system, -1: not known."""

    name: str
    version: tuple[int, int, int]
    machine: str
    platform: str
    mpy_version: int | None
    free: int
    id: str
    lacks: tuple[str, ...] = ()

    @property
    def chip(self) -> str | None:
        """RP2040 or RP2350, or None for any other."""
        return next((chip for chip in CHIPS if chip in self.machine.upper()), None)

    @property
    def words(self) -> str:
        """Name and version for a message."""
        return f"MicroPython {'.'.join(map(str, self.version))} ({self.machine or self.platform})"


def ask_runtime(prompt: Prompt) -> RuntimeFacts:
    """Ask the board at its prompt. Raises RuntimeRefused where it is not even MicroPython, and as `value`."""
    answer: dict[str, Any] = value(prompt, _ASK)
    mpy = int(answer["mpy"])
    version = [*answer["version"], 0, 0, 0]
    return RuntimeFacts(
        name=str(answer["name"]),
        version=(int(version[0]), int(version[1]), int(version[2])),
        machine=str(answer["machine"]),
        platform=str(answer["platform"]),
        mpy_version=mpy & 0xFF if mpy > 0 else None,
        free=int(answer["free"]),
        id=str(answer["id"]),
        lacks=tuple(answer["lacks"]),
    )


def check_runtime(facts: RuntimeFacts, *, chip: str | None = None) -> None:
    """Raise RuntimeRefused, with the reason, where the firmware cannot run.

    `chip` is the one that the board's profile has (None: any that is supported). A simulated board, which
    has no chip, is taken for any.
    """
    if facts.name != "micropython":
        raise RuntimeRefused(
            f"the board runs {facts.name}, not MicroPython",
            why="the firmware uses MicroPython's modules",
            cure="put MicroPython on the board: download its UF2 file for your board, then `frogfeed image`",
        )
    if facts.version < (*OLDEST, 0):
        raise RuntimeRefused(
            f"{facts.words} is too old; the firmware needs {OLDEST[0]}.{OLDEST[1]} or later",
            why="it uses what older versions lack",
            cure="put a newer MicroPython on the board, then install again; its settings stay",
        )
    if facts.lacks:
        raise RuntimeRefused(
            f"{facts.words} lacks machine.{', machine.'.join(facts.lacks)}",
            why="the firmware drives its outputs with them",
            cure="use a board with an RP2040 or RP2350, and its own MicroPython",
        )
    if facts.platform in ("linux", "darwin"):
        return
    if facts.platform != "rp2" or facts.chip is None:
        raise RuntimeRefused(
            f"{facts.words} runs on a chip that the firmware is not made for",
            why="its pins, and what they do at reset, are not known here",
            cure="use a board with an RP2040 or RP2350",
        )
    if chip is not None and facts.chip != chip.upper():
        raise RuntimeRefused(
            f"this board has an {facts.chip}; its profile in the layout file says {chip}",
            why="outputs would be on other pins",
            cure="name the right profile in the layout file, or use the right board",
        )
