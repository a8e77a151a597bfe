"""What breaks TOML's rules, in words for a person who has never read them."""

from __future__ import annotations

import re
import tomllib

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
    ("Unclosed array", "a list whose closing ] is missing, or a comma between two items", ""),
    ("Unclosed inline table", "a table whose closing } is missing, or a comma between two keys", ""),
    ("Expected ']' at the end of a table", "a table's name without its closing ]", "Write [turnout.T1]."),
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
    ("Duplicate inline table key", "a key that this table has already", "Remove one of the two."),
    ("Cannot overwrite a value", "a key that this table has already", "Remove one of the two."),
    (
        "Cannot mutate immutable namespace",
        "a table that was closed is opened again",
        "Keep a table's keys together.",
    ),
    ("Cannot redefine namespace", "a table that was closed is opened again", "Keep a table's keys together."),
)
_TWICE = re.compile(r"Cannot declare \((.*)\) twice")


def explain(error: ValueError) -> tuple[int, int, str, str, str]:
    """(line, column, code, what, cure) for what `tomllib` raised; line 0 stands for the end of the file."""
    text = str(error)
    place = _PLACE.search(text)
    message = text[: place.start()] if place else text
    line, column = (int(place[1]), int(place[2])) if place and place[1] else (0, 0)
    twice = _TWICE.search(message)
    if twice:
        name = ".".join(re.findall(r"'([^']*)'", twice[1]))
        return (
            line,
            column,
            "file-name-twice",
            f"[{name}] stands here for the second time",
            "Rename or merge them.",
        )
    for start, what, cure in _WORDS:
        if message.startswith(start):
            code = "file-name-twice" if "already" in what else "file-not-toml"
            return line, column, code, what, cure
    return line, column, "file-not-toml", "TOML does not allow this", f"The TOML reader says: {message}"


def header_line(text: str, name: str, before: int) -> int | None:
    """The line of the first header of table `name`, if it stands before line `before`."""
    wanted = name.replace('"', "")
    for number, line in enumerate(text.split("\n")[: before - 1], start=1):
        stripped = line.strip()
        if stripped.startswith("["):
            found = stripped.strip("[").partition("]")[0].replace('"', "").replace(" ", "")
            if found == wanted:
                return number
    return None


def loads(text: str) -> dict[str, object]:
    """`tomllib.loads`, with every refusal a ValueError. Raises RecursionError for endless nesting."""
    return tomllib.loads(text)
