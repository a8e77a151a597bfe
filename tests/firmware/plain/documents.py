"""Settings documents for tests: small ones built from parts, and a rig that runs a control without hardware."""

import json

from frogboard import events, settings
from frogboard.control import Control
from frogboard.table import OFF, UNKNOWN, A, B


def servo(name="D1", pin=0, ends=(1000, 2000), **more):
    spec = {
        "name": name,
        "kind": "servo",
        "settings": ["left", "right"],
        "out": {"kind": "pwm", "pin": pin},
        "pulse_us": list(ends),
        "travel_ms": 500,
        "lag_ms": 100,
    }
    spec.update(more)
    return spec


def hand(name, contacts):
    return {"name": name, "kind": "hand", "settings": ["left", "right"], "contacts": contacts}


def strict_moves(drive, ends=(1000, 2000), lead_ms=25, lag_ms=60):
    """Off before the first step, on after arrival."""
    moves = []
    for to in (0, 1):
        moves.append(
            {
                "drive": drive,
                "to": to,
                "off_us": ends[1 - to],
                "off_lead_ms": lead_ms,
                "on_us": ends[to],
                "on_lag_ms": lag_ms,
            }
        )
    return moves


def middle_moves(drive, ends=(1000, 2000), off=0.4, on=0.6):
    """Over in mid-travel, as with bonded blades."""
    moves = []
    for to in (0, 1):
        start, end = ends[1 - to], ends[to]
        moves.append(
            {
                "drive": drive,
                "to": to,
                "off_us": int(start + (end - start) * off),
                "on_us": int(start + (end - start) * on),
            }
        )
    return moves


def stretch_moves(drive, ends=(1000, 2000), at=0.4, lag_ms=40):
    """Over at one point on the way, the servo reckoned with: an output without an off, blades that are not bonded."""
    moves = middle_moves(drive, ends, at, at)
    for move in moves:
        move["on_lag_ms"] = lag_ms
    return moves


def follow(drive, zero="B", one="A"):
    """The table of a frog that follows one drive."""
    return [{"when": [[drive, 0]], "feed": zero}, {"when": [[drive, 1]], "feed": one}]


def pair(name, a, b, table, moves, **more):
    spec = {
        "name": name,
        "output": "pair",
        "a": {"pin": a},
        "b": {"pin": b},
        "dead_ms": 20,
        "release_ms": 15,
        "operate_ms": 10,
        "bounce_ms": 5,
        "bonded": False,
        "table": table,
        "moves": moves,
    }
    spec.update(more)
    return spec


def changeover(name, coil, rest, table, moves, **more):
    spec = {
        "name": name,
        "output": "changeover",
        "coil": {"pin": coil},
        "rest": rest,
        "dead_ms": 0,
        "release_ms": 15,
        "operate_ms": 10,
        "bounce_ms": 5,
        "bonded": False,
        "table": table,
        "moves": moves,
    }
    spec.update(more)
    return spec


def latching(name, set_, reset, table, moves, **more):
    spec = {
        "name": name,
        "output": "latching",
        "set": {"pin": set_},
        "reset": {"pin": reset},
        "pulse_ms": 20,
        "dead_ms": 0,
        "release_ms": 5,
        "operate_ms": 5,
        "bounce_ms": 3,
        "bonded": False,
        "table": table,
        "moves": moves,
    }
    spec.update(more)
    return spec


def document(drives, feeds, **more):
    doc = {
        "schema": settings.SCHEMA,
        "layout": "Saltmarsh Quay",
        "layout_hash": "0123456789abcdef",
        "board": "B1",
        "profile": "direct-relay",
        "control": "dc",
        "max_moving": 2,
        "drives": drives,
        "feeds": feeds,
    }
    doc.update(more)
    return doc


def sealed(doc):
    return settings.seal(json.dumps(doc))


def loaded(doc):
    checked, reason = settings.load(sealed(doc))
    assert reason is None, reason
    return checked


def simple(count=1):
    """`count` turnouts, each a servo and a pair that must be off while its blades are away from both ends."""
    drives = [servo("D%d" % (i + 1), i) for i in range(count)]
    feeds = [pair("T%d.F" % (i + 1), 16 + 2 * i, 17 + 2 * i, follow(i), strict_moves(i)) for i in range(count)]
    return document(drives, feeds)


class Rig:
    """Runs a control tick by tick, watches S1 and S3 at its lines, and stands in for flash and for wires."""

    def __init__(self, doc, positions=None, tick_ms=5):
        self.doc = loaded(doc)
        self.log = events.Events()
        self.control = Control(self.doc, self.log)
        self.flash = {}
        self.control.remember(positions or {}, [])
        self.tick_ms = tick_ms
        self.ms = 0
        self.seen = []
        self.writes = 0
        self.flash_works = True
        self._off_since = [0] * len(self.doc["feeds"])
        self._last_leg = [OFF] * len(self.doc["feeds"])

    def known(self, setting=0):
        """Flash contents in which every servo is known to be at a setting."""
        return {
            key: (setting, spec["pulse_us"][setting])
            for key, spec in zip(self.control.keys, self.doc["drives"])
            if spec["kind"] == "servo"
        }

    def tick(self, dt_ms=None):
        dt_ms = self.tick_ms if dt_ms is None else dt_ms
        self.ms += dt_ms
        self.log.now_ms = self.ms
        control = self.control
        control.step(dt_ms)
        self.check()
        if control.mover.wants_flash:
            moving = [d for d in control.drives if d.servo and d.phase]
            assert not moving, "flash is written while a drive moves"
            self.writes += 1
            if self.flash_works:
                self.flash = dict(zip(control.keys, control.mover.positions()))
                control.mover.marked()
            else:
                control.mover.refuse()
        while len(self.log):
            self.seen.append(self.log.take())

    def run(self, ms):
        end = self.ms + ms
        while self.ms < end:
            self.tick()

    def until_idle(self, limit_ms=60000):
        end = self.ms + limit_ms
        self.tick()
        while not self.control.idle:
            assert self.ms < end, "does not come to rest"
            self.tick()

    def leg(self, f):
        """What a pair's own lines say."""
        out = self.control.feeds[f].out
        lines = self.control.lines
        return (A if lines[out._a] else OFF) | (B if lines[out._b] else OFF)

    def check(self):
        for f, spec in enumerate(self.doc["feeds"]):
            if spec["output"] != "pair":
                continue
            leg = self.leg(f)
            assert leg != A | B, "both legs of %s at once" % spec["name"]
            if leg != OFF:
                if self._last_leg[f] not in (OFF, leg):
                    off_for = self.ms - self._off_since[f]
                    assert off_for >= spec["dead_ms"], "only %d ms off between the legs" % off_for
                self._last_leg[f] = leg
                self._off_since[f] = self.ms + self.tick_ms
        for d, drive in enumerate(self.control.drives):
            if drive.servo and drive.phase not in (0, 1):
                mark = self.flash.get(self.control.keys[d])
                assert mark is not None and mark[0] == UNKNOWN, "moves without a moving mark in flash"
