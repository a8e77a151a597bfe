"""Walks through every state of a small board: drives, feeds, guard, mover and flash, with a physical world beside it.

A state is all that decides what happens next, and no more: counters that only grow are cut off where nothing looks at
them any more, what only a report shows is left out, and so is what a drive at rest remembers of its last move. From
every state every event is tried once, breadth first, so what is printed as the number of states is the number of
different situations in which every rule was checked, and a walk that comes to its end has seen them all.

The world: each servo follows its pulse at its own speed; near an end its blade touches a stock rail, which joins the
frog to that setting's bus wire. A contact lets go `release_ms` after it was told to.
"""

import array

from frogboard import events, guard
from frogboard.control import Control
from frogboard.drive import MOVE, REST, SETTLE, WAIT, WAKE
from frogboard.outputs import LatchingOut, PairOut
from frogboard.table import OFF, UNKNOWN, A, B

from documents import loaded

try:
    from hashlib import blake2b
    from marshal import dumps
except ImportError:  # MicroPython has neither, and does not walk far
    dumps = None

TICK_MS = 20


class World:
    """A control, its flash and its physics. `touch_us`: within this of an end the blade touches there."""

    def __init__(self, doc, touch_us=2, speed_us=3, known=False):
        self.doc = loaded(doc)
        self.touch_us = touch_us
        self.speed_us = speed_us
        self.flash = [(UNKNOWN, 0)] * len(self.doc["drives"])
        if known:
            self.flash = [(0, d["pulse_us"][0]) for d in self.doc["drives"]]
        self.place = [d["pulse_us"][0] if d["kind"] == "servo" else 0 for d in self.doc["drives"]]
        self.closed_ms = [[0, 0] for _ in self.doc["feeds"]]
        """Per feed and leg: how long the contact may still be closed."""
        self.side = [OFF] * len(self.doc["feeds"])
        self.boot()

    def boot(self):
        self.log = events.Events(8)
        self.control = Control(self.doc, self.log)
        positions = dict(zip(self.control.keys, self.flash))
        self.control.remember(positions, [])
        self.parts = _parts(self.control)
        self.flash_works = True
        self.fresh = True

    # --- events ---

    def tick(self):
        control = self.control
        if control.mover.wants_flash:
            if self.flash_works:
                self.flash = control.mover.positions()
                control.mover.marked()
            else:
                control.mover.refuse()
        self.flash_works = True
        struck = self.struck()
        control.step(TICK_MS)
        for feed, trips in struck:
            assert feed.trips == trips + 1, "S4: a trip that nobody counts"
        self.physics()
        self.check()
        self.fresh = False
        while len(self.log):
            self.log.take()

    def cut(self):
        """The power goes, and comes back: what was told is forgotten, the blades stay where they are."""
        for legs in self.closed_ms:
            legs[0] = legs[1] = 0
        self.boot()
        self.check()

    def strike(self, t):
        """A hardware trip: the interrupt clears the pins at once."""
        for f in self.doc["trips"][t]["watches"]:
            for line in self.control.feed_lines(f):
                self.control.lines[line] = 0
        self.control.guard.tripped[t] = 1

    def struck(self):
        """Feeds of which the guard has to count a trip in this tick, with what each has counted so far."""
        guarded = self.control.guard
        feeds = [f for i, t in enumerate(self.doc["trips"]) if guarded.tripped[i] for f in t["watches"]]
        found = [self.control.feeds[f] for f in feeds]
        return [(f, f.trips) for f in found if f.fault == 0 and f.trips < 200 and (f.out.live or not f.out.has_off)]

    # --- physics ---

    def physics(self):
        control = self.control
        for d, drive in enumerate(control.drives):
            if drive.servo and drive.out_us:
                step = drive.out_us - self.place[d]
                self.place[d] += max(-self.speed_us, min(self.speed_us, step))
        for f in range(len(control.feeds)):
            release_ms = self.doc["feeds"][f]["release_ms"]
            for leg in (0, 1):
                if self.told(f) == leg + 1:
                    self.closed_ms[f][leg] = release_ms
                else:
                    self.closed_ms[f][leg] = max(0, self.closed_ms[f][leg] - TICK_MS)

    def told(self, f):
        """What the output lines themselves say: A, B or OFF; -1: both."""
        control = self.control
        out = control.feeds[f].out
        lines = control.lines
        if out.group is not None and not lines[out.group.line]:
            return OFF
        if isinstance(out, PairOut):
            a, b = lines[out._a], lines[out._b]
            return -1 if a and b else A if a else B if b else OFF
        if isinstance(out, LatchingOut):
            if lines[out._set] and lines[out._reset]:
                return -1
            if lines[out._set]:
                self.side[f] = A
            elif lines[out._reset]:
                self.side[f] = B
            return self.side[f]
        return out._rest if not lines[out._coil] else A + B - out._rest

    # --- rules ---

    def check(self):
        control = self.control
        for f, spec in enumerate(self.doc["feeds"]):
            told = self.told(f)
            assert told != -1, "S1: both legs are driven"
            if spec["output"] == "pair":
                other = self.closed_ms[f][1 if told == A else 0] if told else 0
                assert not other, "S1: one leg is driven while the other may still be closed"
            if spec["output"] == "pair" or spec.get("enable", -1) >= 0:
                self.check_feed(f, told)
        for d, drive in enumerate(control.drives):
            if not drive.servo:
                continue
            known = self.flash[d]
            if known[0] != UNKNOWN:
                end = self.doc["drives"][d]["pulse_us"][known[0]]
                assert self.place[d] == end, "S8: flash says setting %d, the blade is elsewhere" % known[0]
            if self.fresh and not drive.hold:
                assert drive.out_us == 0, "S3: a pulse at power-up"
            if drive.phase >= WAKE:
                assert known[0] == UNKNOWN, "S8: moves without a mark in flash"

    def check_feed(self, f, told):
        control = self.control
        feed = control.feeds[f]
        if self.fresh:
            assert told == OFF, "S3: on at power-up"
        closed = [told == A or self.closed_ms[f][0] > 0, told == B or self.closed_ms[f][1] > 0]
        if feed.fault:
            assert told == OFF, "S4: on in spite of a fault"
        wanted = self.allowed(f)
        if told != OFF and not feed.flipped:
            assert told in wanted, "S2: %d is told, the table allows %s" % (told, wanted)
        for k, d in enumerate(feed.depends):
            drive = control.drives[d]
            if not drive.servo or len(feed.depends) > 1 or self.doc["feeds"][f]["try_other"]:
                continue
            ends = drive.ends
            if drive.phase == MOVE and feed._off_us[2 * k + drive.to] == -1:
                assert not any(closed), "moves while a contact that must be open first may be closed"
            for setting in (0, 1):
                if abs(self.place[d] - ends[setting]) <= self.touch_us and feed._off_us[2 * k] == -1:
                    row = feed._answers[setting]
                    if row:
                        assert not closed[A + B - row - 1], "spark: blade %d, feed %s" % (setting, closed)

    def allowed(self, f):
        """What a feed may be told for what is known for certain, by the rule alone: all completions agree, or off."""
        feed = self.control.feeds[f]
        found = set()
        rows = self.doc["feeds"][f]["table"]
        for number in range(1 << len(feed.depends)):
            settings = {}
            possible = True
            for k, d in enumerate(feed.depends):
                setting = number >> k & 1
                settings[d] = setting
                if setting not in self.possible(f, k, d):
                    possible = False
            if possible:
                found.add(_lookup(rows, settings))
        return found if len(found) == 1 else set()

    def possible(self, f, k, d):
        """The settings that a drive may have, as far as feed f is concerned."""
        drive = self.control.drives[d]
        if not drive.servo:
            return (drive.at,) if drive.at != UNKNOWN else (0, 1)
        if drive.phase in (REST, 1) and drive.at != UNKNOWN:
            return (drive.at,)
        if drive.phase == SETTLE:
            return (drive.to,)
        view = self.control.feeds[f].view[k]
        if drive.phase in (WAIT, WAKE, MOVE) and view != UNKNOWN and self.short_of_off(f, d, view):
            return (view,)
        return (0, 1)

    def short_of_off(self, f, d, setting):
        """Whether the pulse is still on a setting's side of the point where feed f goes off on the way out of it."""
        pulse_us = self.control.drives[d].pulse_us
        for move in self.doc["feeds"][f]["moves"]:
            if move["drive"] == d and move["to"] == 1 - setting:
                start_us = self.doc["drives"][d]["pulse_us"][setting]
                if move["off_us"] == start_us or not pulse_us:
                    return False
                return pulse_us <= move["off_us"] if start_us < move["off_us"] else pulse_us >= move["off_us"]
        return False

    # --- keeping and going back ---

    def save(self):
        return (
            [_values(part) for part in self.parts],
            list(self.flash),
            list(self.place),
            [list(legs) for legs in self.closed_ms],
            list(self.side),
            bytes(self.control.lines),
            self.flash_works,
            self.fresh,
            self.control,
            self.log,
            self.parts,
        )

    def restore(self, kept):
        values, self.flash, self.place, closed, self.side, lines, self.flash_works, self.fresh = kept[:8]
        self.control, self.log, self.parts = kept[8:]
        self.flash, self.place, self.side = list(self.flash), list(self.place), list(self.side)
        self.closed_ms = [list(legs) for legs in closed]
        for i in range(len(lines)):
            self.control.lines[i] = lines[i]
        for part, value in zip(self.parts, values):
            _restore(part, value)

    def key(self):
        found = [tuple(self.flash), tuple(self.place), bytes(self.control.lines), tuple(self.side)]
        found.append(tuple(tuple(legs) for legs in self.closed_ms))
        found.append((self.flash_works, self.fresh))
        for part in self.parts:
            found.append(_key(part))
        if dumps is None:
            return tuple(found)
        return blake2b(dumps(found), digest_size=12).digest()


