"""From what boards report to what the pages show: drives, feeds, currents, rails, faults with cause and cure."""

from __future__ import annotations

import time
from collections import deque
from collections.abc import Callable, Mapping
from typing import Any

from frogfeed.board.messages import BoardState, DriveState, Event, Measurement
from frogfeed.console.owner import Down, Drives, Report, Up
from frogfeed.console.picture import Rails
from frogfeed.console.railway import Railway
from frogfeed.console.routes import Standing
from frogfeed.console.store import Store
from frogfeed.findings.finding import Severity

LOG_LINES = 60

_FAULTS = {
    "trip": (
        "too much current: the feed was turned off",
        "something bridges the two rails: a loco on the frog, a tool, a wire, or a blade at the wrong rail",
        "take off what stands there, then clear the fault; if it trips again, open the fault finder at this rail",
    ),
    "sensor": (
        "its current sensor does not answer",
        "without it nobody sees a short on this feed, so the board keeps it off",
        "look at the sensor's plug and its I2C wires, then clear the fault",
    ),
    "chip": (
        "the chip that switches it does not answer",
        "the board cannot know what the output does",
        "look at the expander's plug and supply, then clear the fault",
    ),
    "stuck": (
        "current flowed though it was told off: the enable ahead of it stays open",
        "a contact that does not let go (welded, or bridged in the wiring), or a short ahead of the outputs, feeds the"
        " fault whatever the board says; or the sensor that tells of it is broken",
        "unplug the track supply; with the meter find the output behind this enable that is closed without power, and"
        " change it; then clear the fault",
    ),
}


