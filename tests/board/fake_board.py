"""A peer for the client's tests: answers with the firmware's own framing and table of methods.

It is no model of the firmware (the bench runs the real one); it keeps just enough state to be asked about.
"""

from __future__ import annotations

import base64
import json
import zlib
from collections.abc import Callable
from typing import Any

from frogboard import frame, methods
from frogfeed.board.errors import PortVanished
from frogfeed.board.transport import SteppedTransport, Transport

CHIP_ID = "e6614103e7452d2f"


def wire(message: dict[str, Any]) -> bytes:
    return frame.pack(message)


class FakeBoard:
    """`write`, `read`, `advance` as a simulated board has them. `mangle` may change what goes out."""

    def __init__(self, *, chip_id: str = CHIP_ID, board: str | None = None) -> None:
        self.chip_id = chip_id
        self.board = board
        self.protocol = methods.PROTOCOL
        self.fingerprint = methods.fingerprint()
        self.now_ms = 0
        self.seq = 0
        self.mute = False
        self.busy_for = 0
        self.calls: list[tuple[str, dict[str, Any]]] = []
        self.files: dict[str, bytes] = {}
        self.drives: dict[str, dict[str, Any]] = {
            name: {"name": name, "at": "left", "to": None, "moving": False, "pulse_us": 1500, "stalled": False}
            for name in ("T1", "T2")
        }
        self.mangle: Callable[[bytes], bytes] = lambda line: line
        self.silent_events = False
        self._lines = frame.LineReader()
        self._out = bytearray()
        self._push: dict[str, Any] | None = None
        self._timers: list[tuple[int, Callable[[], None]]] = []

    # the serial side
    def write(self, data: bytes) -> None:
        for byte in data:
            if self._lines.put(byte):
                self._answer()

    def read(self) -> bytes:
        data, self._out = bytes(self._out), bytearray()
        return data

    def advance(self, ms: int) -> None:
        self.now_ms += ms
        due = [timer for timer in self._timers if timer[0] <= self.now_ms]
        self._timers = [timer for timer in self._timers if timer[0] > self.now_ms]
        for _, action in due:
            action()

    def say(self, data: bytes) -> None:
        self._out += data

    def unplug(self, *, reset: bool) -> None:
        self._out.clear()
        if reset:
            self._lines = frame.LineReader()
            self._push = None
            self.seq = 0

    def event(self, kind: str, **facts: Any) -> None:
        params = {"seq": self.seq, "ms": self.now_ms, "kind": kind, **facts}
        self.seq += 1
        if not self.silent_events:
            self._out += self.mangle(wire({"jsonrpc": "2.0", "method": "event", "params": params}))

    # the methods
    def _answer(self) -> None:
        if self.mute:
            return
        request = json.loads(self._lines.text())
        method, params = request["method"], request["params"]
        self.calls.append((method, params))
        answer: dict[str, Any] = {"jsonrpc": "2.0", "id": request["id"]}
        try:
            if self.busy_for and method not in ("hello", "pull"):
                self.busy_for -= 1
                raise RefusalError(methods.BUSY, "drives are moving")
            answer["result"] = getattr(self, "_" + method.replace(".", "_"))(**params)
        except RefusalError as refusal:
            answer["error"] = {"code": refusal.number, "message": refusal.reason}
        self._out += self.mangle(wire(answer))

    def _hello(self) -> dict[str, Any]:
        held = self.files.get("settings")
        content = json.loads(held) if held else {}
        return {
            "protocol": self.protocol,
            "methods": self.fingerprint,
            "firmware": "0.1.0",
            "id": self.chip_id,
            "board": content.get("board", self.board),
            "layout": content.get("layout"),
            "layout_hash": content.get("layout_hash"),
            "settings": held and content["crc32"],
            "profile": content.get("profile"),
            "control": content.get("control"),
            "reason": None if held else "no settings were ever sent",
            "tick_ms": 5,
            "max_line": methods.MAX_LINE,
            "chunk": methods.CHUNK_BYTES,
            "reset": "power",
            "up_ms": self.now_ms,
        }

    def _state(self, part: str, start: int = 0) -> dict[str, Any]:
        items: list[dict[str, Any]] = []
        if part == "board":
            items = [{"name": "B1", "moving": 0, "queued": 0, "all_off": False, "bad_lines": self._lines.bad}]
        if part == "drives":
            items = list(self.drives.values())
        if part == "feeds":
            items = [{"name": "T1.F", "is": "A", "want": "A", "fault": None, "trips": 0}]
        page = items[start : start + 1]
        return {"items": page, "next": start + 1 if start + 1 < len(items) else -1}

    def _throw(self, drive: str, to: str) -> dict[str, Any]:
        if drive not in self.drives:
            raise RefusalError(methods.UNKNOWN_NAME, f"no drive {drive}")
        state = self.drives[drive]
        if state["at"] == to:
            return {"queued": 0}
        state.update(at=None, to=to, moving=True)
        self.event("move", drive=drive, to=to)
        self._timers.append((self.now_ms + 1200, lambda: self._arrive(drive, to)))
        return {"queued": 1}

    def _arrive(self, drive: str, to: str) -> None:
        self.drives[drive].update(at=to, to=None, moving=False)
        self.event("rest", drive=drive, at=to)

    def _watch(self, every_ms: int) -> dict[str, Any]:
        return {"every_ms": every_ms}

    def _feed_reset(self, feed: str | None = None) -> dict[str, Any]:
        return {"cleared": 1}

    def _maintenance(self) -> dict[str, Any]:
        return {"maintenance": True}

    def _push_begin(self, what: str, size: int, crc32: str) -> dict[str, Any]:
        wanted = {"what": what, "size": size, "crc32": crc32}
        if self._push is None or {k: self._push[k] for k in wanted} != wanted:
            self._push = {**wanted, "data": bytearray()}
        return {"at": len(self._push["data"]), "chunk": methods.CHUNK_BYTES}

    def _push_chunk(self, at: int, data: str) -> dict[str, Any]:
        piece = base64.b64decode(data, validate=True)
        if self._push is None or at > len(self._push["data"]):
            raise RefusalError(methods.OUT_OF_ORDER, "no push, or a gap")
        if at + len(piece) > len(self._push["data"]):
            self._push["data"][at:] = piece
        return {"at": len(self._push["data"])}

    def _push_commit(self, crc32: str) -> dict[str, Any]:
        if self._push is None or len(self._push["data"]) != self._push["size"]:
            raise RefusalError(methods.OUT_OF_ORDER, "not all there")
        data = bytes(self._push["data"])
        if f"{zlib.crc32(data):08x}" != crc32:
            self._push = None
            raise RefusalError(methods.BAD_CRC, "CRC differs")
        what = self._push["what"]
        self._push = None
        self.files[what] = data
        return {"committed": what, "crc32": f"{zlib.crc32(data):08x}"}

    def _pull(self, what: str, at: int) -> dict[str, Any]:
        data = self.files.get(what, b"")
        piece = base64.b64encode(data[at : at + methods.CHUNK_BYTES]).decode()
        return {"size": len(data), "crc32": f"{zlib.crc32(data):08x}" if data else None, "at": at, "data": piece}


