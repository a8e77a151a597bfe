"""What a witness makes of lines and events: which contacts may be closed, what is kept off, and the rules for both.

It reads lines and what was told, never what the feeds hold; whoever runs the board sets the state (see `witness`).
"""

from explorer import World
from frogboard import events, guard
from frogboard.feed import CHIP
from frogboard.settings_rules import has_off
from frogboard.table import OFF, UNKNOWN, A, B

LONGEST_MS = 200
"""No tick comes later."""
GOOD_MS = 600
"""On for so long a feed has its retries back, in these histories."""


class Feeds(World):
    """The rules for feeds."""

    def line(self, n):
        """Whether an output line is on for what hangs on it: those of a dead expander are off."""
        if self.dead[0] and self.control.line_refs[n]["chip"] == 0:
            return 0
        return self.control.lines[n]

    def told(self, f):
        """What the contacts are told to join by the lines: A, B, OFF; -1: both."""
        control = self.control
        spec = self.doc["feeds"][f]
        if spec["enable"] >= 0 and not self.line(control.groups[spec["enable"]].line):
            return OFF
        lines = [self.line(n) for n in control._outputs[f]]
        if spec["output"] == "pair":
            return -1 if lines[0] and lines[1] else A if lines[0] else B if lines[1] else OFF
        if spec["output"] == "latching":
            return -1 if lines[0] and lines[1] else self.side[f]
        rest = A if spec["rest"] == "A" else B
        return A + B - rest if lines[0] else rest

    def closed(self, f):
        """Which sides may be joined now, as bits: told, or told until less than the release time ago."""
        spec = self.doc["feeds"][f]
        told = self.told(f)
        found = told
        release_ms = spec["release_ms"]
        if spec["enable"] >= 0 and spec["output"] != "pair":
            release_ms = self.doc["groups"][spec["enable"]]["release_ms"]
        for leg in (0, 1):
            if self.ms - self.let_go_ms[f][leg] < release_ms:
                found |= leg + 1
        return found

    def look(self):
        """After anything that may have moved lines: the rules for contacts, and what is told of them."""
        self.contacts()
        for f in range(len(self.doc["feeds"])):
            told = self.told(f)
            assert told != -1, "S1: both legs of feed %d" % f
            if self.fresh:
                continue
            self.check_feed(f, told)
        self.told_were = [self.told(f) for f in range(len(self.doc["feeds"]))]

    def effective(self):
        return [self.line(n) for n in range(len(self.control.lines))]

    def contacts(self):
        """Lines that moved: no leg beside the other, no relay under power, no enable on a contact that moves."""
        control = self.control
        now = self.effective()
        was = self.lines_were
        for f, spec in enumerate(self.doc["feeds"]):
            group = spec["enable"]
            own = control._outputs[f]
            if spec["output"] == "pair":
                for leg in (0, 1):
                    if now[own[leg]] and not was[own[leg]]:
                        other = self.ms - self.let_go_ms[f][1 - leg]
                        assert other >= spec["dead_ms"], "S1: only %d ms between the legs of feed %d" % (other, f)
                    if was[own[leg]] and not now[own[leg]]:
                        self.let_go_ms[f][leg] = self.ms
                continue
            moved = [n for n in own if now[n] != was[n] and (spec["output"] == "changeover" or now[n])]
            if moved:
                self.coil_ms[f] = self.ms
                if group >= 0:
                    apart = self.ms - self.group_off_ms[group]
                    assert not now[control.groups[group].line], "the relay of feed %d moves under power" % f
                    if not self.fresh and not self.dead[0]:
                        open_ms = self.doc["groups"][group]["release_ms"]
                        assert apart >= open_ms, "the relay of feed %d moves %d ms after" % (f, apart)
            if spec["output"] == "latching":
                for leg in (0, 1):
                    if now[own[leg]] and not was[own[leg]]:
                        self.side[f] = leg + 1
                        self.pulsed[f] = True
                    if self.dead[0] and self.control.line_refs[own[leg]]["chip"] == 0 and control.lines[own[leg]]:
                        self.side[f] = OFF  # nobody knows whether it had its pulse
        for g in range(len(self.doc["groups"])):
            line = control.groups[g].line
            if was[line] and not now[line]:
                self.group_off_ms[g] = self.ms
                for f, feed in enumerate(self.doc["feeds"]):
                    if feed["enable"] == g and feed["output"] != "pair" and self.told_were[f] > 0:
                        self.let_go_ms[f][self.told_were[f] - 1] = self.ms
            if now[line] and not was[line]:
                for f, feed in enumerate(self.doc["feeds"]):
                    if feed["enable"] == g and feed["output"] != "pair":
                        self.still(f, feed)
        self.lines_were = bytes(now)

    def still(self, f, spec):
        """An enable closes: the relay behind it must have come to rest before, and its side be known."""
        need_ms = max(spec["operate_ms"], spec["release_ms"]) + spec["bounce_ms"]
        if spec["output"] == "latching":
            need_ms = spec["pulse_ms"] + spec["bounce_ms"]
            assert self.side[f] != OFF, "an enable closes on feed %d, whose side nobody knows" % f
        for_ms = self.ms - self.coil_ms[f]
        assert for_ms >= need_ms, "an enable closes %d ms after the relay of feed %d moved" % (for_ms, f)

    def check_feed(self, f, told):
        spec = self.doc["feeds"][f]
        wanted = self.allowed(f)
        if has_off(spec):
            if self.fault[f] or self.all_off:
                assert told == OFF, "S4: feed %d is on in spite of a fault" % f
            elif told and not (self.tried[f] and wanted and OFF not in wanted):
                assert told in wanted, "S2: feed %d is at %d, its table allows %s" % (f, told, wanted)
        elif told != self.told_were[f]:
            rest = A if spec["rest"] == "A" else B
            dead = self.dead[0] or self.repaired(f)
            allowed = told in wanted or (OFF in wanted and told == rest) or dead
            assert allowed, "S2: feed %d moves to %d, its table allows %s" % (f, told, wanted)
            kept = (self.fault[f] or self.all_off) and not spec["bonded"]
            assert not kept or dead, "S4: feed %d, without an off, moves at a fault" % f

    def repaired(self, f):
        return any(self.control.line_refs[n]["chip"] == 0 for n in self.control._outputs[f])

    def possible(self, f, k, d):
        """The settings that a drive may have, as far as feed f is concerned."""
        setting = self.known[d] if self.doc["drives"][d]["kind"] == "hand" else self.rel[f][k]
        return (0, 1) if setting == UNKNOWN else (setting,)

    def hear(self, found):
        if self.panel_reset():
            self.forgive(-1)
        for kind, index, value, _ in found:
            if kind == events.FEED:
                self.said[index] = value
            elif kind == events.TRIP:
                self.heard_trip(index)
            elif kind == events.FAULT:
                self.fault[index] = value
            elif kind == events.CLEAR:
                self.fault[index] = 0
                if not self.trips[index]:
                    self.tried[index] = False
            elif kind == events.ALL_OFF:
                self.all_off = True
            elif kind == events.MOVE:
                self.known[index] = UNKNOWN
                self.going_to[index] = value
        if self.all_off and not self.control.orders.all_off:
            self.forgive(-1)  # a panel button did it
        for f, spec in enumerate(self.doc["feeds"]):
            if spec["output"] == "latching" and not self.pulsed[f]:
                continue
            assert self.said[f] == self.told(f), "feed %d says %d, it is %d" % (f, self.said[f], self.told(f))

    def panel_reset(self):
        pressed = self.control.inputs.pressed
        return any(pressed[b["input"]] and b["does"] == "reset" for b in self.doc["panel"]["buttons"])

    def heard_trip(self, f):
        spec = self.doc["feeds"][f]
        if self.well_ms[f] >= GOOD_MS - LONGEST_MS:
            self.trips[f] = 0
        self.well_ms[f] = 0
        self.trips[f] += 1
        self.trip_count += 1
        bound = spec["retries"] + 1
        if spec["try_other"]:  # one of those that trip together flips at a time
            bound += len([s for s in self.doc["feeds"] if s["try_other"]])
        assert self.trips[f] <= bound, "S4: feed %d is tried for ever" % f
        if spec["try_other"]:
            self.tried[f] = True
        else:
            self.fault[f] = 1

    def overloads(self, dt_ms, reading):
        """Nothing stays on for long behind a sensor that is over its limit, or does not answer."""
        for f, spec in enumerate(self.doc["feeds"]):
            told = self.told(f)
            if told and has_off(spec):
                self.well_ms[f] += dt_ms
            for i, sensor in enumerate(self.doc["sensors"]):
                if f not in sensor["watches"] or not sensor["trip_ma"] or not has_off(spec):
                    continue
                if not told or (0 <= reading[i] <= sensor["trip_ma"]):
                    self.over_ms[i][f] = 0
                    continue
                self.over_ms[i][f] += dt_ms
                most = guard.SENSOR_LOST_MS if reading[i] < 0 else sensor["trip_ms"]
                assert self.over_ms[i][f] <= most + 2 * LONGEST_MS + dt_ms, "S4: feed %d stays on, sensor %d" % (f, i)

    def forgive(self, f):
        for i in range(len(self.doc["feeds"])) if f < 0 else (f,):
            self.trips[i] = 0
            self.tried[i] = False
            if self.fault[i] != CHIP:
                self.fault[i] = 0
        if f < 0:
            self.all_off = False