class Awake(World):
    """A world in which no feed ever sleeps."""

    def tick(self):
        for feed in self.control.feeds:
            feed.stir()
        super().tick()


class Twins:
    """A world and the same one in which no feed ever sleeps: what comes out of them is the same."""

    def __init__(self, doc):
        self.worlds = (World(doc, known=True), Awake(doc, known=True))

    def do(self, action):
        one, other = self.worlds
        action(one)
        action(other)
        assert one.control.lines == other.control.lines, "asleep, the lines are %s" % bytes(one.control.lines)
        for mine, awake in zip(one.control.feeds, other.control.feeds):
            assert (mine.told, mine.fault) == (awake.told, awake.fault), "%s says something else" % mine.name
        for mine, awake in zip(one.control.drives, other.control.drives):
            assert (mine.pulse_us, mine.at, mine.phase) == (awake.pulse_us, awake.at, awake.phase), mine.name

    def save(self):
        return [world.save() for world in self.worlds]

    def restore(self, kept):
        for world, own in zip(self.worlds, kept):
            world.restore(own)

    def key(self):
        return tuple(world.key() for world in self.worlds)


def _lookup(rows, settings):
    for row in rows:
        if all(settings[d] == s for d, s in row["when"]):
            return A if row["feed"] == "A" else B
    return OFF


