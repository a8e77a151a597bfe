"""Settings changed in thousands of ways: refused with a reason that names a key, or taken and harmless."""

import json

from case_fuzz import Random, damaged
from frogboard import settings
from frogboard.reason import Refused

from documents import Rig, changeover, document, follow, hand, latching, pair, sealed, servo, strict_moves

COUNT = 400
"""Ways in the ordinary run; `test_mutated.py` makes it ten thousand."""


def rich():
    """Every part of the document, once at least: all kinds of drive, output, chip, sensor, input, button and lamp."""
    drives = [
        servo("D1", 0, home=0, rest="hold"),
        servo("D2", out={"kind": "pca9685", "chip": 0, "channel": 3}, travel_ms=100, lag_ms=0),
        hand("D3", [0, 1]),
    ]
    both = [{"when": [[0, 0], [1, 0]], "feed": "A"}, {"when": [[0, 1]], "feed": "B"}]
    feeds = [
        pair("F1", 16, 17, follow(0), strict_moves(0), try_other=True, bonded=True),
        pair("F2", 0, 0, both, strict_moves(0) + strict_moves(1)),
        changeover("F3", 18, "A", follow(1), strict_moves(1), enable=0),
        latching("F4", 19, 20, follow(2), [], enable=0),
    ]
    feeds[1]["a"] = {"chip": 1, "pin": 0}
    feeds[1]["b"] = {"chip": 1, "pin": 1, "active": 0}
    return document(
        drives,
        feeds,
        tick_ms=10,
        watchdog_ms=3000,
        led_pin=25,
        hold_input=2,
        buses=[{"sda": 4, "scl": 5, "hz": 400000}, {"sda": 2, "scl": 3, "hz": 100000}],
        chips=[
            {"kind": "pca9685", "bus": 0, "address": 64, "oe_pin": 6},
            {"kind": "mcp23017", "bus": 0, "address": 32, "reset_pin": 7},
            {"kind": "ina226", "bus": 1, "address": 64},
        ],
        groups=[{"name": "E", "out": {"pin": 21}, "release_ms": 15, "operate_ms": 10}],
        inputs=[{"name": "I%d" % i, "pin": 8 + i} for i in range(3)] + [{"name": "X", "pin": 15, "chip": 1}],
        sensors=[
            {"name": "S1", "kind": "ina", "chip": 2, "na_per_count": 125000, "trip_ma": 3000, "watches": [0, 1]},
            {"name": "S2", "kind": "adc", "pin": 26, "na_per_count": 408000, "measure": "rms", "watches": [2]},
        ],
        trips=[{"name": "K", "input": {"pin": 22, "active": 0}, "watches": [0, 2]}],
        panel={
            "buttons": [{"input": 2, "does": "toggle", "moves": [[0, 1], [1, 0]]}, {"input": 3, "does": "all_off"}],
            "lamps": [{"out": {"pin": 13}, "shows": "set", "moves": [[0, 1]]}, {"out": {"pin": 14}, "shows": "fault"}],
        },
    )


ODD = (
    None, True, False, -1, 0, 1, 2, 3, 15, 16, 31, 32, 47, 48, 63, 64, 299, 300, 2700, 2701, 65535, 65536, 1 << 30,
    1 << 31, 1 << 64, -(1 << 31), -(1 << 70), 0.5, 1.0, -0.0, 1e300, "", "A", "B", "x", "pair", "servo", "D1", "F1",
    "0" * 16, "x" * 41, "x" * 81, "a\nb", "\u00e9", "\u2603", [], {}, [[]], [0], [0, 0], [[0, 0]], [[0, 1], [0, 1]],
    [None], [{}], {"pin": 3}, {"pin": 3, "chip": 1}, {"": 0},
)  # fmt: skip


def places(value, found):
    """(container, key) of everything inside."""
    if type(value) is dict:
        for key in sorted(value):
            found.append((value, key))
            places(value[key], found)
    elif type(value) is list:
        for i in range(len(value)):
            found.append((value, i))
            places(value[i], found)
    return found


def change(random, doc):
    """One change of the document's structure."""
    spots = places(doc, [])
    owner, key = spots[random.below(len(spots))]
    value = owner[key]
    kind = random.below(14)
    if kind < 3:
        owner[key] = ODD[random.below(len(ODD))]
    elif kind == 3:
        del owner[key]
    elif kind in (4, 10, 11, 12, 13) and type(value) is int:
        owner[key] = value + (-1, 1, -10, 10, 100, 256)[random.below(6)]
    elif kind == 5 and type(owner) is list:
        for _ in range(1 + random.below(3) * 20):
            owner.append(json.loads(json.dumps(value)))
    elif kind == 6 and type(owner) is dict:
        owner[(key + "_", key[:-1], key.upper(), "crc32", "")[random.below(5)]] = value
    elif kind == 7:
        other, name = spots[random.below(len(spots))]
        owner[key] = json.loads(json.dumps(other[name]))
    elif kind == 8:
        other, name = spots[random.below(len(spots))]
        copy = json.loads(json.dumps(value))
        owner[key] = json.loads(json.dumps(other[name]))
        if name in other if type(other) is dict else name < len(other):
            other[name] = copy
    elif type(value) is list:
        value.reverse()
    else:
        owner[key] = [value]