class Reporter:
    """Keeps the store's sections drives, feeds, rails, sensors, boards, faults and log in step with the reports."""

    def __init__(
        self, store: Store, railway: Railway, soon: Callable[[Callable[[], None]], None] | None = None
    ) -> None:
        """`soon` runs something a little later, so that many reports are reckoned with once; None: at once."""
        self.store = store
        self.railway = railway
        self.soon = soon or (lambda job: job())
        self._due = False
        self._reckoned: tuple[dict[str, frozenset[str]], dict[str, str | None]] | None = None
        self._drives: dict[str, DriveState] = {}
        self._told: dict[str, dict[str, Any]] = {}
        self._sensors: dict[str, list[str]] = {}
        self._jumping: set[str] = set()
        self._up: set[str] = set()
        self.sent_by_itself: set[str] = set()
        """Boards that are about to get their settings without being asked: that they have none is no fault."""
        self.trims: dict[tuple[str, str], int] = {}
        self._log: deque[dict[str, Any]] = deque(maxlen=LOG_LINES)
        self._log_number = 0
        self.change(railway)

    # ---- the layout -----------------------------------------------------------------------------------

    def change(self, railway: Railway) -> None:
        """Another layout, or the same one changed: show it from what is known already."""
        self.railway = railway
        for section in ("drives", "feeds", "rails"):
            self.store.clear(section)
        self._reckoned = None
        for d in railway.network.drives:
            self._show_drive(d)
        for output in dict.fromkeys(s.output for s in railway.network.switched):
            self._show_feed(output)
        self._show_rails()

    # ---- reports --------------------------------------------------------------------------------------

    def take(self, board: str, report: Report) -> None:
        """One report of one board."""
        if isinstance(report, Up):
            self._take_up(board, report)
        elif isinstance(report, Down):
            self._take_down(board, report)
        elif isinstance(report, Drives):
            for d in report.drives:
                self._take_drive(d)
            self._show_rails()
        elif isinstance(report, Measurement):
            self._take_currents(board, report)
        else:
            self._take_event(board, report)

    def _take_up(self, board: str, up: Up) -> None:
        hello, state = up.hello, up.state
        if board not in self._up:
            self.note(board, "answers", f"firmware {hello.firmware}")
        self._up.add(board)
        wanted = self.railway.documents.get(board)
        matches = hello.settings is not None and wanted is not None and hello.settings == _crc_of(wanted)
        loop = state.board if state is not None else None
        self.store.put(
            "boards",
            board,
            {
                "up": True,
                "port": up.where,
                "settling": hello.settings is None and board in self.sent_by_itself,
                "id": hello.id,
                "firmware": hello.firmware,
                "settings": hello.settings,
                "layout_hash": hello.layout_hash,
                "profile": hello.profile,
                "reason": hello.reason,
                "matches": matches,
                "all_off": bool(loop and loop.all_off),
                "queued": loop.queued if loop else 0,
                "bad_lines": loop.bad_lines if loop else 0,
                "late": loop.late if loop else 0,
            },
        )
        if wanted is None:
            self.store.put("faults", f"settings {board}", None)
        else:
            self._settings_fault(board, hello.settings, matches, hello.reason)
        self.store.put("faults", f"link {board}", None)
        if state is not None:
            self._take_state(board, state)
        self._show_rails()

    def _settings_fault(self, board: str, settings: str | None, matches: bool, reason: str | None) -> None:
        if settings is None and board in self.sent_by_itself:
            return
        if settings is None:
            what, why = f"{board} holds no settings", reason or "none were ever sent to it"
        elif not matches:
            what = f"{board} holds other settings than this layout gives"
            why = "the layout was changed since they were sent: frogs may be switched by the old ones"
        else:
            self.store.put("faults", f"settings {board}", None)
            return
        cure = f"send the settings to {board}, when no train moves: feeds are off for a moment"
        fault = {"what": what, "why": why, "cure": cure, "board": board, "do": "push", "severity": "warning"}
        self.store.put("faults", f"settings {board}", fault)

    def _take_state(self, board: str, state: BoardState) -> None:
        self.trims = {k: v for k, v in self.trims.items() if k[0] not in {d.name for d in state.drives}}
        self.trims |= {(t.drive, t.setting): t.pulse_us for t in state.trims}
        for d in state.drives:
            self._take_drive(d)
        for f in state.feeds:
            self._told[f.name] = {"is": f.told, "want": f.want, "fault": f.fault, "trips": f.trips}
            self._show_feed(f.name)
        self._sensors[board] = [s.name for s in state.sensors]
        for s in state.sensors:
            self.store.put("sensors", f"{board} {s.name}", {"ma": s.ma, "feeds": self._watched(board, s.name)})
        for i in state.inputs:
            self.store.put("inputs", f"{board} {i.name}", i.on)

    def _take_down(self, board: str, down: Down) -> None:
        if board in self._up:
            self.note(board, "is away", down.problem.what)
        self._up.discard(board)
        p = down.problem
        fault = {"what": f"{board}: {p.what}", "why": p.why, "cure": p.cure, "board": board, "severity": "error"}
        self.store.put("faults", f"link {board}", fault)
        # A virtual board that has not begun yet is still looked for; it answers as soon as it does.
        was = self.store.get("boards", board) or {}
        self.store.put("boards", board, {**was, "up": False, "settling": board in self.sent_by_itself})
        for name, (b, _) in self.railway.drives.items():
            if b.name == board:
                self._drives.pop(name, None)
                self._show_drive(name)
        for name, (b, _) in self.railway.feeds.items():
            if b.name == board:
                self._told.pop(name, None)
                self._show_feed(name)
        self._show_rails()

    def _take_drive(self, d: DriveState) -> None:
        before = self._drives.get(d.name)
        if d.moving and d.at is None and before is not None and before.at is None and not before.moving:
            self._jumping.add(d.name)
        if not d.moving:
            self._jumping.discard(d.name)
        self._drives[d.name] = d
        self._show_drive(d.name)
        if d.stalled:
            self._stall(d.name)
        else:
            self.store.put("faults", f"stall {d.name}", None)

    def _stall(self, drive: str) -> None:
        fault = {
            "what": f"{drive} drew the current of a stalled servo on its last throw",
            "why": "the blades may not have moved across, so nobody knows which rail they touch",
            "cure": "free the blades and the linkage, then throw it again",
            "drive": drive,
            "severity": "error",
        }
        self.store.put("faults", f"stall {drive}", fault)

    def _take_currents(self, board: str, m: Measurement) -> None:
        names = self._sensors.get(board, [])
        for name, ma in zip(names[m.start :], m.ma, strict=False):
            self.store.put("sensors", f"{board} {name}", {"ma": ma, "feeds": self._watched(board, name)})

    def _take_event(self, board: str, e: Event) -> None:
        facts = dict(e.facts)
        if e.kind == "feed":
            name = str(facts.get("feed"))
            self._told[name] = {**self._told.get(name, {}), "is": str(facts.get("is"))}
            self._show_feed(name)
            self._show_rails()
        elif e.kind in ("move", "rest", "lost", "stall"):
            self._take_move(e.kind, facts)
            self._show_rails()
        elif e.kind == "input":
            self.store.put("inputs", f"{board} {facts.get('input')}", bool(facts.get("on")))
        words = _words(e.kind, facts)
        if words:
            self.note(board, *words)

    def _take_move(self, kind: str, facts: Mapping[str, Any]) -> None:
        name = str(facts.get("drive"))
        d = self._drives.get(name, DriveState(name))
        if kind == "move":
            new = DriveState(name, None, str(facts.get("to")), True, d.pulse_us, False)
            if d.at is None and not d.moving:
                self._jumping.add(name)
        elif kind == "rest":
            self._jumping.discard(name)
            new = DriveState(name, str(facts.get("at")), None, False, d.pulse_us, d.stalled)
        elif kind == "stall":
            new = DriveState(name, d.at, d.to, d.moving, d.pulse_us, True)
        else:
            new = DriveState(name, None, None, False, d.pulse_us, d.stalled)
        self._drives[name] = new
        self._show_drive(name)

    # ---- what is shown --------------------------------------------------------------------------------

    def ends(self, drive: str) -> tuple[int, int] | None:
        """A servo's pulses at its settings, trims in force included; None for a drive thrown by hand."""
        known = self.railway.drives.get(drive)
        if known is None or known[1].linkage is None:
            return None
        settings = known[1].need.settings
        plain = known[1].linkage.pulse_us
        return (
            self.trims.get((drive, settings[0]), plain[0]),
            self.trims.get((drive, settings[1]), plain[1]),
        )

    def place(self, drive: str) -> float | None:
        """Where the blades stand from the first setting (0) to the second (1), as reported; None: nobody knows."""
        d = self._drives.get(drive)
        settings = self.railway.network.drives.get(drive, ())
        if d is None or drive in self._jumping:
            return None
        if not d.moving:
            return float(settings.index(d.at)) if d.at in settings else None
        known, ends = self.railway.drives.get(drive), self.ends(drive)
        if known is None or known[1].linkage is None or ends is None or ends[0] == ends[1] or not d.pulse_us:
            return None
        linkage = known[1].linkage
        plain = linkage.pulse_us[0] + (d.pulse_us - ends[0]) * (linkage.pulse_us[1] - linkage.pulse_us[0]) / (
            ends[1] - ends[0]
        )
        low, high = linkage.blade_mm(plain)
        return round((low + high) / 2 / linkage.throw_mm, 3)

    def standing(self) -> dict[str, Standing]:
        """Every drive as it stands, for routes."""
        found = {}
        for name in self.railway.network.drives:
            d = self._drives.get(name, DriveState(name))
            found[name] = Standing(d.at, d.to or ("?" if d.moving else None), name in self.railway.hand)
        return found

    def _show_drive(self, name: str) -> None:
        if name not in self.railway.network.drives:
            return
        d = self._drives.get(name)
        known = self.railway.drives.get(name)
        self.store.put(
            "drives",
            name,
            {
                "board": known[0].name if known else None,
                "known": d is not None,
                "at": d.at if d else None,
                "to": d.to if d else None,
                "moving": bool(d and d.moving),
                "pulse": d.pulse_us if d else 0,
                "pos": self.place(name),
                "stalled": bool(d and d.stalled),
                "ends": self.ends(name),
            },
        )

    def _show_feed(self, name: str) -> None:
        told = self._told.get(name)
        known = self.railway.feeds.get(name)
        fault = told.get("fault") if told else None
        self.store.put(
            "feeds",
            name,
            {
                "board": known[0].name if known else None,
                "is": told.get("is") if told else None,
                "want": told.get("want") if told else None,
                "fault": fault,
                "trips": told.get("trips", 0) if told else 0,
                "sensor": f"{known[0].name} {known[1].sensor.name}" if known and known[1].sensor else None,
            },
        )
        if fault in _FAULTS:
            what, why, cure = _FAULTS[fault]
            self.store.put(
                "faults",
                f"feed {name}",
                {
                    "what": f"{name}: {what}", "why": why, "cure": cure, "feed": name, "do": "feed_reset",
                    "rail": next((s.rail for s in self.railway.network.switched if s.output == name), None),
                    "severity": "error",
                },
            )  # fmt: skip
        else:
            self.store.put("faults", f"feed {name}", None)

    def _show_rails(self) -> None:
        if not self._due:
            self._due = True
            self.soon(self._reckon)

    def _reckon(self) -> None:
        """Reckon every rail's wire anew, where anything that it hangs on has changed."""
        self._due = False
        touching: dict[str, frozenset[str]] = {}
        for name in self.railway.network.drives:
            d = self._drives.get(name)
            if d is not None and not d.moving and d.at is not None:
                touching[name] = frozenset((d.at,))
            elif d is not None and d.moving:
                touching[name] = self._touching(name)
        told = {
            s.output: self._told[s.output].get("is") if s.output in self._told else None
            for s in self.railway.network.switched
        }
        if self._reckoned == (touching, told):
            return
        self._reckoned = (touching, told)
        rails = self.railway.picture.rails(touching, told)
        for rail, wire in rails.wires.items():
            self.store.put("rails", rail, wire)
        self._short_fault(rails)

    def _short_fault(self, rails: Rails) -> None:
        if not rails.shorts:
            self.store.put("faults", "short", None)
            return
        wire = rails.wires[rails.shorts[0]].replace("!", " and ")
        fault = {
            "what": f"as reported, {wire} are joined at {', '.join(rails.shorts[:4])}",
            "why": "the supply trips, or is about to",
            "cure": "throw back the drive that moved last, and open the fault finder at this rail",
            "rail": rails.shorts[0],
            "severity": "error",
        }
        self.store.put("faults", "short", fault)

    def _touching(self, drive: str) -> frozenset[str]:
        """Settings at which a moving drive's blades surely touch still (or already)."""
        pos, known = self.place(drive), self.railway.drives.get(drive)
        if pos is None or known is None or known[1].linkage is None:
            return frozenset()
        settings = known[1].need.settings
        return frozenset(settings[:1]) if pos <= 0.0 else frozenset(settings[1:2]) if pos >= 1.0 else frozenset()

    def _watched(self, board: str, sensor: str) -> list[str]:
        return [
            n for n, (b, f) in self.railway.feeds.items() if b.name == board and f.sensor and f.sensor.name == sensor
        ]

    def note(self, board: str, kind: str, text: str) -> None:
        """Write a line into the log that all pages show."""
        self._log_number += 1
        self._log.append(
            {"n": self._log_number, "at": time.strftime("%H:%M:%S"), "who": board, "what": kind, "text": text}
        )
        self.store.put("log", "lines", list(self._log))

    def layout_faults(self) -> None:
        """Errors of `check` stand among the faults too."""
        for key in self.store.section("faults"):
            if key.startswith("check "):
                self.store.put("faults", key, None)
        errors = [f for f in self.railway.findings if f.severity is Severity.ERROR]
        for n, f in enumerate(errors[:20]):
            entry = {"what": f.what, "why": f.why, "cure": f.cure, "severity": "error", "subject": f.subject}
            self.store.put("faults", f"check {n}", entry)


