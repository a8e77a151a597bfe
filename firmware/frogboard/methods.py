"""The methods of the link: their one definition, as data.

One line a message: the text of a JSON-RPC 2.0 object, a space, and eight lower hex digits: the CRC-32 of
the JSON bytes (ISO-HDLC, as in the settings). Printable ASCII, ends with a
newline, at most `MAX_LINE` bytes with it. A line that is not so is dropped in silence and counted. Requests
carry an id (a whole number); parameters are always an object. The board answers every request with a result
or an error, in the order of arrival, and sends events and measurements as notifications with a running
number `seq`; a gap says that some were dropped.

Runs under MicroPython and CPython; touches no hardware.
"""

import binascii

PROTOCOL = 2
MAX_LINE = 2048
CHUNK_BYTES = 1440
"""Bytes of a file in one chunk, before base64."""
PAGE_BYTES = 900
"""About how long a page of `state` gets: it is made within one tick."""

PARSE = -32700
NO_REQUEST = -32600
NO_METHOD = -32601
BAD_PARAMS = -32602
INTERNAL = -32603
NO_SETTINGS = 1
UNKNOWN_NAME = 2
REFUSED = 3
BUSY = 4
OUT_OF_ORDER = 5
BAD_CRC = 6
BAD_SETTINGS = 7
STORE = 8

ERRORS = (
    (PARSE, "the line's CRC fits but its text is not JSON"),
    (NO_REQUEST, "not a JSON-RPC 2.0 request with a whole number as id"),
    (NO_METHOD, "no such method"),
    (BAD_PARAMS, "a parameter is missing, unknown, of the wrong type or out of range"),
    (INTERNAL, "the board failed to carry the request out; the message says how"),
    (NO_SETTINGS, "the board holds no valid settings"),
    (UNKNOWN_NAME, "the settings know no such drive, setting or feed"),
    (REFUSED, "what is asked would break a rule of the railway; the message says which"),
    (BUSY, "not now: drives are moving, or the queue is full; try again"),
    (OUT_OF_ORDER, "a chunk or commit without the push it belongs to, or not at the place expected"),
    (BAD_CRC, "what arrived does not have the CRC that was announced"),
    (BAD_SETTINGS, "the settings document was refused; the message names the key and says why"),
    (STORE, "writing to the board's flash failed; the old contents are still in force"),
)


class Param:
    """A parameter. `kind`: "int" (low..high), "text" (low..high characters), "flag", "choice" (`options`)."""

    def __init__(
        self,
        name: str,
        kind: str,
        low: int,
        high: int,
        meaning: str,
        optional: bool = False,
        options: "tuple[str, ...]" = (),
    ) -> None:
        self.name = name
        self.kind = kind
        self.low = low
        self.high = high
        self.meaning = meaning
        self.optional = optional
        self.options = options


class Method:
    """A method: parameters, keys of its result with their meaning, and the errors of its own."""

    def __init__(
        self,
        name: str,
        meaning: str,
        params: "tuple[Param, ...]",
        result: "tuple[tuple[str, str], ...]",
        errors: "tuple[int, ...]" = (),
    ) -> None:
        self.name = name
        self.meaning = meaning
        self.params = params
        self.result = result
        self.errors = errors


WHAT = ("settings", "layout")
PARTS = ("board", "drives", "feeds", "inputs", "sensors", "trims")