def names_a_key(path):
    """Whether a path such as drives[2].pulse_us[0] leads to something in the table of fields."""
    if path in ("document", "crc32"):
        return True
    fields = settings.SETTINGS
    for part in path.split("."):
        name = part.split("[")[0]
        found = [f for f in fields if f.key == name]
        if not found:
            return False
        for index in part.split("[")[1:]:
            if index[-1:] != "]" or not index[:-1].isdigit():
                return False
        fields = found[0].of
    return True


NO_KEY = ": no such key"


def told(reason):
    """The reason names a key and says what is wrong with it."""
    if reason.endswith(NO_KEY):  # that key may be spelt in any way, dots included; what it should be in is named
        parts = reason[: -len(NO_KEY)].split(".")
        return len(parts) == 1 or names_a_key(parts[0])
    at = reason.find(": ")
    return at > 0 and names_a_key(reason[:at]) and len(reason) > at + 4


def harmless(text):
    """A board with these settings: dark until it is asked, no both-legs, no twitch, off when told. Raises where not."""
    raw = json.loads(bytes(text).decode())
    del raw["crc32"]
    rig = Rig(raw, tick_ms=raw.get("tick_ms", 5))
    control = rig.control
    doc = rig.doc
    for _ in range(3):
        rig.tick()
        for f, spec in enumerate(doc["feeds"]):
            if spec["output"] == "pair" and [r for r in spec["table"] if not r["when"]] == []:
                assert rig.leg(f) == 0, "a feed is on though no position is known"
        assert all(d.out_us == 0 for d in control.drives if d.servo), "a pulse before anything was asked"
    for to in (0, 1):
        for d in range(len(control.drives)):
            try:
                control.orders.throw(d, to)
            except Refused:
                assert not control.drives[d].servo
        for _ in range(25):
            rig.tick()
            assert control.mover.moving <= doc["max_moving"]
    control.orders.turn_all_off()
    for _ in range(3):
        rig.tick()
    for f, feed in enumerate(control.feeds):
        if feed.out.has_off and doc["feeds"][f]["output"] == "pair":
            assert rig.leg(f) == 0, "all off, and a feed is on"


def mutate(count, seed):
    """(refused, taken) of so many changed documents; every eighth is changed by bytes under a CRC that is left alone,
    every eighth by bytes under a fresh CRC."""
    random = Random(seed)
    plain = json.dumps(rich())
    sound = sealed(json.loads(plain))
    refused = taken = 0
    for n in range(count):
        if n % 8 == 0:
            text = damaged(random, sound)
        elif n % 8 == 4:
            body = b"{" + damaged(random, sound[20:])
            text = settings.seal(body) if len(body) > 3 else sound
        else:
            doc = json.loads(plain)
            for _ in range(1 + random.below(4) // 2):
                change(random, doc)
            text = settings.seal(json.dumps(doc or {"x": 0}))
        checked, reason = settings.load(text)
        assert (checked is None) != (reason is None)
        if checked is None:
            assert told(reason), reason
            assert len(reason) < 200 and all(" " <= c <= "~" for c in reason), reason
            refused += 1
        else:
            assert n % 8 or text == sound, "changed bytes under the old CRC are taken"
            harmless(text)
            taken += 1
    return refused, taken


def test_the_sound_one_is_taken_and_harmless():
    text = sealed(rich())
    assert settings.load(text)[1] is None
    harmless(text)


def test_what_names_no_key_is_seen_as_such():
    assert told("drives[1].pulse_us[0]: 299 is less than 300") and told("crc32: does not fit")
    for reason in ("no good", "drive[1].name: missing", "drives[x].name: missing", "feeds[0].a.b: wrong", ": empty"):
        assert not told(reason), reason


def test_settings_changed_in_many_ways():
    refused, taken = mutate(COUNT, 7)
    print("  %d refused with their key named, %d taken and harmless" % (refused, taken))
    assert refused > COUNT // 2 and taken > COUNT // 50


def test_another_version_is_refused_by_its_number():
    for schema in (0, settings.SCHEMA - 1, settings.SCHEMA + 1, 99, "1", 1.0, True, None, [1]):
        doc = rich()
        doc["schema"] = schema
        checked, reason = settings.load(sealed(doc))
        assert checked is None and reason.startswith("schema: "), reason
    doc = rich()
    del doc["schema"]
    assert settings.load(sealed(doc))[1] == "schema: missing"
