"""The page of the layout file: every table and key with its type, limits, unit and default, from the JSON Schema."""

from __future__ import annotations

import json
from collections.abc import Mapping
from typing import Any

from frogfeed.layout.json_schema import layout_schema
from frogfeed.layout.known import known_parts
from frogfeed.layout.schema import STATE_FACTS
from frogfeed.layout.starter import STARTER

Json = Mapping[str, Any]

_INTRO = """\
# The layout file

<!-- Made by `python -m frogfeed.reference`; do not edit. -->

One TOML file describes one railway. `frogfeed new FILE` writes one to start from, `frogfeed check FILE` says what is
wrong with it, and `frogfeed schema` prints a JSON Schema with which an editor completes keys and marks mistakes.

Every number bears its unit in its key: `_mm` millimetres, `_ms` milliseconds, `_us` microseconds, `_a` amperes,
`_ohm` ohms, `_deg` degrees. Numbers stand without quotes and without the unit: `trip_a = 3`. Names begin with a letter
and have letters, digits, `-` and `_`, at most 32 characters. Unknown keys are mistakes.

A piece of track and a place never share a name. Left and right of a piece are as seen looking into it from its toe
(turnouts) or from the end in question (diamonds and slips); in a line they are as seen travelling along the list.

## A small layout

```toml
"""

_LINES = """\
Each key of `[lines]` is a name, each value a list: places and ends of pieces in the order in which a train meets them,
and between them what lies at the joint.

| item | example | meaning |
|---|---|---|
| a place | `"siding"` | a stretch of plain track, declared as `[place.siding]` |
| an end | `"T1.toe"`, `"X1.a.left"` | an end of a piece; two ends of one piece in a row run through it |
| a gap | `"\\|"`, `"\\|left"`, `"\\|right"` | insulated joiners (or cuts) in both rails, or in one |
| a table | `{ mm = 900 }` | see below |

Where nothing stands between two places, metal joiners join both rails. The rules:

- Every end of every piece stands in the lines exactly once; a piece with `built = false` may be left out.
- A line that enters a piece leaves it by the next item, or ends there.
- A place of kind `buffer` or `open` begins or ends one line. A section has two ends: it stands once in the middle of a
  line, or ends two lines (or both ends of one: an oval).
- Between two gaps in the same rail there is a named place: a rail of its own needs a name to be fed by.
- A feed belongs to the rails on its side of the gaps beside it. No gap, length, feed or joiner stands inside a piece.
"""

_STATE = """\
`state` is a shorthand; a fact that is stated by itself wins over it.

| state | links | blades | frog |
|---|---|---|---|
"""

_ENDS = """\
| table | ends | drives |
|---|---|---|
| `turnout` | `toe`, `left`, `right` | `drive`: left, right |
| `three-way` | `toe`, `left`, `middle`, `right` | `drive_left`: left, through; `drive_right`: right, through |
| `diamond` | `a.left`, `a.right`, `b.left`, `b.right` | none |
| `slip` | as the diamond | `drive_a`, `drive_b`: left, right (or crossing, slip) |
| `piece` | as its kind says | as its kind says |

A piece that names no drive has its own: `T1` for the turnout T1, `X1-a` and `X1-b` for the slip X1, `W-left` and
`W-right` for the three-way W. Several pieces may name one drive. Where a piece's settings bear other names than the
drive's, or it is thrown the other way round, it says which is which:

```toml
[turnout.T2]
drive = { name = "D1", left = "right", right = "left" }   # T2 lies left when D1 is right
```
"""

_HEADINGS = {
    "layout": "[layout]",
    "district": "[district.NAME]",
    "turnout": "[turnout.NAME]",
    "three-way": "[three-way.NAME]",
    "slip": "[slip.NAME]",
    "diamond": "[diamond.NAME]",
    "piece": "[piece.NAME]",
    "place": "[place.NAME]",
    "lines": "[lines]",
    "drive": "[drive.NAME]",
    "board": "[board.NAME]",
    "route": "[route.NAME]",
    "button": "[button.NAME]",
    "lamp": "[lamp.NAME]",
}


def layout_page() -> str:
    """The page as Markdown."""
    schema = layout_schema()
    defs: Json = schema["$defs"]
    shared = _shared_keys(defs)
    parts = [_INTRO + _example() + "```\n"]
    for key, field in schema["properties"].items():
        if key == "turnout":
            parts.append(_pieces(defs, shared))
        parts.append(f"{'###' if _is_piece(key) else '##'} `{_HEADINGS[key]}`\n\n{_sentence(field['description'])}\n")
        if key == "lines":
            parts.append(_LINES)
            parts += [_table(defs[name], defs, f"`{{ {word} = ... }}`") for name, word in _ITEM_TABLES.items()]
            continue
        table = defs[_table_name(field)]
        own = {k: v for k, v in table["properties"].items() if not (_is_piece(key) and k in shared)}
        if own:
            parts.append(_table({**table, "properties": own}, defs))
        elif _is_piece(key):
            parts.append("It has no keys but those of every piece.\n")
        if key == "layout":
            parts.append(_table(defs["Colours"], defs, "`colours`"))
    parts.append(_parts())
    return "\n".join(parts)


