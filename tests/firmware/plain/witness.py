"""A board of any settings, and a witness that looks at lines, pulses and events only and holds them to the rules.

The witness keeps its own account: which contacts may still be closed, by the times of the document; which setting of a
drive a feed may rely on, by the pulses sent and the document's points; what is kept off, by what was told. Beside it
runs the same board in which no feed ever sleeps; both have to say and do the same.
"""

from explorer import World, _restore, _values
from frogboard import events, guard
from frogboard.control import Control
from frogboard.inputs import UNSEEN
from frogboard.reason import Refused
from frogboard.settings_rules import dependence, has_off
from frogboard.store import STRAY_US
from frogboard.table import OFF, UNKNOWN, A, B
from seen_drives import Drives
from seen_feeds import GOOD_MS

OVER = 2000
"""A reading over every limit of `boards`."""
SERVO_REST_MS = 20000
"""Much longer than any queue of moves takes."""


class Witness(Drives):
    """See the module. `act` does one thing of a history; everything is checked after every step."""

    def __init__(self, doc):
        self.ms = 0
        self.trims = []
        self.controls = []
        self.steps = 0
        self.naps = 0
        self.trip_count = 0
        self.dead = bytearray(2)
        count = len(doc["feeds"])
        self.short = [OFF] * count
        """The wrong side of a feed while it has a short; A | B: both."""
        self.let_go_ms = [[-9999, -9999] for _ in range(count)]
        self.group_off_ms = [-9999] * len(doc.get("groups", ()))
        self.coil_ms = [-9999] * count
        self.reads = [0] * len(doc.get("sensors", ()))
        self.raw = bytearray(len(doc.get("inputs", ())))
        World.__init__(self, doc)

    # --- the board ---

    def boot(self):
        """A start, with what flash holds; contacts and blades are wherever they were."""
        guard.GOOD_MS = GOOD_MS
        doc = self.doc
        self.controls = []
        for _ in range(2):
            control = Control(doc, events.Events(256))
            control.remember(dict(zip(control.keys, self.flash)), self.trims)
            self.controls.append(control)
        self.control = self.controls[0]
        self.flash_works = True
        self.fresh = True
        self.parts = self.inside(self.control)
        drives = range(len(doc["drives"]))
        feeds = range(len(doc["feeds"]))
        self.ends = [list(d["pulse_us"]) for d in doc["drives"]]
        for d, setting, pulse_us in self.trims:
            self.ends[d][setting] = pulse_us
        self.known = [self.remembered(d) for d in drives]
        self.going_to = [UNKNOWN] * len(drives)
        self.was_us = [0] * len(drives)
        self.last_us = [self.flash[d][1] if self.known[d] != UNKNOWN else 0 for d in drives]
        self.steady_ms = [0] * len(drives)
        self.jumped = [False] * len(drives)
        self.leaving = [False] * len(drives)
        self.began_ms = [0] * len(drives)
        """A move has begun, the pulse is where it was."""
        self.blank = [setting == UNKNOWN for setting in self.known]
        """Nobody knows where it is: its first pulse is an end."""
        self.lost = [False] * len(drives)
        """Pulses were lost, or the servo was stuck, since the move began."""
        self.depends = [dependence(spec) for spec in doc["feeds"]]
        self.rel = [[self.known[d] for d in self.depends[f]] for f in feeds]
        self.armed = [[-1] * len(self.depends[f]) for f in feeds]
        self.points = {}
        for f in feeds:
            for move in doc["feeds"][f]["moves"]:
                stated = doc["drives"][move["drive"]]["pulse_us"]
                off = None if move["off_us"] == stated[1 - move["to"]] else move["off_us"]
                on = None if move["on_us"] == stated[move["to"]] else move["on_us"]
                self.points[f, move["drive"], move["to"]] = (off, on, move["on_lag_ms"])
        self.raw_since = [self.ms] * len(doc["inputs"])
        self.raw_was = bytes(len(doc["inputs"]))
        self.said = [OFF] * len(feeds)
        self.fault = [0] * len(feeds)
        self.tried = [False] * len(feeds)
        """A feed may be flipped: it tripped once."""
        self.trips = [0] * len(feeds)
        self.well_ms = [0] * len(feeds)
        self.all_off = False
        self.over_ms = [[0] * len(feeds) for _ in doc["sensors"]]
        self.lines_were = bytes(len(self.control.lines))
        self.told_were = [self.told(f) for f in feeds]
        self.pulsed = [False] * len(feeds)
        self.settled_ms = 0
        self.dead[0] = self.dead[1] = 0
        self.hit = [False] * len(drives)
        """Pulses were lost since the step before."""

    def inside(self, control):
        found = [control, control.orders, control.mover, control.guard, control.inputs, control.panel]
        return found + control.drives + control.feeds + [f.out for f in control.feeds] + control.groups

    def remembered(self, d):
        setting, pulse_us = self.flash[d]
        if self.doc["drives"][d]["kind"] != "servo" or setting == UNKNOWN:
            return UNKNOWN
        return setting if abs(pulse_us - self.ends[d][setting]) <= STRAY_US else UNKNOWN

    def both(self, action):
        """Do something to the board and to the one that never sleeps. What was refused, if anything."""
        found = []
        for control in self.controls:
            try:
                found.append(action(control))
            except Refused as refused:
                found.append((refused.path, refused.reason))
        assert found[0] == found[1], "asleep, it answers otherwise: %s" % (found,)
        return found[0]

    # --- what happens ---

    def act(self, event):
        return getattr(self, "do_" + event[0])(*event[1:])

    def servos(self):
        return [d for d, spec in enumerate(self.doc["drives"]) if spec["kind"] == "servo"]

    def do_throw(self, d, to):
        self.both(lambda control: control.orders.throw(d, to))

    def do_trim(self, d, to, by_us, keep):
        end = self.doc["drives"][d]["pulse_us"]
        if not end:
            return
        pulse_us = max(300, min(2700, end[to] + by_us))
        said = self.both(lambda control: control.orders.trim(d, to, pulse_us))
        if said is None:
            self.ends[d][to] = pulse_us
            if keep:
                self.trims = self.control.trims()

    def do_all_off(self):
        self.both(lambda control: control.orders.turn_all_off())
        self.told_all_off()

    def told_all_off(self):
        self.all_off = True

    def do_light(self):
        self.both(lambda control: control.orders.undo_all_off())
        self.all_off = False

    def do_reset(self, f):
        if f < len(self.doc["feeds"]):
            self.both(lambda control: control.orders.reset(f))
            self.forgive(f)

    def do_raw(self, i, level):
        if i < len(self.raw_since):
            self.raw[i] = level

    def do_hand(self, d, to, bounces):
        """Somebody moves a drive by hand: the contact it leaves opens, the other closes, both bounce."""
        spec = self.doc["drives"][d]
        if spec["kind"] != "hand":
            return
        old, new = spec["contacts"][1 - to], spec["contacts"][to]
        for contact, level in ((old, 0), (new, 1)):
            if contact < 0:
                continue
            for n in range(bounces):
                self.do_raw(contact, level ^ (n & 1))
                self.do_wait(self.doc["tick_ms"], 1 + (n & 1))
            self.do_raw(contact, level)
            self.do_wait(self.doc["tick_ms"], 2)

    def do_short(self, f, sides):
        if f < len(self.short):
            self.short[f] = sides

    def do_read(self, i, reading):
        if i < len(self.reads):
            self.reads[i] = reading

    def do_strike(self, t):
        """A hardware trip: the interrupt clears the pins at once, the tick learns of it."""
        doc = self.doc
        if t >= len(doc["trips"]):
            return
        expected = []
        for f in doc["trips"][t]["watches"]:
            bare = not has_off(doc["feeds"][f])
            if not self.fault[f] and (bare or self.told(f)):
                expected.append(f)
        for control in self.controls:
            self.clear(control, t)
            control.guard.tripped[t] = 1
        self.look()
        found = self.step(doc["tick_ms"])
        if (events.ALL_OFF, 0, 0, 0) in found:
            return
        for f in expected:
            told = [e for e in found if e[0] == events.TRIP and e[1] == f]
            assert told, "S4: a trip that nobody counts, feed %d" % f

    def clear(self, control, t):
        for f in self.doc["trips"][t]["watches"]:
            for line in control.feed_lines(f):
                if control.line_refs[line]["chip"] < 0:
                    control.lines[line] = 0

    def do_chip(self, c, ok):
        """A chip stops, or begins to answer."""
        if not self.doc["chips"] or self.dead[c] == 1 - ok:
            return
        self.dead[c] = 1 - ok
        if c == 1:
            self.disturb()
            return
        for f in range(len(self.doc["feeds"])):
            if not ok and any(self.control.line_refs[n]["chip"] == 0 for n in self.control.all_lines(f)):
                self.pulsed[f] = False
        for control in self.controls:
            control.log.put(events.CHIP, c, ok)
            for f in range(len(self.doc["feeds"])):
                if any(control.line_refs[line]["chip"] == 0 for line in control.all_lines(f)):
                    control.guard.chip(control.feeds[f], ok == 1)
        self.look()

    def disturb(self):
        """As the chips' layer does while a servo chip does not answer and pulses are to be sent."""
        for d in range(len(self.known)):
            if self.on_chip(d):
                for control in self.controls:
                    if control.drives[d].phase > 1:
                        control.drives[d].disturb()
                        self.hit[d] = True

    def on_chip(self, d):
        out = self.doc["drives"][d]["out"]
        return out is not None and out["kind"] == "pca9685"

    def do_cut(self):
        self.boot()
        self.look()

    def do_reload(self):
        self.do_all_off()
        self.boot()
        self.look()

    def do_flash_fails(self):
        self.flash_works = False

    def do_wait(self, dt_ms, count):
        for _ in range(count):
            self.step(dt_ms)

    def do_nap(self):
        """Where nothing would change, one long step is as many short ones."""
        if not self.control.idle:
            return
        self.naps += 1
        kept = [_values(part) for part in self.parts]
        lines = bytes(self.control.lines)
        found = []
        for dt_ms, count in ((500, 1), (5, 100)):
            for _ in range(count):
                self.control.step(dt_ms)
            said = []
            while len(self.control.log):
                said.append(self.control.log.take()[2:])
            feeds = [(f.told, f.want, f.fault, bytes(f.view)) for f in self.control.feeds]
            drives = [(d.out_us, d.at, d.phase) for d in self.control.drives]
            found.append((bytes(self.control.lines), said, feeds, drives, self.control.idle))
            for part, value in zip(self.parts, kept):
                _restore(part, value)
            for i in range(len(lines)):
                self.control.lines[i] = lines[i]
        assert found[0] == found[1], "idle, and yet it matters how time passes: %s" % (found,)
        assert found[0][0] == lines and not found[0][1] and found[0][4], "idle, and yet: %s" % (found[0],)

    def do_settle(self, everything):
        """Faults are mended, contacts lie still: with time all is at rest, and every feed is on that may be."""
        self.short = [OFF] * len(self.short)
        self.reads = [0] * len(self.reads)
        for c in (0, 1):
            self.do_chip(c, 1)
        if everything:
            for d in self.servos():
                if self.known[d] == UNKNOWN:
                    self.do_throw(d, d & 1)
        dt_ms = max(20, self.doc["tick_ms"])
        until = self.ms + SERVO_REST_MS
        while self.control.mover.busy or self.control.inputs.busy or any(f.retry_ms for f in self.control.feeds):
            assert self.ms < until, "it never comes to rest"
            self.step(dt_ms)
        self.do_wait(dt_ms, 30)
        if everything:
            self.do_reset(-1)
            self.do_wait(dt_ms, 30)
        if everything:
            for d in self.servos():
                if self.known[d] == UNKNOWN:
                    self.do_throw(d, d & 1)
                    until = self.ms + SERVO_REST_MS
                    while self.control.mover.busy:
                        assert self.ms < until, "it never comes to rest"
                        self.step(dt_ms)
            self.do_wait(dt_ms, 30)
        for f, spec in enumerate(self.doc["feeds"]):
            if everything:
                assert not self.fault[f] and not self.all_off, "a fault that nobody has"
            if not self.all_off and self.may_be_on(f, spec):
                self.at_its_side(f, spec)

    def may_be_on(self, f, spec):
        """Whether neither it nor one that shares its enable has to be off."""
        if spec["enable"] < 0:
            return not self.fault[f]
        for other, feed in enumerate(self.doc["feeds"]):
            if feed["enable"] == spec["enable"] and feed["output"] != "pair":
                if self.fault[other] or self.allowed(other) not in ({A}, {B}):
                    return False
        return not self.fault[f]

    def at_its_side(self, f, spec):
        told = self.told(f)
        wanted = self.allowed(f)
        if len(wanted) != 1:
            assert told == OFF or not has_off(spec), "S2: feed %d is on, nothing is known" % f
            return
        side = list(wanted)[0]
        if side == OFF and not has_off(spec):
            return
        if self.tried[f] and told == A + B - side:
            return
        assert told == side, "at rest feed %d is at %d, its table says %d" % (f, told, side)

    # --- a step ---

    def step(self, dt_ms):
        """`dt_ms` pass, then the board does its tick. The events told."""
        self.steps += 1
        if self.control.mover.wants_flash:
            self.write_flash()
        self.flash_works = True
        self.ms += dt_ms
        self.hits = list(self.hit)
        self.hit = [False] * len(self.hit)
        reading = [self.reading(i) for i in range(len(self.reads))]
        struck = [self.fires(t) for t in range(len(self.doc["trips"]))]
        for control in self.controls:
            for i in range(len(reading)):
                control.guard.reading[i] = reading[i]
            for i, spec in enumerate(self.doc["inputs"]):
                control.inputs.raw[i] = UNSEEN if self.dead[0] and spec["chip"] == 0 else self.raw[i]
            for t in range(len(struck)):
                if struck[t]:
                    self.clear(control, t)
                    control.guard.tripped[t] = 1
        for feed in self.controls[1].feeds:
            feed.stir()
        for control in self.controls:
            control.step(dt_ms)
        if self.dead[1]:
            for d in range(len(self.known)):
                if self.on_chip(d) and self.control.drives[d].out_us:
                    self.disturb()
        found = self.take()
        self.contacts()
        self.inputs_seen()
        self.hear(found)
        self.pulses(found)
        self.overloads(dt_ms, reading)
        self.look()
        self.fresh = False
        return found

    def write_flash(self):
        for n in (0, 1):
            control = self.controls[n]
            if self.flash_works:
                if n == 0:
                    self.flash = control.mover.positions()
                control.mover.marked()
            else:
                control.mover.refuse()
        for d in self.servos():
            setting, pulse_us = self.flash[d]
            if setting != UNKNOWN and self.flash_works:
                assert self.known[d] == setting, "S8: flash says that drive %d is at %d" % (d, setting)

    def take(self):
        one, other = self.controls
        assert one.lines == other.lines, "asleep, the lines are %s, not %s" % (bytes(one.lines), bytes(other.lines))
        for mine, awake in zip(one.drives, other.drives):
            assert (mine.out_us, mine.at, mine.phase) == (awake.out_us, awake.at, awake.phase), "asleep: " + mine.name
        found = []
        for control in self.controls:
            said = []
            while len(control.log):
                said.append(control.log.take()[2:])
            found.append(said)
        assert found[0] == found[1], "asleep it says %s, not %s" % tuple(found)
        return found[0]

    def reading(self, i):
        """What sensor i shows: as set, or what flows where a feed that it watches has a short."""
        if self.reads[i]:
            return self.reads[i]
        spec = self.doc["sensors"][i]
        return OVER if any(self.told(f) & self.short[f] for f in spec["watches"]) else 0

    def fires(self, t):
        """Whether a short makes trip input t strike: only where no sensor would see it first."""
        return any(self.told(f) & self.short[f] for f in self.doc["trips"][t]["watches"])

    def numbers(self):
        """Whole numbers stay as narrow as on the board."""
        for part in self.parts:
            for name, value in _values(part).items():
                for number in value if type(value) is list else (value if type(value) is int else 0,):
                    assert -(1 << 30) < number < 1 << 30, "%s is %d" % (name, number)