METHODS = (
    Method(
        "hello",
        "Who the board is and what it holds.",
        (),
        (
            ("protocol", "version of the link"),
            (
                "methods",
                "fingerprint of this table, 8 hex digits; a laptop that has another one must not go on",
            ),
            ("firmware", "version of the firmware"),
            ("id", "the chip's unique id in hex; the USB serial number is the same"),
            ("board", "its name in the layout file, or null without settings"),
            ("layout", "the layout's name, or null"),
            ("layout_hash", "as in the settings, or null"),
            (
                "settings",
                "CRC-32 of the settings in force, computed from the bytes held, 8 hex digits, or null",
            ),
            ("profile", "the board profile that the settings are for, or null"),
            ("control", "dc, dcc or null"),
            ("reason", "why there are no settings, or null"),
            ("tick_ms", "the control tick"),
            ("max_line", "longest line taken and sent"),
            ("chunk", "most bytes in one chunk of push or pull"),
            ("packs", "true where a push may come packed"),
            ("reset", "why the chip started: power, watchdog, soft, or other"),
            ("up_ms", "milliseconds since then (starts over after some days)"),
        ),
    ),
    Method(
        "state",
        "Part of what the board knows, a page at a time.",
        (
            Param("part", "choice", 0, 0, "which part", False, PARTS),
            Param("start", "int", 0, 255, "first entry wanted", True),
        ),
        (
            ("items", "entries in the order of the settings, as many as fit the line; see the parts below"),
            ("next", "where to go on, or -1"),
        ),
        (NO_SETTINGS,),
    ),
    Method(
        "throw",
        "Queue a servo drive's move to a setting. The answer says that it is queued, not that it has arrived.",
        (
            Param("drive", "text", 1, 40, "its name"),
            Param("to", "text", 1, 40, "the setting's name"),
        ),
        (("queued", "how many moves are queued or under way, this one counted"),),
        (NO_SETTINGS, UNKNOWN_NAME, REFUSED, BUSY),
    ),
    Method(
        "trim",
        "Move a servo that is at rest to a pulse, its feeds off; that is the end of the setting from now on.",
        (
            Param("drive", "text", 1, 40, "its name"),
            Param("setting", "text", 1, 40, "the end to trim"),
            Param("pulse_us", "int", 300, 2700, "the new pulse; within 200 us of the pulse in the settings"),
            Param("keep", "flag", 0, 0, "keep it over a reset until new settings come"),
        ),
        (("pulse_us", "the end now in force"),),
        (NO_SETTINGS, UNKNOWN_NAME, REFUSED, BUSY, STORE),
    ),
    Method(
        "watch",
        "How often measurements are sent; 0 turns them off. Events are always sent.",
        (Param("every_ms", "int", 0, 60000, "0, or 50 and more"),),
        (("every_ms", "what is in force"),),
    ),
    Method(
        "all_off",
        "All feeds off until feed.reset. An output that has no off stays as it is.",
        (),
        (("off", "how many feeds are off for certain"), ("held", "how many have no off and stay")),
        (NO_SETTINGS,),
    ),
    Method(
        "feed.reset",
        "Clear faults and all-off: of one feed, or of all.",
        (Param("feed", "text", 1, 40, "its name; left out: all", True),),
        (("cleared", "how many faults were cleared"),),
        (NO_SETTINGS, UNKNOWN_NAME),
    ),
    Method(
        "push.begin",
        "Begin a push, or go on with one of the same kind, size and CRC that was cut off.",
        (
            Param("what", "choice", 0, 0, "settings document, or the layout file's text", False, WHAT),
            Param("size", "int", 1, 65536, "bytes in all"),
            Param("crc32", "text", 8, 8, "CRC-32 of all of them, 8 lower hex digits"),
            Param("packed", "int", 1, 65536, "fewer to come: a zlib stream (window 4 KB) of so many bytes", True),
        ),
        (("at", "bytes held already: go on from there"), ("chunk", "most bytes in a chunk")),
        (BUSY, REFUSED),
    ),
    Method(
        "push.chunk",
        "The next bytes. A chunk that is held already is answered again without harm.",
        (
            Param("at", "int", 0, 65536, "where they belong"),
            Param("data", "text", 0, 1920, "the bytes in base64"),
        ),
        (("at", "bytes held now"),),
        (OUT_OF_ORDER,),
    ),
    Method(
        "push.commit",
        "Check what arrived and put it in force. Answers BUSY while a drive moves. New settings turn all "
        "feeds off, restart the control loop and are in force with the next hello.",
        (Param("crc32", "text", 8, 8, "as in push.begin"),),
        (
            ("committed", "what was put in force: settings or layout"),
            ("crc32", "its CRC-32, read back from flash"),
        ),
        (OUT_OF_ORDER, BAD_CRC, BAD_SETTINGS, BUSY, STORE),
    ),
    Method(
        "push.status",
        "How far a push has come.",
        (),
        (
            ("what", "settings, layout or null"),
            ("size", "bytes announced"),
            ("crc32", "as announced, or null"),
            ("at", "bytes held"),
        ),
    ),
    Method(
        "pull",
        "Read back what the board holds, a chunk at a time.",
        (
            Param("what", "choice", 0, 0, "settings document, or the layout file's text", False, WHAT),
            Param("at", "int", 0, 65536, "from which byte"),
        ),
        (
            ("size", "bytes in all; 0: the board holds none"),
            ("crc32", "CRC-32 of all bytes, or null"),
            ("at", "as asked"),
            ("data", "the bytes in base64; empty at the end"),
        ),
        (STORE,),
    ),
    Method(
        "maintenance",
        "All outputs off, then reset, and stay at the prompt with the watchdog off, for this one start.",
        (),
        (("maintenance", "true"),),
        (BUSY, STORE),
    ),
    Method(
        "reset",
        "All outputs off, then reset the chip.",
        (),
        (("reset", "true"),),
        (BUSY,),
    ),
)

