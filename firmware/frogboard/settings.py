"""The settings document of one board: its one definition, as data, and its reader.

The document is JSON text whose first key is "crc32": `{"crc32":"xxxxxxxx",` and then the rest. The eight
lower hex digits are the CRC-32/ISO-HDLC of all bytes after that prefix. It holds no fractions: times are
whole milliseconds, pulses whole microseconds, currents whole milliamperes. Drives, feeds, inputs and so on
are referred to by their place in their list, counted from 0; -1 means none where a field allows it.

`SETTINGS` is the table of all fields with type, range and meaning; host, bench and the reference pages read
it. Cross checks (references, pins used twice, windows, bus time) are in `settings_rules`. Runs under
MicroPython and CPython; touches no hardware.
"""

import binascii
import json

from frogboard import settings_rules
from frogboard.reason import Refused, shown

if False:
    from typing import Any

SCHEMA = 2
MAX_BYTES = 32768
PREFIX_START = '{"crc32":"'
PREFIX_END = '",'
PREFIX_BYTES = 20


class Field:
    """One key of a table: what it may hold and what it means.

    `kind`: "int" (low..high), "text" (low..high printable ASCII characters), "title" (any characters but
    control ones), "hex" (exactly `high` lower hex digits), "choice" (one of `options`), "flag", "ints"
    (low..high whole numbers, each within `options`), "texts" (low..high texts of 1 to 40 characters),
    "terms" (low..high pairs [drive, setting]), "table" (fields `of`), "list" (low..high tables of fields
    `of`). `default` None means that the key must be there; an optional table that is left out is None.
    """

    def __init__(
        self,
        key: str,
        kind: str,
        low: int,
        high: int,
        meaning: str,
        default: "Any" = None,
        options: "tuple[Any, ...]" = (),
        of: "tuple[Field, ...]" = (),
        optional: bool = False,
    ) -> None:
        self.key = key
        self.kind = kind
        self.low = low
        self.high = high
        self.meaning = meaning
        self.default = default
        self.options = options
        self.of = of
        self.optional = optional or default is not None


def _int(key: str, low: int, high: int, meaning: str, default: "int | None" = None) -> Field:
    return Field(key, "int", low, high, meaning, default)


def _name(meaning: str) -> Field:
    return Field("name", "text", 1, 40, meaning)


def _choice(key: str, options: "tuple[str, ...]", meaning: str, default: "str | None" = None) -> Field:
    return Field(key, "choice", 0, 0, meaning, default, options)


def _pin(key: str, meaning: str, optional: bool = False) -> Field:
    return Field(key, "table", 0, 0, meaning, None, (), PIN, optional)


PIN = (
    _int("pin", 0, 47, "GPIO number, or pin 0 to 15 (port A first) of the expander"),
    _int("chip", -1, 15, "the expander in `chips`, or -1 for a GPIO", -1),
    _int("active", 0, 1, "the level that means on", 1),
)

BUS = (
    _int("sda", 0, 47, "data pin"),
    _int("scl", 0, 47, "clock pin of the same I2C unit"),
    _int("hz", 10000, 1000000, "clock rate in Hz"),
)

CHIP = (
    _choice("kind", ("mcp23017", "pca9685", "ina219", "ina226", "ina3221"), "port expander, servo chip or sensor"),
    _int("bus", 0, 1, "the bus in `buses`"),
    _int("address", 8, 119, "7-bit address"),
    _int("reset_pin", -1, 47, "GPIO on RESET, low resets (mcp23017: required)", -1),
    _int("oe_pin", -1, 47, "GPIO on OE, high turns all outputs off (pca9685: required)", -1),
)

SERVO_OUT = (
    _choice("kind", ("pwm", "pca9685"), "a PWM pin, or an output of a servo chip"),
    _int("pin", -1, 47, "GPIO (pwm)", -1),
    _int("chip", -1, 15, "the chip in `chips` (pca9685)", -1),
    _int("channel", -1, 15, "its output (pca9685)", -1),
)

DRIVE = (
    _name("the drive's name in the layout file"),
    _choice(
        "kind",
        ("servo", "hand"),
        "a servo; or moved by hand and followed by contacts (a selector switch is one)",
    ),
    Field("settings", "texts", 2, 2, "the names of setting 0 and setting 1"),
    Field("out", "table", 0, 0, "where the servo's pulse comes out (servo)", None, (), SERVO_OUT, True),
    Field("pulse_us", "ints", 0, 2, "pulse ends of setting 0 and 1 (servo)", [], (300, 2700)),
    _int("travel_ms", 100, 30000, "time of the pulse from end to end", 1000),
    _int("lag_ms", 0, 5000, "how long the servo is behind the pulse when that has arrived", 200),
    _choice("rest", ("hold", "release"), "at rest keep the pulse going, or stop it", "release"),
    _int("home", -1, 1, "the setting in which bare changeover outputs rest, or -1", -1),
    Field("contacts", "ints", 0, 2, "inputs closed at setting 0 and 1; -1: none there (hand)", [], (-1, 63)),
)

