"""What must hold between the fields of a settings document: references, pins, windows, timing, bus time.

`check(doc)` raises Refused with the key path of the first thing that is wrong. The document has passed the
table in `settings`, so every field is there and within its own range. No hardware; MicroPython and CPython.
"""

from frogboard import bus_time
from frogboard.reason import Refused

if False:
    from typing import Any

MAX_DEPENDENCE = 5
"""Drives that one feed may depend on: its table is held for all 3**5 combinations of known and unknown."""


def check(doc: "dict[str, Any]") -> None:
    """Raise Refused where the document does not hold together."""
    _buses(doc)
    _names(doc)
    _drives(doc)
    _feeds(doc)
    _watchers(doc)
    _panel(doc)
    _claims(doc)
    bus_time.check(doc)


def _names(doc: "dict[str, Any]") -> None:
    for part in ("drives", "feeds", "groups", "inputs", "sensors", "trips"):
        seen: "dict[str, int]" = {}
        for i, entry in enumerate(doc[part]):
            name = entry["name"]
            if name in seen:
                raise Refused("%s[%d].name" % (part, i), "%s is the name of %s[%d] too" % (name, part, seen[name]))
            seen[name] = i


def i2c_unit(pin: int) -> int:
    """Which of the two I2C units a pin belongs to (RP2040 datasheet: pins in pairs, alternating)."""
    return (pin >> 1) & 1


def _buses(doc: "dict[str, Any]") -> None:
    units: "list[int]" = []
    for i, bus in enumerate(doc["buses"]):
        where = "buses[%d]" % i
        if bus["sda"] & 1:
            raise Refused(where + ".sda", "GP%d can't be a data pin (even pins can)" % bus["sda"])
        if not bus["scl"] & 1 or i2c_unit(bus["scl"]) != i2c_unit(bus["sda"]):
            raise Refused(where + ".scl", "GP%d is no clock pin of the same I2C unit" % bus["scl"])
        if i2c_unit(bus["sda"]) in units:
            raise Refused(where, "both buses are on the same I2C unit")
        units.append(i2c_unit(bus["sda"]))
    seen: "dict[int, int]" = {}
    for i, chip in enumerate(doc["chips"]):
        where = "chips[%d]" % i
        if chip["bus"] >= len(doc["buses"]):
            raise Refused(where + ".bus", "no such bus")
        key = chip["bus"] * 128 + chip["address"]
        if key in seen:
            raise Refused(where + ".address", "chips[%d] is there too" % seen[key])
        seen[key] = i
        if chip["kind"] == "mcp23017" and chip["reset_pin"] < 0:
            raise Refused(where + ".reset_pin", "an expander's outputs need a reset pin that turns them off")
        if chip["kind"] == "pca9685" and chip["oe_pin"] < 0:
            raise Refused(where + ".oe_pin", "a servo chip needs an OE pin that turns it off")
        low, high = {
            "mcp23017": (0x20, 0x27),
            "pca9685": (0x40, 0x7F),
            "ina219": (0x40, 0x4F),
            "ina226": (0x40, 0x4F),
            "ina3221": (0x40, 0x43),
        }[chip["kind"]]
        if not low <= chip["address"] <= high or (chip["kind"] == "pca9685" and chip["address"] == 0x70):
            raise Refused(where + ".address", "0x%02x is no address of a %s" % (chip["address"], chip["kind"]))


def chip_kind(doc: "dict[str, Any]", index: int) -> str:
    """The kind of a chip, or "" where there is none."""
    return doc["chips"][index]["kind"] if 0 <= index < len(doc["chips"]) else ""


def _pin(doc: "dict[str, Any]", where: str, ref: "dict[str, Any]") -> None:
    if ref["chip"] >= 0:
        if chip_kind(doc, ref["chip"]) != "mcp23017":
            raise Refused(where + ".chip", "chips[%d] is no port expander" % ref["chip"])
        if ref["pin"] > 15:
            raise Refused(where + ".pin", "an expander has pins 0 to 15")