STATE_ITEMS = (
    ("board", "name", "the board's name"),
    ("board", "moving", "how many drives move"),
    ("board", "queued", "how many moves wait"),
    ("board", "all_off", "true after all_off, until reset"),
    ("board", "lines", "good lines received"),
    ("board", "bad_lines", "lines dropped"),
    ("board", "dropped", "events dropped because nobody read them"),
    ("board", "late", "ticks that began late by more than a tick"),
    ("board", "worst_us", "longest tick so far"),
    ("board", "crash", "how the program last ended by itself, or null"),
    ("drives", "name", "the drive's name"),
    ("drives", "at", "the setting it is KNOWN to be at, or null"),
    ("drives", "to", "the setting it moves to or waits to move to, or null"),
    ("drives", "moving", "true from the first pulse of a move until rest"),
    ("drives", "pulse_us", "the pulse commanded now, or the last one; 0: none, or nobody knows where the servo is"),
    ("drives", "stalled", "true where the last move drew a stalled servo's current"),
    ("feeds", "name", "the feed's name"),
    ("feeds", "is", "A, B or off: what its output is told; moving while between"),
    ("feeds", "want", "A, B or off: what its table says now"),
    ("feeds", "fault", "null, or why it is off: trip, sensor, chip, stuck"),
    ("feeds", "trips", "trips since the last reset of it"),
    ("inputs", "name", "the input's name"),
    ("inputs", "on", "true while closed or pressed, debounced"),
    ("sensors", "name", "the sensor's name"),
    ("sensors", "ma", "the last measurement in mA, or null where the sensor does not answer"),
    ("trims", "drive", "the drive's name"),
    ("trims", "setting", "the setting's name"),
    ("trims", "pulse_us", "the end in force, where it differs from the settings"),
)
"""What an entry of each part of `state` holds: (part, key, meaning)."""

EVENT_METHOD = "event"
MEASURE_METHOD = "measure"

EVENTS = (
    ("start", "the board started", ()),
    ("move", "a drive's move began: first step of the pulse", (("drive", "name"), ("to", "setting"))),
    ("rest", "a drive came to rest and its position is known", (("drive", "name"), ("at", "setting"))),
    ("lost", "a drive's position is no longer known", (("drive", "name"),)),
    ("feed", "a feed's output was told", (("feed", "name"), ("is", "A, B or off"))),
    (
        "trip",
        "over-current: the feed was turned off",
        (("feed", "name"), ("by", "sensor or trip input"), ("trips", "count")),
    ),
    ("fault", "a feed is latched off", (("feed", "name"), ("why", "trip, sensor, chip or stuck"))),
    ("clear", "a feed's fault was cleared", (("feed", "name"),)),
    ("stall", "servo current says that a moving drive may be stuck", (("drive", "name"),)),
    ("all_off", "all feeds were told off", ()),
    ("input", "an input changed", (("input", "name"), ("on", "true or false"))),
    ("unsaved", "flash could not be written, so a queued move was dropped", (("drive", "name"),)),
    ("chip", "a chip stopped or began to answer", (("chip", "index"), ("ok", "true or false"))),
    (
        "refused",
        "a panel button threw nothing, for one of its drives may not move now",
        (("drive", "name"), ("feed", "the feed that is held"), ("why", "trip, sensor, chip, stuck or all_off")),
    ),
)
"""Notifications of the method "event": (kind, meaning, parameters besides seq, ms and kind)."""

MEASURE_PARAMS = (
    ("seq", "running number, shared with events"),
    ("ms", "milliseconds since the start"),
    ("start", "index of the first sensor in `ma`"),
    ("ma", "measurements in mA, in the order of the settings; null where the sensor does not answer"),
)


def find(name: str) -> "Method | None":
    """The method of this name."""
    for method in METHODS:
        if method.name == name:
            return method
    return None


def fingerprint() -> str:
    """CRC-32 over all that the two ends must agree on: methods, parameters, results, events; 8 hex digits."""
    crc = 0
    for method in METHODS:
        words = [method.name]
        words += ["%s:%s:%d:%d:%s" % (p.name, p.kind, p.low, p.high, p.optional) for p in method.params]
        words += [key for key, _ in method.result]
        crc = binascii.crc32(" ".join(words).encode(), crc)
    for part, key, _ in STATE_ITEMS:
        crc = binascii.crc32((part + key).encode(), crc)
    for kind, _, params in EVENTS:
        crc = binascii.crc32(" ".join([kind] + [p for p, _ in params]).encode(), crc)
    return "%08x" % ((crc + PROTOCOL) & 0xFFFFFFFF)
