"""What breaks TOML's rules, in words for a person who has never read them."""

from __future__ import annotations

import re
from dataclasses import dataclass

from frogfeed.layout.schema import LayoutFile
from frogfeed.parts.spelling import spelt_out

_PLACE = re.compile(r"\s*\(at (?:line (\d+), column (\d+)|end of document)\)$")

_WORDS: tuple[tuple[str, str, str], ...] = (
    (
        "Expected '=' after a key",
        "a key without an = sign after it",
        'Write key = value, as in name = "yard".',
    ),
    ("Invalid statement", "neither a key, a [table] nor a comment", "Comments begin with #."),
    (
        "Invalid value",
        "no value that TOML has",
        'Text stands in quotes: "yard"; numbers, true and false do not.',
    ),
    ("Invalid initial character for a key", "a key cannot begin like this", "Use letters, digits, - and _."),
    ("Unterminated string", "a text whose closing quote is missing", 'Close it with " on the same line.'),
    (
        "Unclosed array",
        "a list whose closing ] is missing, or a comma between two items",
        "Put a comma between two items, and ] after the last.",
    ),
    (
        "Unclosed inline table",
        "a table whose closing } is missing, or a comma between two keys",
        "Put a comma between two keys, and } after the last.",
    ),
    ("Expected ']' at the end of a table", "a table's name without its closing ]", "Write ] at the end of the line."),
    ("Expected ']]' at the end of an array", "a table's name without its closing ]]", ""),
    (
        "Expected newline or end of document",
        "something more on the line than it may hold",
        "Begin a new line for it.",
    ),
    ("Unescaped '\\' in a string", "a \\ in a text that stands for nothing", "Write \\\\ for one \\."),
    ("Illegal character", "a character that may not stand here", "A text ends on the line where it begins."),
    ("Escaped character", "an escaped character that does not exist", ""),
    ("Invalid hex value", "a \\u that is not followed by hex digits", ""),
    ("Found invalid character", "a character that may not stand here", ""),
    ("Invalid date or datetime", "a date that does not exist", ""),
    ("Exceeds the limit", "a number with too many digits", ""),
    ("Duplicate inline table key", "a key stands in this table for the second time", "Remove one of the two."),
    ("Cannot overwrite a value", "a key stands in its table for the second time", "Remove one of the two."),
    (
        "Cannot mutate immutable namespace",
        "a table that was closed is opened again",
        "Keep a table's keys together.",
    ),
    ("Cannot redefine namespace", "a table that was closed is opened again", "Keep a table's keys together."),
)
_TWICE = re.compile(r"Cannot declare \((.*)\) twice")


_TWICE_KEY = ("Duplicate inline table key", "Cannot overwrite a value")
_NUMBER = re.compile(
    r"(?P<key>[A-Za-z_][\w-]*)\s*=\s*(?P<whole>[+-]?\d+(?:\.\d+)?)"
    r"(?P<rest>,(?P<comma>\d+)(?=\s*(?:[,}\]#]|$))|\s*(?P<unit>mm|cm|ms|s|us|µs|mA|A|V|ohm|Ω|deg|°)(?!\w)|)"
)
_HEADER = re.compile(r"\s*\[{0,2}\s*(?P<name>[^\]\[\"'=#{}]*?[^\]\[\"'=#{}\s])\s*\]{0,2}\s*(?:#.*)?$")
_ODD = re.compile(r"[^A-Za-z0-9._-]")
_CURLED = "“”„‟‘’‚«»"
_TABLES = frozenset(field.alias or name for name, field in LayoutFile.model_fields.items())
_LONGEST_ROW = 1000
"""Longer lines are not searched for slips of the pen: nobody wrote them by hand."""
_WORD = re.compile(r"[A-Za-z][\w.-]*")
_KEY = re.compile(r"""\s*((?:[\w.-]|"[^"]*"|'[^']*')+)\s*=""")


@dataclass(frozen=True, slots=True)
class Broken:
    """A broken rule of TOML; line 0 stands for the end of the text, `first` is the line of a double's first."""

    line: int
    column: int
    code: str
    what: str
    cure: str
    first: int | None = None