TABLE_ROW = (
    Field("when", "terms", 0, 6, "[drive, setting] pairs that must all hold"),
    _choice("feed", ("A", "B"), "the bus wire joined then"),
)

MOVE = (
    _int("drive", 0, 31, "the drive that moves"),
    _int("to", 0, 1, "to which setting"),
    _int(
        "off_us",
        300,
        2700,
        "the feed is off from this pulse on; equal to the pulse at the start: before it moves",
    ),
    _int("off_lead_ms", 0, 2000, "off for this long before the first step, where it is off before the move", 0),
    _int("on_us", 300, 2700, "the feed may be on again once the pulse has passed this"),
    _int("on_lag_ms", 0, 10000, "and this long after that", 0),
)

FEED = (
    _name("the feed's name, such as T1.F"),
    _choice("output", ("pair", "changeover", "latching"), "what switches it, and so what off means"),
    _pin("a", "joins bus wire A (pair)", True),
    _pin("b", "joins bus wire B (pair)", True),
    _pin("coil", "moves the contact off its rest side (changeover)", True),
    _choice("rest", ("A", "B", ""), "the bus wire joined while the coil is off (changeover)", ""),
    _pin("set", "pulsed to join bus wire A (latching)", True),
    _pin("reset", "pulsed to join bus wire B (latching)", True),
    _int("pulse_ms", 0, 500, "length of that pulse (latching)", 0),
    _int("enable", -1, 15, "the group in `groups` whose contact stands ahead of it, or -1", -1),
    _int("dead_ms", 0, 1000, "off for at least this long between A and B"),
    _int("release_ms", 0, 500, "a leg that is told off has let go after this"),
    _int("operate_ms", 0, 500, "a leg that is told on has closed after this"),
    _int("bounce_ms", 0, 200, "and has stopped bouncing after this"),
    Field(
        "bonded",
        "flag",
        0,
        0,
        "its blades are bonded to their stock rails, or it has none: no blade meets the wrong bus wire, wherever it is",
    ),
    Field(
        "table",
        "list",
        0,
        64,
        "which bus wire for which settings; rows exclude each other; no row: off",
        None,
        (),
        TABLE_ROW,
    ),
    Field(
        "moves",
        "list",
        0,
        12,
        "one for each servo that the table names and each of its settings",
        [],
        (),
        MOVE,
    ),
    _int("retries", 0, 10, "how often a trip is tried again before it stays off", 2),
    _int("retry_ms", 100, 60000, "how long after the trip", 2000),
    Field(
        "try_other",
        "flag",
        0,
        0,
        "after a trip flip once to the other bus wire first (reversing sections)",
        False,
    ),
)

GROUP = (
    _name("the group's name"),
    _pin("out", "closes the contact ahead of the group"),
    _int("release_ms", 0, 500, "the contact has let go after this"),
    _int("operate_ms", 0, 500, "the contact has closed and stopped bouncing after this"),
)

INPUT = (
    _name("the input's name"),
    _int("pin", 0, 47, "GPIO number, or pin 0 to 15 of the expander"),
    _int("chip", -1, 15, "the expander in `chips`, or -1 for a GPIO", -1),
    _int("active", 0, 1, "the level that means closed or pressed", 0),
    _choice("pull", ("up", "down", "none"), "the pin's own resistor", "up"),
    _int("debounce_ms", 0, 1000, "a change counts after it has lasted this long", 20),
)

SENSOR = (
    _name("the sensor's name"),
    _choice("kind", ("adc", "ina"), "an analogue pin, or a sensor chip"),
    _int("pin", -1, 47, "GPIO (adc)", -1),
    _int("chip", -1, 15, "the chip in `chips` (ina)", -1),
    _int("channel", 1, 3, "its input (ina3221)", 1),
    _choice("role", ("track", "servo"), "watches feeds, or the supply of the servos", "track"),
    _choice("measure", ("mean", "rms"), "what is compared: mean of the sample, or its root mean square", "mean"),
    _int("zero_count", 0, 65535, "the reading without current", 0),
    _int("na_per_count", 1000, 100000000, "nanoamperes a count"),
    _int("trip_ma", 0, 100000, "over this the feeds watched turn off; 0: never", 0),
    _int("trip_ms", 0, 10000, "after it has lasted this long", 0),
    _int(
        "alert_ma",
        0,
        100000,
        "over this, in its shunt's positive direction only, an ina226 or ina3221 pulls its alert output low; 0: not",
        0,
    ),
    Field("watches", "ints", 0, 32, "feeds behind this sensor (track)", [], (0, 31)),
)