def _crc_of(document: bytes) -> str:
    """The CRC-32 that a settings document carries in its first key."""
    return document[10:18].decode("ascii", "replace")


def _words(kind: str, facts: Mapping[str, Any]) -> tuple[str, str] | None:
    """An event for the log: what happened in a word or two, and to whom. None for what is of no interest there."""
    drive, feed = str(facts.get("drive")), str(facts.get("feed"))
    told = {
        "start": ("started", ""),
        "move": ("moves", f"{drive} to {facts.get('to')}"),
        "rest": ("at rest", f"{drive} at {facts.get('at')}"),
        "lost": ("lost", f"{drive}: its place is no longer known"),
        "trip": ("tripped", f"{feed}, by {facts.get('by')}, {facts.get('trips')} in all"),
        "fault": ("fault", f"{feed}: {facts.get('why')}"),
        "clear": ("cleared", feed),
        "stall": ("stalled", drive),
        "all_off": ("all feeds off", ""),
        "input": ("input", f"{facts.get('input')} {'closed' if facts.get('on') else 'open'}"),
        "unsaved": ("not thrown", f"{drive}: the flash could not be written"),
        "refused": ("refused", f"{drive} at the panel: {feed} is held ({facts.get('why')})"),
    }
    if kind == "chip":
        return None if facts.get("ok") else ("chip silent", f"number {facts.get('chip')}")
    return told.get(kind)