def explain(text: str, error: ValueError) -> Broken:
    """What `tomllib` refused in `text`, and where."""
    told = str(error)
    place = _PLACE.search(told)
    message = told[: place.start()] if place else told
    line, column = (int(place[1]), int(place[2])) if place and place[1] else (0, 0)
    row = text.split("\n")[line - 1] if line else ""
    twice = _TWICE.search(message)
    if twice and line:
        name = ".".join(re.findall(r"'([^']*)'", twice[1]))
        what = f"[{name}] stands here for the second time"
        return Broken(
            line, row.find("[") + 1, "file-name-twice", what, "Rename one, or merge them.", _header(text, name, line)
        )
    known = _slip(row, line, column, message)
    if known is not None:
        return known
    key = _KEY.match(row)
    if message.startswith(_TWICE_KEY) and key:
        what = f"the key {key[1]} stands here for the second time in its table"
        return Broken(
            line, key.start(1) + 1, "file-name-twice", what, "Remove one of the two.", _key(text, key[1], line)
        )
    for start, what, cure in _WORDS:
        if message.startswith(start):
            return Broken(line, column, "file-not-toml", what, cure)
    return Broken(line, column, "file-not-toml", "TOML does not allow this", f"The TOML reader says: {message}")


def _slip(row: str, line: int, column: int, message: str) -> Broken | None:
    """A slip of the pen that TOML's own message says little of, by what stands where the reading stopped."""
    if len(row) > _LONGEST_ROW:
        return None
    here = max(column - 1, 0)
    if any(q in row[max(here - 1, 0) : here + 1] for q in _CURLED):
        straight = "a curled quote, as word processors make them"
        return Broken(line, column, "file-not-toml", straight, 'Text stands in straight quotes: "yard".')
    for number in _NUMBER.finditer(row):
        stopped = number.start("rest") <= here and not row[number.end("rest") : here].strip()
        if stopped and (number["comma"] or number["unit"]):
            return _number(number, line)
    word = _WORD.match(row, here)
    if word is not None and message.startswith("Invalid value"):
        return Broken(line, column, "file-not-toml", "a text without its quotes", f'Write "{word[0]}"')
    header = _HEADER.match(row)
    if header is None:
        return None
    plain = _plain(header["name"])
    if message.startswith("Expected ']"):
        odd = _ODD.search(header["name"])
        if odd is None:
            return Broken(line, column, "file-not-toml", "a table's name without its closing ]", f"Write {plain}")
        what = f"the name of a table has {'a space' if odd[0].isspace() else odd[0]} in it"
        cure = f"Names have letters a to z, digits, - and _, and a dot behind the table: {plain}"
        return Broken(line, header.start("name") + odd.start() + 1, "file-not-toml", what, cure)
    table, dot, _ = header["name"].partition(".")
    if message.startswith("Expected '='") and dot and table in _TABLES:
        return Broken(line, 1, "file-not-toml", "a table's name without its brackets", f"Write {plain}")
    return None


def _number(found: re.Match[str], line: int) -> Broken:
    """A number with a decimal comma, or with its unit behind it."""
    number = f"{found['whole']}.{found['comma']}" if found["comma"] else found["whole"]
    what = "a decimal comma, where TOML has a point" if found["comma"] else f'a unit, "{found["unit"]}", after a number'
    why = "" if found["comma"] else " without the unit, which its key names"
    cure = f"Write {found['key']} = {number}{why}"
    return Broken(line, found.start("rest") + 1, "file-not-toml", what, cure)


def _plain(name: str) -> str:
    """The header of a table as it can be written: umlauts spelt out, accents dropped, a hyphen for a space."""
    table, space, rest = name.partition(" ")
    if space and table in _TABLES:
        name = f"{table}.{rest.strip()}"
    return f"[{_ODD.sub('-', spelt_out(name))}]"


def _header(text: str, name: str, before: int) -> int | None:
    """The line of the first header of table `name` before a line."""
    for number, line in enumerate(text.split("\n")[: before - 1], start=1):
        stripped = line.strip()
        if stripped.startswith("[") and re.sub(r"""[\s"']""", "", stripped.strip("[").partition("]")[0]) == name:
            return number
    return None


def _key(text: str, key: str, before: int) -> int | None:
    """The last line before a line, in the same table, that sets `key`."""
    rows = text.split("\n")
    for number in range(before - 1, 0, -1):
        found = _KEY.match(rows[number - 1])
        if found and found[1] == key:
            return number
        if rows[number - 1].lstrip().startswith("["):
            return None
    return None
