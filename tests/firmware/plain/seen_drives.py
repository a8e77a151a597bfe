"""What a witness makes of pulses and inputs: which setting of a drive may be relied on, and the rules for pulses."""

from frogboard import events
from frogboard.drive import FRAME_MS, LONGEST_WAIT_MS
from frogboard.inputs import UNSEEN
from frogboard.settings_rules import has_off
from frogboard.table import UNKNOWN, A, B
from seen_feeds import Feeds


class Drives(Feeds):
    """The rules for drives."""

    def inputs_seen(self):
        inputs = self.control.inputs
        for i in range(len(self.raw_since)):
            if inputs.raw[i] != self.raw_was[i]:
                self.raw_since[i] = self.ms
        self.raw_was = bytes(inputs.raw)
        for d, spec in enumerate(self.doc["drives"]):
            if spec["kind"] == "hand":
                self.known[d] = self.by_hand(spec["contacts"])

    def by_hand(self, contacts):
        """The setting by contacts that have lain still for their debounce time."""
        found = []
        for c in contacts:
            if c >= 0:
                if self.raw_was[c] == UNSEEN or self.ms - self.raw_since[c] < self.doc["inputs"][c]["debounce_ms"]:
                    return UNKNOWN
                found.append(self.raw_was[c])
        if len(found) == 1:
            return 0 if found[0] == (contacts[0] >= 0) else 1
        if found[0] == found[1]:
            return UNKNOWN
        return 1 if found[1] else 0

    def pulses(self, found):
        moving = 0
        jumping = 0
        hit = self.hits
        for d in self.servos():
            us = self.control.drives[d].out_us
            was = self.was_us[d]
            spec = self.doc["drives"][d]
            started = [e for e in found if e[0] == events.MOVE and e[1] == d]
            rested = [e for e in found if e[0] in (events.REST, events.LOST) and e[1] == d]
            if hit[d]:
                if self.jumped[d]:
                    self.steady_ms[d] = self.ms
                else:
                    self.lost[d] = True
            if started:
                gone = self.jumped[d] and self.ms - self.began_ms[d] >= LONGEST_WAIT_MS
                self.jumped[d] = self.lost[d] or self.blank[d] or gone
                self.lost[d] = self.blank[d] = False
                self.leaving[d] = True
                self.began_ms[d] = self.ms
            if (events.STALL, d, 0, 0) in found:
                self.lost[d] = True
            if started:
                for f in range(len(self.rel)):
                    self.turn(f, d, us)
            if us != was:
                self.check_pulse(d, us, was, started, rested)
                if us:
                    self.steady_ms[d] = self.ms
            gone = self.jumped[d] and self.ms - self.began_ms[d] >= LONGEST_WAIT_MS  # it may wait to begin again
            if us and self.going_to[d] != UNKNOWN and not (rested or self.lost[d] or gone):
                moving += 1
                jumping += self.jumped[d]
            self.was_us[d] = us
            left = us and (us != self.last_us[d] or self.jumped[d])
            if us:
                self.last_us[d] = us
            for f in range(len(self.rel)):
                self.follow(f, d, us)
            if self.leaving[d] and left:
                self.leaving[d] = False
                self.off_for(d)
            if rested:
                self.leaving[d] = False
                self.came_to_rest(d, rested[-1], spec)
        assert moving <= self.doc["max_moving"], "%d drives move" % moving
        assert jumping <= 1, "two drives run to where nobody knows"

    def check_pulse(self, d, us, was, started, rested):
        spec = self.doc["drives"][d]
        to = self.going_to[d]
        if us == 0:
            arrived = bool(rested) and rested[-1][0] == events.REST
            if not arrived and (self.hits[d] or (self.jumped[d] and self.ms - self.began_ms[d] >= LONGEST_WAIT_MS)):
                self.lost[d] = True  # given up for good, or begun again
            assert rested or self.lost[d], "S3: drive %d loses its pulse on the way" % d
            return
        if self.fresh and not started:
            assert self.known[d] != UNKNOWN and us == self.last_us[d] and spec["rest"] == "hold", "S3: a twitch"
            return
        assert to != UNKNOWN, "S3: a pulse of drive %d that nobody asked for" % d
        assert self.flash[d][0] == UNKNOWN, "S8: drive %d moves without a mark in flash" % d
        if was == 0 and us == self.last_us[d]:
            return  # it holds before it moves
        if self.jumped[d]:
            assert us == self.ends[d][to], "S3: drive %d jumps, but not to its end" % d
        else:
            far = abs(self.ends[d][1] - self.ends[d][0])
            most = 15 * max(far, abs(us - self.ends[d][to])) // spec["travel_ms"] * 11 // 10 + 8
            assert abs(us - self.last_us[d]) <= most, "a twitch of drive %d: %d to %d" % (d, self.last_us[d], us)

    def off_for(self, d):
        to = self.going_to[d]
        for f, feed in enumerate(self.doc["feeds"]):
            if d in self.depends[f] and has_off(feed) and not feed["bonded"]:
                k = self.depends[f].index(d)
                off = self.points[f, d, to][0]
                if (off is None or self.jumped[d]) and self.rel[f][k] == UNKNOWN:
                    self.surely_off(f, d)

    def surely_off(self, f, d):
        """A drive moves while feed f has to be off for certain, as far as what is known now does not allow it."""
        closed = self.closed(f)
        wanted = self.allowed(f)
        for side in (A, B):
            assert not closed & side or side in wanted, "drive %d moves, feed %d may be closed" % (d, f)

    def turn(self, f, d, us):
        """A move of drive d begins, or turns round."""
        if d not in self.depends[f]:
            return
        k = self.depends[f].index(d)
        to = self.going_to[d]
        self.armed[f][k] = -1
        if self.jumped[d]:
            self.rel[f][k] = UNKNOWN
        elif self.rel[f][k] == 1 - to:
            off = self.points[f, d, to][0]
            if off is None or self.passed(d, to, us, off):
                self.rel[f][k] = UNKNOWN
        elif self.rel[f][k] == to:
            off = self.points[f, d, 1 - to][0]
            if off is None or self.passed(d, 1 - to, us, off):
                self.rel[f][k] = UNKNOWN

    def passed(self, d, to, us, point):
        if self.ends[d][to] > self.ends[d][1 - to]:
            return us >= point
        return us <= point

    def follow(self, f, d, us):
        """What feed f may rely on while drive d moves."""
        to = self.going_to[d]
        if d not in self.depends[f] or to == UNKNOWN:
            return
        k = self.depends[f].index(d)
        if self.lost[d]:
            self.rel[f][k] = UNKNOWN
            return
        if self.jumped[d] or not us:
            return
        off, on, lag_ms = self.points[f, d, to]
        if self.rel[f][k] == 1 - to and (off is None or self.passed(d, to, us, off)):
            self.rel[f][k] = UNKNOWN
        if self.rel[f][k] == UNKNOWN:
            if self.armed[f][k] < 0 and self.passed(d, to, us, self.ends[d][to] if on is None else on):
                self.armed[f][k] = self.ms
            if self.armed[f][k] >= 0 and self.ms - self.armed[f][k] >= lag_ms:
                self.rel[f][k] = to

    def came_to_rest(self, d, event, spec):
        kind, _, at, _ = event
        self.going_to[d] = UNKNOWN
        if kind == events.LOST:
            self.known[d] = UNKNOWN
            self.blank[d] = self.blank[d] or self.lost[d] or self.jumped[d]
            self.last_us[d] = 0 if self.lost[d] else self.last_us[d]
        else:
            need_ms = spec["lag_ms"] + FRAME_MS + (spec["travel_ms"] if self.jumped[d] else 0)
            for_ms = self.ms - self.steady_ms[d]
            assert not self.lost[d], "S8: drive %d is said to have arrived, its pulses were lost" % d
            assert self.last_us[d] == self.ends[d][at], "S8: drive %d is said to be where its pulse is not" % d
            assert for_ms >= need_ms, "S8: drive %d is said to be at rest after %d ms" % (d, for_ms)
            self.known[d] = at
        self.jumped[d] = False
        for f in range(len(self.rel)):
            if d in self.depends[f]:
                k = self.depends[f].index(d)
                self.rel[f][k] = self.known[d]