def _drives(doc: "dict[str, Any]") -> None:
    for i, drive in enumerate(doc["drives"]):
        where = "drives[%d]" % i
        if drive["settings"][0] == drive["settings"][1]:
            raise Refused(where + ".settings", "both settings have the same name")
        if drive["kind"] == "servo":
            _servo(doc, where, drive)
        else:
            _hand(doc, where, drive)


def _servo(doc: "dict[str, Any]", where: str, drive: "dict[str, Any]") -> None:
    out = drive["out"]
    if out is None:
        raise Refused(where + ".out", "missing")
    if out["kind"] == "pwm" and out["pin"] < 0:
        raise Refused(where + ".out.pin", "missing")
    if out["kind"] == "pca9685":
        if chip_kind(doc, out["chip"]) != "pca9685":
            raise Refused(where + ".out.chip", "no servo chip there")
        if out["channel"] < 0:
            raise Refused(where + ".out.channel", "missing")
    if len(drive["pulse_us"]) != 2:
        raise Refused(where + ".pulse_us", "needs two pulse ends")
    if drive["pulse_us"][0] == drive["pulse_us"][1]:
        raise Refused(where + ".pulse_us", "both ends are the same")
    if drive["contacts"]:
        raise Refused(where + ".contacts", "a servo has none")


def _hand(doc: "dict[str, Any]", where: str, drive: "dict[str, Any]") -> None:
    if drive["out"] is not None or drive["pulse_us"]:
        raise Refused(where + ".out", "a drive moved by hand has no pulse")
    if len(drive["contacts"]) != 2:
        raise Refused(where + ".contacts", "needs two entries")
    if drive["contacts"][0] < 0 and drive["contacts"][1] < 0:
        raise Refused(where + ".contacts", "at least one contact is needed")
    if drive["contacts"][0] == drive["contacts"][1]:
        raise Refused(where + ".contacts", "the same input at both settings")
    for n, contact in enumerate(drive["contacts"]):
        if contact >= len(doc["inputs"]):
            raise Refused("%s.contacts[%d]" % (where, n), "no such input")


def dependence(feed: "dict[str, Any]") -> "list[int]":
    """The drives that a feed's table names, in rising order."""
    return sorted(set(term[0] for row in feed["table"] for term in row["when"]))


def _feeds(doc: "dict[str, Any]") -> None:
    for i, feed in enumerate(doc["feeds"]):
        where = "feeds[%d]" % i
        _output(doc, where, feed)
        _table(doc, where, feed)
        _moves(doc, where, feed)


NEEDS = {"pair": ("a", "b"), "changeover": ("coil",), "latching": ("set", "reset")}


def _output(doc: "dict[str, Any]", where: str, feed: "dict[str, Any]") -> None:
    kind = feed["output"]
    for key in ("a", "b", "coil", "set", "reset"):
        if key in NEEDS[kind]:
            if feed[key] is None:
                raise Refused("%s.%s" % (where, key), "missing")
            _pin(doc, "%s.%s" % (where, key), feed[key])
        elif feed[key] is not None:
            raise Refused("%s.%s" % (where, key), "is not for a " + kind)
    if kind == "changeover" and feed["rest"] == "":
        raise Refused(where + ".rest", "missing")
    if kind == "latching" and feed["pulse_ms"] < 1:
        raise Refused(where + ".pulse_ms", "missing")
    if kind == "pair" and feed["dead_ms"] < feed["release_ms"]:
        raise Refused(
            where + ".dead_ms",
            "%d is shorter than its contacts need to let go (release_ms %d)" % (feed["dead_ms"], feed["release_ms"]),
        )
    if feed["try_other"] and kind != "pair" and feed["enable"] < 0:
        raise Refused(where + ".try_other", "an output without an off can't flip on a trip")
    if feed["try_other"] and not feed["bonded"]:
        raise Refused(where + ".try_other", "a blade that is not bonded would short the other bus wire")
    if feed["enable"] >= len(doc["groups"]):
        raise Refused(where + ".enable", "no such group")