def _parts(control):
    found = [control, control.orders, control.mover, control.guard, control.inputs]
    found += control.drives + control.feeds + [f.out for f in control.feeds] + control.groups
    return found


CAPS = {"off_ms": 200, "_clean_ms": 0, "still_ms": 60, "held_ms": 200}
"""Nothing looks at these counters beyond so many milliseconds, in the documents explored here."""

TOLD = ("trips",)
"""Nothing is decided by these: they are for the laptop to read."""

OF_A_MOVE = ("_from_us", "_far_us", "_whole_ms", "_done_ms", "call_us", "rising")
"""What a drive at rest does not look at any more: the next move sets them anew."""


def _values(part):
    found = {}
    for name, value in part.__dict__.items():
        kind = type(value)
        if kind in (int, bool):
            found[name] = value
        elif kind is bytearray:
            found[name] = bytes(value)
        elif kind is array.array:
            found[name] = list(value)
    return found


def _restore(part, values):
    own = part.__dict__
    for name, value in values.items():
        now = own[name]
        if type(now) is bytearray or type(now) is array.array:
            for i in range(len(now)):
                now[i] = value[i]
        else:
            setattr(part, name, value)


def _key(part):
    found = []
    own = part.__dict__
    skipped = TOLD + OF_A_MOVE if own.get("phase") == REST else TOLD
    for name in sorted(own):
        if name in skipped:
            continue
        value = own[name]
        kind = type(value)
        if kind is int or kind is bool:
            cap = CAPS.get(name)
            found.append(value if cap is None or value < cap else cap)
        elif kind is bytearray:
            found.append(bytes(value))
        elif kind is array.array:
            found.append(tuple(value))
    return tuple(found)


def explore(make, actions, most, depth=10**6):
    """Every state that `actions` (name, function of a world) reach. (states, transitions, depth, complete)."""
    guard.GOOD_MS = 3 * TICK_MS  # shorter, for every tick of it is a state of its own
    guard.VAIN_MS = 2 * TICK_MS
    world = make()
    seen = {world.key()}
    edge = [(world.save(), None)]
    transitions = level = 0
    while edge and level < depth:
        level += 1
        following = []
        for kept, path in edge:
            for name, action in actions:
                world.restore(kept)
                transitions += 1
                try:
                    action(world)
                except AssertionError as error:
                    raise AssertionError("%s, after: %s" % (error, _told(path, name)))
                key = world.key()
                if key not in seen:
                    seen.add(key)
                    following.append((world.save(), (path, name)))
            if len(seen) >= most:
                return len(seen), transitions, level, False
        edge = following
    return len(seen), transitions, level, not edge


def _told(path, name):
    """The events of a path, in order."""
    names = [name]
    while path is not None:
        path, name = path
        names.append(name)
    names.reverse()
    return " ".join(names)
