"""All drives, feeds, inputs and guards of one board, built from its settings and stepped together.

The hardware layer meets it only in flat arrays: it reads `lines` (one bit an output line, in the order of
`line_refs`) and each drive's `out_us`, and writes `inputs.raw`, `guard.reading` and `guard.tripped`. So this runs
anywhere: on the board, in the bench, in tests that walk through every state. No hardware; `step` allocates nothing
unless something is to be reported.
"""

from frogboard import events, settings_rules
from frogboard.drive import Drive
from frogboard.feed import Feed
from frogboard.guard import Guard
from frogboard.hand import HandDrive
from frogboard.inputs import Inputs
from frogboard.mover import Mover
from frogboard.orders import Orders
from frogboard.outputs import ChangeoverOut, Group, LatchingOut, PairOut
from frogboard.panel import Panel
from frogboard.store import drive_key, remembered
from frogboard.table import UNKNOWN

if False:
    from typing import Any


class Control:
    """The board's logic. `doc` is a checked settings document."""

    def __init__(self, doc: "dict[str, Any]", log: "events.Events") -> None:
        self.doc = doc
        self.log = log
        self.line_refs: "list[dict[str, Any]]" = []
        slack_ms = doc["tick_ms"]
        self.drives = [Drive(d) if d["kind"] == "servo" else HandDrive(d) for d in doc["drives"]]
        self.keys = [drive_key(d) if d["kind"] == "servo" else "-" for d in doc["drives"]]
        self.inputs = Inputs(doc["inputs"])
        specs = doc["feeds"]
        self._outputs = [self._claim_output(s) for s in specs]
        group_lines = [self._claim(g["out"]) for g in doc["groups"]]
        lamp_lines = [self._claim(lamp["out"]) for lamp in doc["panel"]["lamps"]]
        self.lines = bytearray(len(self.line_refs))
        self.groups = [Group(self.lines, line, spec, slack_ms) for line, spec in zip(group_lines, doc["groups"])]
        self.feeds = [self._feed(i, spec, slack_ms) for i, spec in enumerate(specs)]
        drives: "list[Any]" = self.drives
        self.mover = Mover(drives, self.feeds, doc["max_moving"], log)
        self.guard = Guard(doc, self.feeds, log)
        self.orders = Orders(doc["drives"], self.mover, self.guard, log)
        self.panel = Panel(doc["panel"], lamp_lines, self.lines, self.inputs, self.orders)
        self.hand_drives = [d for d in self.drives if isinstance(d, HandDrive)]
        for d, drive in enumerate(self.drives):
            drive.sleepers = [f for f in self.feeds if d in f.depends]
        for group in self.groups:
            group.sleepers = [f for f in self.feeds if f.out.group is group]

    def _claim(self, ref: "dict[str, Any]") -> int:
        self.line_refs.append(ref)
        return len(self.line_refs) - 1

    def _claim_output(self, spec: "dict[str, Any]") -> "list[int]":
        return [self._claim(spec[key]) for key in settings_rules.NEEDS[spec["output"]]]

    def _feed(self, i: int, spec: "dict[str, Any]", slack_ms: int) -> Feed:
        group = self.groups[spec["enable"]] if spec["enable"] >= 0 else None
        lines = self._outputs[i]
        out: "PairOut | ChangeoverOut | LatchingOut"
        if spec["output"] == "pair":
            out = PairOut(self.lines, lines[0], lines[1], spec, group, slack_ms)
        elif spec["output"] == "changeover":
            out = ChangeoverOut(self.lines, lines[0], spec, group, slack_ms)
        else:
            out = LatchingOut(self.lines, lines[0], lines[1], spec, group, slack_ms)
        if group is not None:
            group.members.append(out)
        return Feed(spec, settings_rules.dependence(spec), self.drives, out, slack_ms)

    def feed_lines(self, i: int) -> "list[int]":
        """The lines that a hardware trip of feed i may clear at once: its group's, and a pair's own."""
        feed = self.feeds[i]
        found: "list[int]" = []
        if feed.out.group is not None:
            found.append(feed.out.group.line)
        if isinstance(feed.out, PairOut):
            found += self._outputs[i]
        return found

    def all_lines(self, i: int) -> "list[int]":
        """Every line that feed i depends on: its own and its group's."""
        group = self.feeds[i].out.group
        return self._outputs[i] + ([] if group is None else [group.line])

    def remember(self, positions: "dict[str, tuple[int, int]]", trims: "list[tuple[int, int, int]]") -> None:
        """What flash knows: trimmed ends, then positions. To be called once, before the first step."""
        for d, setting, pulse_us in trims:
            drive = self.drives[d] if d < len(self.drives) else None
            if drive is not None and drive.servo and setting in (0, 1):
                drive.ends[setting] = pulse_us
        for d, drive in enumerate(self.drives):
            if isinstance(drive, Drive):
                setting, pulse_us = remembered(drive.ends, positions.get(self.keys[d]))
                if setting != UNKNOWN:
                    drive.remember(setting, pulse_us)
        for feed in self.feeds:
            feed.wake()

    def trims(self) -> "list[tuple[int, int, int]]":
        """(drive, setting, pulse) of every end that differs from the settings."""
        found = []
        for d, drive in enumerate(self.drives):
            if drive.servo:
                for setting in (0, 1):
                    if drive.ends[setting] != self.doc["drives"][d]["pulse_us"][setting]:
                        found.append((d, setting, drive.ends[setting]))
        return found

    def step(self, dt_ms: int) -> None:
        """`dt_ms` have passed since the last step; inputs and readings are those of now."""
        self.inputs.step(dt_ms)
        if self.inputs.changed:
            self._tell_inputs()
        for hand in self.hand_drives:
            hand.follow(self.inputs)
        self.panel.buttons()
        self.guard.step(dt_ms)
        self.mover.step(dt_ms)
        if self.guard.servo_high:
            self._stall()
        for group in self.groups:
            group.count(dt_ms)
        feeds = self.feeds
        for feed in feeds:
            if feed.active:
                feed.look(dt_ms)
                out = feed.out
                if feed.due or out.busy:
                    feed.step(dt_ms)
        for group in self.groups:
            group.step()
        for i in range(len(feeds)):
            feed = feeds[i]
            if feed.active:
                told = feed.out.live
                if told != feed.told:
                    feed.told = told
                    self.log.put(events.FEED, i, told)
                if not feed.going:
                    feed.rest()
        self.panel.lamps(dt_ms)

    def _tell_inputs(self) -> None:
        inputs = self.inputs
        for i in range(inputs.count):
            if inputs.known[i] and inputs.told[i] != inputs.on[i]:
                if inputs.told[i] != 2 or inputs.on[i]:
                    self.log.put(events.INPUT, i, inputs.on[i])
                inputs.told[i] = inputs.on[i]

    def _stall(self) -> None:
        for d in range(len(self.drives)):
            drive = self.drives[d]
            if isinstance(drive, Drive) and drive.phase > 1 and not drive.stalled:
                drive.stall()
                self.log.put(events.STALL, d)

    @property
    def idle(self) -> bool:
        """Whether nothing would change, however long nothing comes in from outside."""
        if self.mover.busy or self.guard.busy or self.inputs.busy or self.panel.busy:
            return False
        for group in self.groups:
            if group.busy:
                return False
        for feed in self.feeds:
            if feed.busy:
                return False
        return True

    def find_drive(self, name: str) -> int:
        """The index of a drive by name, or -1."""
        for i, drive in enumerate(self.drives):
            if drive.name == name:
                return i
        return -1

    def find_setting(self, d: int, name: str) -> int:
        """The index of a setting by name, or -1."""
        names = self.doc["drives"][d]["settings"]
        return names.index(name) if name in names else -1

    def milliamps(self, i: int) -> "int | None":
        """Sensor i's last reading in mA, or None where it does not answer."""
        counts = self.guard.reading[i]
        return None if counts < 0 else counts * self.doc["sensors"][i]["na_per_count"] // 1000000
