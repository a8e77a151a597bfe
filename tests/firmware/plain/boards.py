"""Random settings documents that the firmware's own rules accept: drives, feeds and watchers of every kind together."""

import json

from frogboard import settings, settings_rules

from documents import changeover, document, hand, latching, pair, servo

ENDS = ((1000, 2000), (2000, 1000), (1200, 1800), (1500, 1540), (1900, 1100))
FREE = list(range(8, 16)) + list(range(30, 48)) + list(range(16, 24))
"""Pins for all but servos (0 to 4), buses (6, 7) and analogue inputs (26 to 29)."""


class Draw:
    """One document in the making. `random` as `case_fuzz.Random`."""

    def __init__(self, random):
        self.random = random
        self.free = list(FREE)
        self.expander = 0
        self.inputs = []
        self.chips = []
        self.drives = []
        self.groups = []

    def one(self, *choices):
        return choices[self.random.below(len(choices))]

    def odds(self, one_in):
        return self.random.below(one_in) == 0

    def some(self, count):
        """A random choice of so many places, not none unless there are none."""
        found = [i for i in range(count) if self.odds(2)]
        return found or ([self.random.below(count)] if count else [])

    def pin(self):
        return self.free.pop(0)

    def line(self):
        """A pin for an output: a GPIO, or one of the expander."""
        if self.chips and self.expander < 16 and self.odds(2):
            self.expander += 1
            return {"pin": self.expander - 1, "chip": 0}
        return {"pin": self.pin()}

    def input(self):
        name = "I%d" % len(self.inputs)
        self.inputs.append(dict(self.line(), name=name, debounce_ms=self.one(0, 10, 20, 40)))
        return len(self.inputs) - 1

    def drive(self, i):
        name = "D%d" % i
        if self.odds(4):
            contacts = self.one((0, 1), (0, -1), (-1, 0))
            return hand(name, [c if c < 0 else self.input() for c in contacts])
        out = {"kind": "pwm", "pin": i}
        if self.chips and self.odds(2):
            out = {"kind": "pca9685", "chip": 1, "channel": i}
        return servo(
            name,
            ends=self.one(*ENDS),
            out=out,
            travel_ms=self.one(100, 200, 400, 800),
            lag_ms=self.one(0, 20, 100),
            rest=self.one("hold", "release"),
        )

    def rows(self, drives, when=()):
        """A table as a tree of decisions over these drives: its rows exclude each other, and some say off."""
        if not drives or (when and self.odds(4)):
            said = self.random.below(5)
            return [] if said == 0 else [{"when": [list(term) for term in when], "feed": "AB"[said & 1]}]
        return [r for to in (0, 1) for r in self.rows(drives[1:], when + ((drives[0], to),))]

    def table(self):
        names = list(range(len(self.drives)))
        chosen = []
        for _ in range(min(len(names), self.one(0, 1, 1, 1, 1, 2, 2, 3))):
            chosen.append(names.pop(self.random.below(len(names))))
        if len(chosen) == 1 and not self.odds(4):
            sides = self.one("AB", "BA")
            return [{"when": [[chosen[0], to]], "feed": sides[to]} for to in (0, 1)]
        return self.rows(chosen)

    def moves(self, table, bonded, has_off, release_ms):
        found = []
        for d in settings_rules.dependence({"table": table}):
            if self.drives[d]["kind"] != "servo":
                continue
            ends = self.drives[d]["pulse_us"]
            for to in (0, 1):
                start, end = ends[1 - to], ends[to]
                form = self.random.below(3) if has_off or bonded else 1 + self.random.below(2)
                off, on = ((0, 10), (5, 5), (2 + self.random.below(3), 6 + self.random.below(3)))[form]
                if has_off and self.odds(4):
                    off = 0
                if has_off and self.odds(4):
                    on = 10
                move = {"drive": d, "to": to}
                move["off_us"] = start + (end - start) * off // 10
                move["on_us"] = start + (end - start) * on // 10
                move["on_lag_ms"] = self.one(0, 10, 40, 120)
                if has_off and off == 0:
                    move["off_lead_ms"] = max(0, release_ms + self.one(0, 0, 5, 60, -5))
                found.append(move)
        return found

    def feed(self, i):
        name = "F%d" % i
        kind = self.one("pair", "pair", "changeover", "latching")
        enable = self.random.below(len(self.groups)) if self.groups and not self.odds(3) else -1
        has_off = kind == "pair" or enable >= 0
        bonded = self.odds(2)
        release_ms = self.one(0, 5, 15, 40)
        more = {"bonded": bonded, "enable": enable, "release_ms": release_ms}
        more["operate_ms"] = self.one(0, 10, 20)
        more["bounce_ms"] = self.one(0, 5)
        more["retries"] = self.random.below(4)
        more["retry_ms"] = self.one(100, 300, 1000)
        more["try_other"] = bonded and has_off and self.odds(2)
        off_ms = release_ms if kind == "pair" else self.groups[enable]["release_ms"] if has_off else 0
        table = self.table()
        moves = self.moves(table, bonded, has_off, off_ms)
        if kind == "pair":
            spec = pair(name, 0, 0, table, moves, dead_ms=release_ms + self.one(0, 10), **more)
            spec["a"], spec["b"] = self.line(), self.line()
        elif kind == "changeover":
            spec = changeover(name, 0, self.one("A", "B"), table, moves, **more)
            spec["coil"] = self.line()
        else:
            spec = latching(name, 0, 0, table, moves, pulse_ms=self.one(5, 20, 50), **more)
            spec["set"], spec["reset"] = self.line(), self.line()
        return spec

    def sensor(self, i, feeds):
        spec = {"name": "C%d" % i, "kind": "adc", "pin": 26 + i, "na_per_count": 1000000}
        spec["trip_ma"] = self.one(1000, 1000, 1000, 0)
        spec["trip_ms"] = self.one(0, 20, 100)
        spec["measure"] = self.one("mean", "rms")
        if self.odds(4):
            spec["role"] = "servo"
        else:
            spec["watches"] = self.some(feeds)
        return spec

    def panel(self, feeds):
        servos = [d for d, spec in enumerate(self.drives) if spec["kind"] == "servo"]
        buttons = []
        for _ in range(self.random.below(4)):
            does = self.one("set", "toggle", "toggle", "all_off", "reset")
            if does in ("set", "toggle") and not servos:
                continue
            moves = []
            if does in ("set", "toggle"):
                moves = [[servos[k], self.random.below(2)] for k in self.some(len(servos))]
            buttons.append({"input": self.input(), "does": does, "moves": moves})
        lamps = []
        for _ in range(self.random.below(3)):
            shows = self.one("set", "fault", "all_off")
            lamp = {"out": {"pin": self.pin()}, "shows": shows}
            if shows == "set":
                lamp["moves"] = [[d, self.random.below(2)] for d in self.some(len(self.drives))]
            elif shows == "fault":
                lamp["feed"] = self.random.below(feeds + 1) - 1
            lamps.append(lamp)
        return {"buttons": buttons, "lamps": lamps}

    def document(self):
        more = {"tick_ms": self.one(5, 5, 10, 20), "max_moving": 1 + self.random.below(4)}
        if self.odds(3):
            more["buses"] = [{"sda": 6, "scl": 7, "hz": 1000000}]
            self.chips = [
                {"kind": "mcp23017", "bus": 0, "address": 0x20, "reset_pin": 24},
                {"kind": "pca9685", "bus": 0, "address": 0x40, "oe_pin": 25},
            ]
            more["chips"] = self.chips
        for i in range(1 + self.random.below(5)):
            self.drives.append(self.drive(i))
        for i in range(self.random.below(3)):
            times = {"release_ms": self.one(0, 15, 30), "operate_ms": self.one(0, 10, 20)}
            self.groups.append(dict(times, name="E%d" % i, out=self.line()))
        feeds = [self.feed(i) for i in range(1 + self.random.below(6))]
        more["groups"] = self.groups
        more["sensors"] = [self.sensor(i, len(feeds)) for i in range(self.random.below(3))]
        more["trips"] = []
        for i in range(self.random.below(3)):
            more["trips"].append({"name": "K%d" % i, "input": {"pin": self.pin()}, "watches": self.some(len(feeds))})
        more["panel"] = self.panel(len(feeds))
        more["inputs"] = self.inputs
        return document(self.drives, feeds, **more)


def draw(random):
    """A random document, as it is pushed, and how many the rules refused before it."""
    refused = 0
    while True:
        try:
            doc = Draw(random).document()
        except IndexError:  # more pins than there are
            continue
        if settings.load(settings.seal(json.dumps(doc)))[0] is not None:
            return doc, refused
        refused += 1