TRIP = (
    _name("the trip's name"),
    _pin("input", "a GPIO that goes to its active level at over-current"),
    Field("watches", "ints", 1, 32, "feeds behind it", None, (0, 31)),
)

BUTTON = (
    _int("input", 0, 63, "the input in `inputs`"),
    _choice(
        "does",
        ("set", "toggle", "all_off", "reset"),
        "throw to `moves`; throw there, or back if there already; all feeds off; clear faults and all-off",
    ),
    Field("moves", "terms", 0, 32, "[drive, setting] pairs: one drive, a pair or a stored route", []),
)

LAMP = (
    Field("name", "text", 0, 40, "the lamp's name in the layout file", ""),
    _pin("out", "the lamp's pin"),
    _choice(
        "shows",
        ("set", "fault", "all_off"),
        "lit while all `moves` are so (blinks on the way); blinks at a fault; lit while all is off",
    ),
    Field("moves", "terms", 0, 32, "[drive, setting] pairs (set)", []),
    _int("feed", -1, 31, "the feed whose fault it shows, or -1: any (fault)", -1),
)

PANEL = (
    Field("buttons", "list", 0, 64, "buttons", [], (), BUTTON),
    Field("lamps", "list", 0, 64, "lamps", [], (), LAMP),
)

SETTINGS = (
    _int("schema", SCHEMA, SCHEMA, "version of this document"),
    Field("layout", "title", 1, 80, "the layout's name"),
    Field("layout_hash", "hex", 0, 16, "first 16 hex digits of the layout file's SHA-256"),
    Field("board", "text", 1, 40, "the board's name in the layout file"),
    Field("profile", "text", 1, 40, "the board profile"),
    _choice("control", ("dc", "dcc"), "plain DC, or DCC"),
    _int("tick_ms", 5, 20, "the control tick", 5),
    _int("watchdog_ms", 1000, 8000, "a loop that hangs for this long resets the board", 5000),
    _int("max_moving", 1, 32, "how many servos may move at once"),
    _int("led_pin", -1, 47, "GPIO of the status lamp, or -1", -1),
    _int("hold_input", -1, 63, "held down at reset, this input leaves the board at its prompt; or -1", -1),
    Field("buses", "list", 0, 2, "I2C buses", [], (), BUS),
    Field("chips", "list", 0, 16, "chips on them", [], (), CHIP),
    Field("drives", "list", 0, 32, "what moves blades", None, (), DRIVE),
    Field("feeds", "list", 0, 32, "switched feeds", None, (), FEED),
    Field("groups", "list", 0, 16, "contacts ahead of several feeds", [], (), GROUP),
    Field("inputs", "list", 0, 64, "buttons, selectors and position contacts", [], (), INPUT),
    Field("sensors", "list", 0, 16, "current sensors", [], (), SENSOR),
    Field("trips", "list", 0, 8, "hardware trip inputs", [], (), TRIP),
    Field("panel", "table", 0, 0, "the panel", {}, (), PANEL),
)


def seal(body: "str | bytes") -> bytes:
    """The document's bytes: `body` (a JSON object's text without the key crc32) with its CRC-32 put first.

    Raises ValueError where `body` is no object with at least one key, or is not ASCII.
    """
    data = body if isinstance(body, bytes) else body.encode()
    if data[:1] != b"{" or len(data) < 4:
        raise ValueError("not a JSON object with keys")
    rest = data[1:]
    return ("%s%08x%s" % (PREFIX_START, binascii.crc32(rest) & 0xFFFFFFFF, PREFIX_END)).encode() + rest


def crc_of(text: "bytes | bytearray | memoryview") -> "str | None":
    """The CRC that the document states, if it is the CRC of what follows; else None."""
    start = len(PREFIX_START)
    head = bytes(text[:PREFIX_BYTES])
    if head[:start] != PREFIX_START.encode() or head[start + 8 :] != PREFIX_END.encode():
        return None
    stated = head[start : start + 8]
    if stated != b"%08x" % (binascii.crc32(memoryview(text)[PREFIX_BYTES:]) & 0xFFFFFFFF):
        return None
    return stated.decode()