def _parts() -> str:
    """The names of parts that a layout file may use without declaring them."""
    known = known_parts()
    codes = [str(c) for c in known.rail_codes or ()]
    rows = ["| what | names |", "|---|---|"]
    for what, names in (
        ("gauges (`gauge`)", known.gauges),
        ("wire colours (`colours`)", known.colours),
        ("wire sizes (`dropper_wire`, `bus_wire`, `wire`)", known.wires),
        ("rail codes (`rail_code`)", codes),
        ("board profiles (`profile`)", known.profiles),
        ("kinds of piece (`kind`)", tuple(known.kinds)),
    ):
        rows.append(f"| {what} | {', '.join(f'`{n}`' for n in names or ())} |")
    return (
        "## Names of parts\n\nThese need no declaration. Kinds of your own come from the files listed in "
        "`catalogue`.\n\n" + "\n".join(rows) + "\n"
    )


_ITEM_TABLES = {"LengthTable": "mm", "FeedTable": "feed", "JoinerTable": "joiner", "GapTable": "gap"}


def _example() -> str:
    rows = [row.partition("#")[0].rstrip() for row in STARTER.split("\n")]
    kept = [row for row in rows if row]
    text = ""
    for row in kept:
        place_after_place = row.startswith("[place") and "[place" in text
        text += "\n" if row.startswith("[") and text and not place_after_place else ""
        text += row + "\n"
    return text


def _is_piece(key: str) -> bool:
    return key in ("turnout", "three-way", "slip", "diamond", "piece")


def _shared_keys(defs: Json) -> dict[str, Any]:
    """The keys that every piece has, `kind` apart where it differs."""
    return dict(defs["Diamond"]["properties"])


def _pieces(defs: Json, shared: Json) -> str:
    states = "\n".join(f"| `{s}` | {a} | {b} | {c} |" for s, (a, b, c) in STATE_FACTS.items())
    table = _table({"properties": shared, "required": []}, defs, "keys of every piece")
    accept = _table(defs["Accept"], defs, "an entry of `accept`")
    return f"## Pieces of track\n\n{_ENDS}\n{table}\n{_STATE}{states}\n\n{accept}"


def _table_name(field: Json) -> str:
    reference: str = field["$ref"] if "$ref" in field else next(iter(field["patternProperties"].values()))["$ref"]
    return reference.rpartition("/")[2]


def _table(table: Json, defs: Json, title: str = "") -> str:
    required = table.get("required", [])
    rows = [f"| {title + ': key' if title else 'key'} | value | default | meaning |", "|---|---|---|---|"]
    for key, field in table["properties"].items():
        default = "must be given" if key in required else _default(field)
        text = _escape(field["description"].removesuffix(f" ({field.get('x-unit')})"))
        rows.append(f"| `{key}` | {_escape(_value(field, defs))} | {_escape(default)} | {text} |")
    return "\n".join(rows) + "\n"


def _default(field: Json) -> str:
    value = field.get("default")
    if value is None or value in ([], {}) or (isinstance(value, dict) and not any(value.values())):
        return ""
    if isinstance(value, float) and value.is_integer():
        value = int(value)
    return f"`{json.dumps(value, ensure_ascii=False)}`"


def _value(field: Json, defs: Json) -> str:
    """What may stand for a key, in words."""
    if "anyOf" in field:
        return " or ".join(_value(option, defs) for option in field["anyOf"])
    if "$ref" in field:
        name = field["$ref"].rpartition("/")[2]
        target = defs[name]
        return _words(target["enum"]) if "enum" in target else _TABLES.get(name, "a table")
    if "enum" in field:
        return _words(field["enum"])
    if "const" in field:
        return _words([field["const"]])
    kind = field.get("type")
    if kind in ("number", "integer"):
        return _number(field)
    if kind == "array":
        if "prefixItems" in field:
            unit = f" of {field['x-unit']}" if "x-unit" in field else ""
            return f"[{', '.join('number' for _ in field['prefixItems'])}]{unit}"
        return f"a list: {_value(field['items'], defs)}"
    if kind == "object":
        values = field.get("additionalProperties")
        if not isinstance(values, Mapping):
            return "a table"
        return "a table: name = " + _value({**values, **{k: v for k, v in field.items() if k == "x-unit"}}, defs)
    if kind == "boolean":
        return "`true` or `false`"
    return "a name" if "pattern" in field else "text"


_TABLES = {
    "DriveUse": '`{ name = "...", SETTING = "..." }`',
    "Accept": '`{ code = "...", reason = "..." }`',
    "Colours": "a table of colours",
}


def _words(values: list[Any]) -> str:
    return ", ".join(f"`{json.dumps(v, ensure_ascii=False)}`" for v in values)


def _number(field: Json) -> str:
    text = "a whole number" if field["type"] == "integer" else "a number"
    if "x-unit" in field:
        text += f" of {field['x-unit']}"
    low, high = field.get("minimum"), field.get("maximum")
    if low is not None and low == high:
        return f"{low:,}"
    if low is not None and high is not None:
        return f"{text}, {low:,} to {high:,}"
    limits = (
        ("exclusiveMinimum", "above"),
        ("minimum", "at least"),
        ("maximum", "at most"),
        ("exclusiveMaximum", "below"),
    )
    return text + "".join(f", {word} {field[key]:,}" for key, word in limits if key in field)


def _sentence(text: str) -> str:
    return text[0].upper() + text[1:] + "."


def _escape(text: str) -> str:
    return text.replace("|", "\\|")