def _table(doc: "dict[str, Any]", where: str, feed: "dict[str, Any]") -> None:
    for r, row in enumerate(feed["table"]):
        named: "list[int]" = []
        for t, term in enumerate(row["when"]):
            at = "%s.table[%d].when[%d]" % (where, r, t)
            if term[0] >= len(doc["drives"]):
                raise Refused(at, "no such drive")
            if term[0] in named:
                raise Refused(at, "names drives[%d] a second time" % term[0])
            named.append(term[0])
    if len(dependence(feed)) > MAX_DEPENDENCE:
        raise Refused(where + ".table", "names more than %d drives" % MAX_DEPENDENCE)
    rows = feed["table"]
    for r, row in enumerate(rows):
        for s in range(r):
            if _together(row["when"], rows[s]["when"]):
                raise Refused("%s.table[%d]" % (where, r), "can hold together with table[%d]" % s)


def _together(one: "list[list[int]]", other: "list[list[int]]") -> bool:
    return not any(a[0] == b[0] and a[1] != b[1] for a in one for b in other)


def _moves(doc: "dict[str, Any]", where: str, feed: "dict[str, Any]") -> None:
    needed = {d for d in dependence(feed) if doc["drives"][d]["kind"] == "servo"}
    seen: "set[tuple[int, int]]" = set()
    for m, move in enumerate(feed["moves"]):
        at = "%s.moves[%d]" % (where, m)
        key = (move["drive"], move["to"])
        if move["drive"] not in needed:
            raise Refused(at + ".drive", "not a servo that the table names")
        if key in seen:
            raise Refused(at, "a second entry for the same move")
        seen.add(key)
        ends = doc["drives"][move["drive"]]["pulse_us"]
        start, end = ends[1 - move["to"]], ends[move["to"]]
        for point in ("off_us", "on_us"):
            if not min(ends) <= move[point] <= max(ends):
                raise Refused("%s.%s" % (at, point), "outside the pulse ends %d and %d" % (ends[0], ends[1]))
        if (move["on_us"] - move["off_us"]) * (1 if end > start else -1) < 0:
            raise Refused(at + ".on_us", "comes before off_us on the way")
        if not has_off(feed):
            _without_off(at, feed["bonded"], move, start, end)
        elif move["off_us"] == start and not feed["bonded"]:
            _lead(doc, at, feed, move)
    if len(needed) < len(dependence(feed)) and not feed["bonded"] and not has_off(feed):
        raise Refused(where + ".output", "blades that are not bonded and moved by hand need an output with an off")
    for drive in sorted(needed):
        for to in (0, 1):
            if (drive, to) not in seen:
                raise Refused(where + ".moves", "none for drives[%d] to setting %d" % (drive, to))


def _lead(doc: "dict[str, Any]", where: str, feed: "dict[str, Any]", move: "dict[str, Any]") -> None:
    """Off before the move, because a blade may touch from the first step on: contacts have to have let go by then."""
    apart = feed if feed["output"] == "pair" else doc["groups"][feed["enable"]]
    if move["off_lead_ms"] < apart["release_ms"]:
        raise Refused(
            where + ".off_lead_ms",
            "%d is shorter than its contacts need to let go (release_ms %d)"
            % (move["off_lead_ms"], apart["release_ms"]),
        )


def has_off(feed: "dict[str, Any]") -> bool:
    """Whether anything can turn the feed off: it is a pair, or behind an enable."""
    output: str = feed["output"]
    enable: int = feed["enable"]
    return output == "pair" or enable >= 0


def _without_off(where: str, bonded: bool, move: "dict[str, Any]", start: int, end: int) -> None:
    """An output without an off changes over at once: where a blade may touch, only between the two ends."""
    if move["off_lead_ms"]:
        raise Refused(where + ".off_lead_ms", "an output without an off can't be off for any time")
    if bonded:
        return
    if move["off_us"] == start:
        raise Refused(where + ".off_us", "blades that are not bonded: off before the move needs an output with an off")
    if move["on_us"] == end:
        raise Refused(where + ".on_us", "blades that are not bonded: on after arrival needs an output with an off")


