"""The board as the link sees it: what it holds, what it is asked, what it tells. No hardware.

`call` carries out one method of the link. Flash is written only while every drive is at rest.
"""

import binascii
import gc

from frogboard import VERSION, events, files, methods, packing, settings
from frogboard.control import Control
from frogboard.events import Events
from frogboard.feed import FAULTS
from frogboard.guard import BY_TRIP
from frogboard.push import LinkError, Push
from frogboard.reason import Refused
from frogboard.table import NAMES, UNKNOWN

if False:
    from typing import Any, Callable

    from frogboard.store import Store

RELOAD = "reload"
RESET = "reset"
MAINTENANCE = "maintenance"

MEASURES = 16
"""Most sensors in one measurement."""


class Board:
    """Everything but the pins. `ident` and `cause` say which chip this is and why it started."""

    def __init__(self, store: "Store", ident: str, cause: str) -> None:
        self.store = store
        self.ident = ident
        self.cause = cause
        self.log = Events()
        self.push = Push()
        self.control: "Control | None" = None
        self.crc: "str | None" = None
        self.reason: "str | None" = None
        self.restart = ""
        self.crash = ""
        self.greeted = False
        self.write_pins: "Callable[[], None]" = _nothing
        self.lines: "Callable[[], tuple[int, int]]" = _no_lines
        self.late = 0
        self.worst_us = 0
        self.every_ms = 0
        self._wait_ms = 0
        self._pulled = ""
        self._held: "tuple[str, int, str] | None" = None
        """What is being pulled: (path, size, CRC-32), measured at the first chunk."""

    def load(self) -> None:
        """Take the settings, trims and positions that flash holds into force. No settings is no error."""
        found = self.store.load_settings()
        self.control, self.crc, self.reason = None, None, self.store.reason
        if found is not None:
            doc, self.crc = found
            self.control = Control(doc, self.log)
            self.control.remember(self.store.load_positions(), self.store.load_trims(self.crc))
            self.reason = None
        self.log.put(events.START)

    def refuse(self, reason: str) -> None:
        """Have no settings in force, for a reason; what flash holds stays there."""
        self.control, self.crc, self.reason = None, None, reason

    def tick(self, dt_ms: int) -> None:
        """Time goes on: for events, and for measurements."""
        self.log.now_ms = (self.log.now_ms + dt_ms) & 0x3FFFFFFF
        if self.every_ms:
            self._wait_ms = max(0, self._wait_ms - dt_ms)

    def save(self) -> None:
        """Write positions and moving marks, if they are wanted. To be called between ticks."""
        control = self.control
        if control is None or not control.mover.wants_flash:
            return
        try:
            self.store.save_positions(control.keys, control.mover.positions())
        except OSError:
            control.mover.refuse()
        else:
            control.mover.marked()
        gc.collect()

    # --- what the laptop asks ---

    def call(self, name: str, params: "dict[str, Any]") -> "dict[str, Any]":
        """Carry out a method whose parameters have been checked. Raises LinkError, OSError."""
        handler = getattr(self, "_do_" + name.replace(".", "_"))
        result: "dict[str, Any]" = handler(**params)
        return result

    def _running(self) -> Control:
        if self.control is None:
            raise LinkError(methods.NO_SETTINGS, "no settings: " + (self.reason or ""))
        return self.control

    def _still(self) -> None:
        if self.control is not None and self.control.mover.busy:
            raise LinkError(methods.BUSY, "drives are moving")

    def _drive(self, name: str) -> int:
        d = self._running().find_drive(name)
        if d < 0:
            raise LinkError(methods.UNKNOWN_NAME, "no drive %s" % name)
        return d

    def _setting(self, d: int, name: str) -> int:
        control = self._running()
        s = control.find_setting(d, name)
        if s < 0:
            names = control.doc["drives"][d]["settings"]
            raise LinkError(methods.UNKNOWN_NAME, "no setting %s; it has %s and %s" % (name, names[0], names[1]))
        return s

    def _do_hello(self) -> "dict[str, Any]":
        self.greeted = True
        doc = self.control.doc if self.control is not None else {}
        return {
            "protocol": methods.PROTOCOL,
            "methods": methods.fingerprint(),
            "firmware": VERSION,
            "id": self.ident,
            "board": doc.get("board"),
            "layout": doc.get("layout"),
            "layout_hash": doc.get("layout_hash"),
            "settings": self.crc,
            "profile": doc.get("profile"),
            "control": doc.get("control"),
            "reason": self.reason,
            "tick_ms": doc.get("tick_ms", 5),
            "max_line": methods.MAX_LINE,
            "chunk": methods.CHUNK_BYTES,
            "packs": packing.able(),
            "reset": self.cause,
            "up_ms": self.log.now_ms,
        }

    def _do_state(self, part: str, start: int = 0) -> "dict[str, Any]":
        control = self.control
        if part == "board":
            return {"items": [self._about()], "next": -1}
        control = self._running()
        entry, count = _part(control, part)
        items: "list[Any]" = []
        room = methods.PAGE_BYTES
        i = start
        while i < count:
            item = entry(control, i)
            room -= _size(item)
            if room < 0 and items:
                return {"items": items, "next": i}
            items.append(item)
            i += 1
        return {"items": items, "next": -1}

    def _about(self) -> "dict[str, Any]":
        control = self.control
        good, bad = self.lines()
        return {
            "name": None if control is None else control.doc["board"],
            "moving": 0 if control is None else control.mover.moving,
            "queued": 0 if control is None else control.mover.queued,
            "all_off": control is not None and control.orders.all_off,
            "lines": good,
            "bad_lines": bad,
            "dropped": self.log.dropped,
            "late": self.late,
            "worst_us": self.worst_us,
            "crash": self.crash[:200] or None,
        }

    def _do_throw(self, drive: str, to: str) -> "dict[str, Any]":
        d = self._drive(drive)
        setting = self._setting(d, to)
        try:
            return {"queued": self._running().orders.throw(d, setting)}
        except Refused as refused:
            raise LinkError(methods.REFUSED, "%s: %s" % (refused.path, refused.reason))

    def _do_trim(self, drive: str, setting: str, pulse_us: int, keep: bool) -> "dict[str, Any]":
        d = self._drive(drive)
        s = self._setting(d, setting)
        self._still()
        control = self._running()
        try:
            control.orders.trim(d, s, pulse_us)
        except Refused as refused:
            raise LinkError(methods.REFUSED, "%s: %s" % (refused.path, refused.reason))
        if keep:
            try:
                self.store.save_trims(self.crc or "", control.trims())
            except OSError as error:
                raise LinkError(methods.STORE, "in force, but not kept: %s" % error)
        return {"pulse_us": pulse_us}

    def _do_watch(self, every_ms: int) -> "dict[str, Any]":
        self.every_ms = 0 if every_ms == 0 else max(50, every_ms)
        self._wait_ms = 0
        return {"every_ms": self.every_ms}

    def _do_all_off(self) -> "dict[str, Any]":
        off, held = self._running().orders.turn_all_off()
        return {"off": off, "held": held}

    def _do_feed_reset(self, feed: str = "") -> "dict[str, Any]":
        control = self._running()
        if not feed:
            return {"cleared": control.orders.reset()}
        for i, one in enumerate(control.feeds):
            if one.name == feed:
                return {"cleared": control.orders.reset(i)}
        raise LinkError(methods.UNKNOWN_NAME, "no feed %s" % feed)

    def _do_push_begin(self, what: str, size: int, crc32: str, packed: int = 0) -> "dict[str, Any]":
        if what == "settings" and size > settings.MAX_BYTES:
            raise LinkError(methods.REFUSED, "settings are at most %d bytes" % settings.MAX_BYTES)
        return {"at": self.push.begin(what, size, crc32, packed), "chunk": methods.CHUNK_BYTES}

    def _do_push_chunk(self, at: int, data: str) -> "dict[str, Any]":
        return {"at": self.push.chunk(at, data)}

    def _do_push_status(self) -> "dict[str, Any]":
        push = self.push
        return {"what": push.what, "size": push.size, "crc32": push.crc32 or None, "at": push.at}

    def _do_push_commit(self, crc32: str) -> "dict[str, Any]":
        data = self.push.whole(crc32)
        self._still()
        self._pulled = ""
        what = self.push.what
        was_off = self._dark()
        try:
            if what == "layout":
                stored = self.store.commit_layout(data)
            else:
                doc, reason = settings.load(data)
                if doc is None:
                    self.push.drop()
                    raise LinkError(methods.BAD_SETTINGS, reason or "")
                doc = None
                self.store.commit_settings(data)
                stored = crc32
                self.restart = RELOAD
        except OSError as error:
            raise LinkError(methods.STORE, "%s" % error)
        finally:
            if not was_off and not self.restart and self.control is not None:
                self.control.orders.undo_all_off()
        self.push.drop()
        gc.collect()
        return {"committed": what, "crc32": stored}

    def _dark(self) -> bool:
        """Turn the feeds off, at the pins too, for work during which nobody samples. Whether they were all off."""
        if self.control is None:
            return True
        was_off = self.control.orders.all_off
        self.control.orders.turn_all_off()
        self.write_pins()
        return was_off

    def _do_pull(self, what: str, at: int) -> "dict[str, Any]":
        if self._pulled != what or at == 0:
            self._held, self._pulled = self.store.held(what), what
        if self._held is None:
            return {"size": 0, "crc32": None, "at": at, "data": ""}
        path, size, crc = self._held
        data = files.part(path, at, methods.CHUNK_BYTES)
        if data is None:
            raise LinkError(methods.STORE, "can't be read")
        return {"size": size, "crc32": crc, "at": at, "data": binascii.b2a_base64(data).decode().strip()}

    def _do_maintenance(self) -> "dict[str, Any]":
        self._still()
        self._dark()
        try:
            self.store.set_maintenance()
        except OSError as error:
            raise LinkError(methods.STORE, "%s" % error)
        self.restart = MAINTENANCE
        return {"maintenance": True}

    def _do_reset(self) -> "dict[str, Any]":
        self._still()
        self._dark()
        self.restart = RESET
        return {"reset": True}

    # --- what the board tells ---

    def describe(self, event: "tuple[int, int, int, int, int, int]") -> "dict[str, Any]":
        """The parameters of an event, names in the place of numbers."""
        kind, index, value, extra = event[2], event[3], event[4], event[5]
        control = self.control
        if control is None or kind in (events.START, events.ALL_OFF):
            return {}
        doc = control.doc
        if kind in (events.MOVE, events.REST, events.LOST, events.STALL, events.UNSAVED):
            drive = doc["drives"][index]
            params = {"drive": drive["name"]}
            if kind in (events.MOVE, events.REST):
                params["to" if kind == events.MOVE else "at"] = drive["settings"][value]
            return params
        if kind == events.INPUT:
            return {"input": doc["inputs"][index]["name"], "on": value == 1}
        if kind == events.CHIP:
            return {"chip": index, "ok": value == 1}
        if kind == events.REFUSED:
            why = FAULTS[extra] or "all_off"
            return {"drive": doc["drives"][index]["name"], "feed": doc["feeds"][value]["name"], "why": why}
        params = {"feed": doc["feeds"][index]["name"]}
        if kind == events.FEED:
            params["is"] = NAMES[value]
        elif kind == events.FAULT:
            params["why"] = FAULTS[value]
        elif kind == events.TRIP:
            part, i = ("trips", value - BY_TRIP) if value >= BY_TRIP else ("sensors", value)
            params["by"], params["trips"] = doc[part][i]["name"], extra
        return params

    def measurement(self) -> "dict[str, Any] | None":
        """The next measurement, if it is due."""
        if not self.every_ms or self._wait_ms > 0 or self.control is None:
            return None
        self._wait_ms = self.every_ms
        values = []  # no comprehension: its cell for `self` would take memory at every call
        for i in range(min(MEASURES, len(self.control.guard.reading))):
            values.append(self.control.milliamps(i))
        return {"seq": self.log.skip(), "ms": self.log.now_ms, "start": 0, "ma": values}

    @property
    def due_ms(self) -> int:
        """How long until the next measurement; -1: none is wanted."""
        return self._wait_ms if self.every_ms and self.control is not None else -1