class RefusalError(Exception):
    def __init__(self, number: int, reason: str) -> None:
        super().__init__(reason)
        self.number = number
        self.reason = reason


class Cable:
    """The way to a board; its ends come apart after so many bytes, once for each entry of `cuts`.

    Bytes are counted in both directions together; what passed before the cut has arrived.
    """

    def __init__(self, board: FakeBoard, cuts: list[int] | None = None, *, reset: bool = False) -> None:
        self.board = board
        self.cuts = list(cuts or [])
        self.reset = reset
        self.passed = 0
        self.opened = 0

    def open(self) -> Transport:
        self.opened += 1
        return SteppedTransport(_Plugged(self), name="test cable")

    def take(self, data: bytes) -> bytes:
        """The part of `data` that gets through."""
        if self.cuts and self.passed + len(data) >= self.cuts[0]:
            data = data[: self.cuts[0] - self.passed]
            self.passed += len(data)
            return data
        self.passed += len(data)
        return data

    @property
    def is_cut(self) -> bool:
        return bool(self.cuts) and self.passed >= self.cuts[0]

    def part(self) -> None:
        self.cuts.pop(0)
        self.board.unplug(reset=self.reset)


class _Plugged:
    def __init__(self, cable: Cable) -> None:
        self.cable = cable
        self.gone = False

    def write(self, data: bytes) -> None:
        self._check()
        through = self.cable.take(data)
        self.cable.board.write(through)
        self._check()

    def read(self) -> bytes:
        self._check()
        data = self.cable.board.read()
        through = self.cable.take(data)
        if self.cable.is_cut and through:
            return through
        self._check()
        return through

    def advance(self, ms: int) -> None:
        self.cable.board.advance(ms)

    def _check(self) -> None:
        if not self.gone and self.cable.is_cut:
            self.gone = True
            self.cable.part()
        if self.gone:
            raise PortVanished("the cable came out")