def _watchers(doc: "dict[str, Any]") -> None:
    for i, group in enumerate(doc["groups"]):
        _pin(doc, "groups[%d].out" % i, group["out"])
    for i, item in enumerate(doc["inputs"]):
        where = "inputs[%d]" % i
        _pin(doc, where, item)
        if item["chip"] >= 0 and item["pull"] == "down":
            raise Refused(where + ".pull", "an expander has pull-ups only")
    for i, sensor in enumerate(doc["sensors"]):
        where = "sensors[%d]" % i
        if sensor["kind"] == "adc" and not 26 <= sensor["pin"] <= 47:
            raise Refused(where + ".pin", "GP%d has no analogue input" % sensor["pin"])
        if sensor["kind"] == "ina" and chip_kind(doc, sensor["chip"]) not in ("ina219", "ina226", "ina3221"):
            raise Refused(where + ".chip", "no sensor chip there")
        if sensor["kind"] == "ina" and sensor["channel"] > 1 and chip_kind(doc, sensor["chip"]) != "ina3221":
            raise Refused(where + ".channel", "only an ina3221 has three inputs")
        most = 4095 if sensor["kind"] == "ina" and chip_kind(doc, sensor["chip"]) == "ina3221" else 32767
        for key in ("trip_ma", "alert_ma"):
            if sensor[key] * 1000000 // sensor["na_per_count"] > most:
                raise Refused("%s.%s" % (where, key), "beyond what the sensor can read")
        if sensor["alert_ma"] and chip_kind(doc, sensor["chip"]) not in ("ina226", "ina3221"):
            raise Refused(where + ".alert_ma", "only an ina226 or ina3221 has an alert output")
        _watches(doc, where, sensor)
    for i, trip in enumerate(doc["trips"]):
        where = "trips[%d]" % i
        if trip["input"]["chip"] >= 0:
            raise Refused(where + ".input.chip", "a trip must be on a GPIO")
        _watches(doc, where, trip)
        for f in trip["watches"]:
            _at_once(doc, where, f)
    if doc["hold_input"] >= len(doc["inputs"]) or (
        doc["hold_input"] >= 0 and doc["inputs"][doc["hold_input"]]["chip"] >= 0
    ):
        raise Refused("hold_input", "no input on a GPIO there")


def _watches(doc: "dict[str, Any]", where: str, watcher: "dict[str, Any]") -> None:
    for n, feed in enumerate(watcher["watches"]):
        if feed >= len(doc["feeds"]) or feed in watcher["watches"][:n]:
            raise Refused("%s.watches[%d]" % (where, n), "no such feed, or named twice")


def _at_once(doc: "dict[str, Any]", where: str, index: int) -> None:
    """A hardware trip must reach GPIO pins only: the feed's own, or its group's."""
    feed = doc["feeds"][index]
    group = doc["groups"][feed["enable"]] if feed["enable"] >= 0 else None
    if group is not None and group["out"]["chip"] < 0:
        return
    if feed["output"] == "pair" and feed["a"]["chip"] < 0 and feed["b"]["chip"] < 0:
        return
    if feed["output"] != "pair" and group is None:
        return
    raise Refused(where + ".watches", "%s has no off on a GPIO that a trip could use at once" % feed["name"])


def _terms(doc: "dict[str, Any]", where: str, terms: "list[list[int]]", servos: bool) -> None:
    seen: "list[int]" = []
    for t, term in enumerate(terms):
        at = "%s.moves[%d]" % (where, t)
        if term[0] >= len(doc["drives"]):
            raise Refused(at, "no such drive")
        if term[0] in seen:
            raise Refused(at, "names drives[%d] a second time" % term[0])
        if servos and doc["drives"][term[0]]["kind"] != "servo":
            raise Refused(at, "drives[%d] is moved by hand" % term[0])
        seen.append(term[0])