def _nothing() -> None:
    return None


def _no_lines() -> "tuple[int, int]":
    return 0, 0


def _size(item: "dict[str, Any]") -> int:
    return sum(len(key) + len(str(value)) + 6 for key, value in item.items())


def _drive_item(control: Control, i: int) -> "dict[str, Any]":
    drive = control.drives[i]
    names = control.doc["drives"][i]["settings"]
    target = control.mover.target[i]
    return {
        "name": drive.name,
        "at": None if drive.at == UNKNOWN else names[drive.at],
        "to": names[target] if target < UNKNOWN else None,
        "moving": drive.phase > 1,
        "pulse_us": drive.pulse_us,
        "stalled": drive.stalled,
    }


def _feed_item(control: Control, i: int) -> "dict[str, Any]":
    feed = control.feeds[i]
    return {
        "name": feed.name,
        "is": NAMES[feed.out.live],
        "want": NAMES[feed.want],
        "fault": FAULTS[feed.fault] or None,
        "trips": feed.trips,
    }


def _input_item(control: Control, i: int) -> "dict[str, Any]":
    return {"name": control.doc["inputs"][i]["name"], "on": control.inputs.on[i] == 1}


def _sensor_item(control: Control, i: int) -> "dict[str, Any]":
    return {"name": control.doc["sensors"][i]["name"], "ma": control.milliamps(i)}


def _trim_item(control: Control, i: int) -> "dict[str, Any]":
    d, setting, pulse_us = control.trims()[i]
    spec = control.doc["drives"][d]
    return {"drive": spec["name"], "setting": spec["settings"][setting], "pulse_us": pulse_us}


def _part(control: Control, part: str) -> "tuple[Callable[[Control, int], dict[str, Any]], int]":
    """What makes an entry of a part of `state`, and how many there are."""
    if part == "drives":
        return _drive_item, len(control.drives)
    if part == "feeds":
        return _feed_item, len(control.feeds)
    if part == "inputs":
        return _input_item, control.inputs.count
    if part == "sensors":
        return _sensor_item, len(control.guard.reading)
    return _trim_item, len(control.trims())