def load(text: "bytes | bytearray | str") -> "tuple[dict[str, Any] | None, str | None]":
    """Read and check a whole document: (document with defaults filled in, None), or (None, the reason).

    The reason names the key, as in `drives[2].pulse_us[0]: 250 is less than 300`. Never raises for any bytes.
    """
    data = text.encode() if isinstance(text, str) else text
    if len(data) > MAX_BYTES:
        return None, "document: longer than %d bytes" % MAX_BYTES
    if crc_of(data) is None:
        return None, "crc32: does not fit the document"
    try:
        raw = json.loads(bytes(data).decode())
    except (ValueError, RuntimeError):  # RecursionError is a RuntimeError in both interpreters
        return None, "document: not JSON"
    try:
        if type(raw) is not dict:
            raise Refused("document", "not an object")
        raw.pop("crc32")
        doc = _table("", SETTINGS, raw)
        settings_rules.check(doc)
    except Refused as refused:
        return None, "%s: %s" % (refused.path, refused.reason)
    return doc, None


def _table(path: str, fields: "tuple[Field, ...]", raw: "Any") -> "dict[str, Any]":
    if type(raw) is not dict:
        raise Refused(path or "document", "not an object")
    doc: "dict[str, Any]" = {}
    dot = path + "." if path else ""
    for field in fields:
        where = dot + field.key
        if field.key in raw:
            doc[field.key] = _value(where, field, raw[field.key])
        elif not field.optional:
            raise Refused(where, "missing")
        else:
            doc[field.key] = _default(where, field)
    for key in raw:
        if key not in doc:
            raise Refused(dot + shown(key), "no such key")
    return doc


def _default(where: str, field: Field) -> "Any":
    if field.default is None or field.kind == "table":
        return None if field.default is None else _table(where, field.of, field.default)
    return list(field.default) if isinstance(field.default, list) else field.default


def _value(where: str, field: Field, raw: "Any") -> "Any":
    kind = field.kind
    if kind == "int":
        return _whole(where, raw, field.low, field.high)
    if kind == "flag":
        if type(raw) is not bool:
            raise Refused(where, "neither true nor false")
        return raw
    if kind == "text":
        return _text(where, raw, field.low, field.high)
    if kind == "title":
        if type(raw) is not str or not field.low <= len(raw) <= field.high or any(c < " " for c in raw):
            raise Refused(where, "not a text of %d to %d characters" % (field.low, field.high))
        return raw
    if kind == "hex":
        if type(raw) is not str or len(raw) != field.high or not all(c in "0123456789abcdef" for c in raw):
            raise Refused(where, "not %d lower hex digits" % field.high)
        return raw
    if kind == "choice":
        if type(raw) is not str or raw not in field.options:
            raise Refused(where, "not one of " + ", ".join(field.options))
        return raw
    if kind == "table":
        return _table(where, field.of, raw)
    if type(raw) is not list:
        raise Refused(where, "not a list")
    if not field.low <= len(raw) <= field.high:
        raise Refused(where, "has %d entries, not %d to %d" % (len(raw), field.low, field.high))
    return [_entry("%s[%d]" % (where, i), field, item) for i, item in enumerate(raw)]


def _entry(where: str, field: Field, raw: "Any") -> "Any":
    if field.kind == "ints":
        return _whole(where, raw, field.options[0], field.options[1])
    if field.kind == "texts":
        return _text(where, raw, 1, 40)
    if field.kind == "terms":
        if type(raw) is not list or len(raw) != 2:
            raise Refused(where, "not a pair [drive, setting]")
        return [_whole(where, raw[0], 0, 31), _whole(where, raw[1], 0, 1)]
    return _table(where, field.of, raw)


def _whole(where: str, raw: "Any", low: int, high: int) -> int:
    if type(raw) is not int:
        raise Refused(where, "not a whole number")
    if raw < low:
        raise Refused(where, "%d is less than %d" % (raw, low) if raw > -1000000 else "less than %d" % low)
    if raw > high:
        raise Refused(where, "%d is more than %d" % (raw, high) if raw < 1000000000 else "more than %d" % high)
    return raw


def _text(where: str, raw: "Any", low: int, high: int) -> str:
    if type(raw) is not str or not low <= len(raw) <= high:
        raise Refused(where, "not a text of %d to %d characters" % (low, high))
    if not all(" " <= c <= "~" for c in raw):
        raise Refused(where, "holds other than printable ASCII characters")
    return raw