def _panel(doc: "dict[str, Any]") -> None:
    for i, button in enumerate(doc["panel"]["buttons"]):
        where = "panel.buttons[%d]" % i
        if button["input"] >= len(doc["inputs"]):
            raise Refused(where + ".input", "no such input")
        if (button["does"] in ("set", "toggle")) != bool(button["moves"]):
            raise Refused(where + ".moves", "needed to throw, and only then")
        _terms(doc, where, button["moves"], True)
    for i, lamp in enumerate(doc["panel"]["lamps"]):
        where = "panel.lamps[%d]" % i
        _pin(doc, where + ".out", lamp["out"])
        if (lamp["shows"] == "set") != bool(lamp["moves"]):
            raise Refused(where + ".moves", "needed to show a setting, and only then")
        if lamp["feed"] >= len(doc["feeds"]) or (lamp["feed"] >= 0 and lamp["shows"] != "fault"):
            raise Refused(where + ".feed", "no such feed, or not a lamp that shows a fault")
        _terms(doc, where, lamp["moves"], False)


def claims(doc: "dict[str, Any]") -> "list[tuple[str, str]]":
    """Every (pin, key path) in use; pins are "GP4", or "chips[0].4" for an expander or servo output."""
    found: "list[tuple[str, str]]" = []

    def ref(where: str, pin: "dict[str, Any] | None") -> None:
        if pin is not None:
            name = "GP%d" % pin["pin"] if pin["chip"] < 0 else "chips[%d].%d" % (pin["chip"], pin["pin"])
            found.append((name, where))

    for i, bus in enumerate(doc["buses"]):
        found.append(("GP%d" % bus["sda"], "buses[%d].sda" % i))
        found.append(("GP%d" % bus["scl"], "buses[%d].scl" % i))
    for i, chip in enumerate(doc["chips"]):
        for key in ("reset_pin", "oe_pin"):
            if chip[key] >= 0:
                found.append(("GP%d" % chip[key], "chips[%d].%s" % (i, key)))
    for i, drive in enumerate(doc["drives"]):
        out = drive["out"]
        if out is not None and out["kind"] == "pwm":
            found.append(("GP%d" % out["pin"], "drives[%d].out" % i))
        elif out is not None:
            found.append(("chips[%d].%d" % (out["chip"], out["channel"]), "drives[%d].out" % i))
    for i, feed in enumerate(doc["feeds"]):
        for key in ("a", "b", "coil", "set", "reset"):
            ref("feeds[%d].%s" % (i, key), feed[key])
    for i, group in enumerate(doc["groups"]):
        ref("groups[%d].out" % i, group["out"])
    for i, item in enumerate(doc["inputs"]):
        ref("inputs[%d]" % i, item)
    for i, sensor in enumerate(doc["sensors"]):
        if sensor["kind"] == "adc":
            found.append(("GP%d" % sensor["pin"], "sensors[%d].pin" % i))
    for i, trip in enumerate(doc["trips"]):
        ref("trips[%d].input" % i, trip["input"])
    for i, lamp in enumerate(doc["panel"]["lamps"]):
        ref("panel.lamps[%d].out" % i, lamp["out"])
    if doc["led_pin"] >= 0:
        found.append(("GP%d" % doc["led_pin"], "led_pin"))
    return found


def _claims(doc: "dict[str, Any]") -> None:
    seen: "dict[str, str]" = {}
    slices: "dict[int, str]" = {}
    for pin, where in claims(doc):
        if pin in seen:
            raise Refused(where, "%s is %s already" % (pin, seen[pin]))
        seen[pin] = where
    for i, drive in enumerate(doc["drives"]):
        out = drive["out"]
        if out is not None and out["kind"] == "pwm":
            where = "drives[%d].out.pin" % i
            unit = pwm_unit(out["pin"])
            if unit in slices:
                raise Refused(where, "shares its PWM output with %s" % slices[unit])
            slices[unit] = where


def pwm_unit(pin: int) -> int:
    """Which PWM output a pin is (pins 16 apart share one; RP2350: four more slices from pin 32 on)."""
    if pin < 32:
        return pin & 15
    return 16 + (pin & 7)
