"""What the schema finds wrong, told as a person at a workbench needs it: found, meant, why, and what to write."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from enum import Enum
from typing import Any, get_args

from pydantic import BaseModel, ValidationError
from pydantic_core import ErrorDetails

from frogfeed.layout.also_called import choice_meant, table_meant
from frogfeed.layout.mistakes import MOST_KEPT, Mistakes, dotted, listed, nearest, shown
from frogfeed.layout.positions import KeyPath
from frogfeed.layout.schema_walk import field_at, keys_of, table_at
from frogfeed.layout.units import convert, meant_by_unit, number_in, plain, split, unit_of

_NUMBERS = {
    "float_type", "float_parsing", "int_type", "int_parsing", "int_from_float", "finite_number",
}  # fmt: skip
_LIMITS = {
    "greater_than": ("gt", "more than"),
    "greater_than_equal": ("ge", "at least"),
    "less_than": ("lt", "less than"),
    "less_than_equal": ("le", "at most"),
}


def in_data(loc: Sequence[str | int], data: Any, kind: str) -> KeyPath:
    """The key path of an error: the parts of its location that the file really has.

    Validation adds parts of its own (the member of a union it tried); those are dropped. A missing key is kept.
    """
    path: list[str | int] = []
    here = data
    for i, part in enumerate(loc):
        if part == "[key]":
            break
        inside = (isinstance(here, Mapping) and part in here) or (
            isinstance(here, list | tuple) and isinstance(part, int) and part < len(here)
        )
        if inside:
            here = here[part]
            path.append(part)
        elif kind == "missing" and i + 1 == len(loc):
            path.append(part)
    return tuple(path)


def report(
    error: ValidationError, root: type[BaseModel], data: Any, base: KeyPath, mistakes: Mistakes
) -> list[tuple[KeyPath, str]]:
    """Add a finding for every error of one validation of `data` against `root`, whose path in the file is `base`.

    Returns the path (within `data`) and pydantic's type of each, for whoever goes on with what is left.
    """
    found: list[tuple[KeyPath, str]] = []
    errors = error.errors(include_url=False, include_context=True)
    meant = {
        table_meant(str(e["loc"][-1])) or nearest(str(e["loc"][-1]), keys_of(root))
        for e in errors[:MOST_KEPT]
        if e["type"] == "extra_forbidden"
    } if not base else set()  # fmt: skip
    for e in errors:
        path = in_data(e["loc"], data, e["type"])
        found.append((path, "[key]" if "[key]" in e["loc"] else e["type"]))
        if mistakes.full:
            mistakes.count_one_more()
        elif e["type"] == "missing" and len(path) == 1 and path[0] in meant:
            pass  # A misspelt table: it has a finding of its own.
        elif "[key]" in e["loc"]:
            _bad_name(path, base, mistakes)
        elif e["type"] == "extra_forbidden":
            _unknown_key(root, path, data, base, mistakes)
        elif e["type"] == "missing":
            _missing(root, path, base, mistakes)
        else:
            _bad_value(e, root, path, base, mistakes)
    return found


def _about(root: type[BaseModel], path: KeyPath) -> str:
    """What the schema says of a key."""
    found = field_at(root, path)
    if found is None or not found[1].description:
        return ""
    return f"{found[0]}: {found[1].description}."


def _bad_name(path: KeyPath, base: KeyPath, mistakes: Mistakes) -> None:
    name = str(path[-1])
    too_long = len(name) > 32
    mistakes.add(
        "file-bad-name",
        base + path,
        f"the name {shown(name)} " + ("is longer than 32 characters" if too_long else "cannot be used"),
        why="Names stand on drawings, labels and messages, and with a dot before the name of a rail.",
        cure="Begin with a letter; use letters, digits, - and _ only; at most 32 characters.",
        at_key=True,
    )


def _unknown_key(root: type[BaseModel], path: KeyPath, data: Any, base: KeyPath, mistakes: Mistakes) -> None:
    key = str(path[-1])
    table = table_at(root, path[:-1]) or root
    fields = keys_of(table)
    inside = base + path[:-1]
    where = _named(inside)
    what = f"{where} has no key {shown(key)}" if inside else f"a layout file has no table {shown(key)}"
    holder: Any = data
    for part in path[:-1]:
        holder = holder[part]
    value = holder[path[-1]]
    by_unit = meant_by_unit(key, fields)
    if by_unit:
        cure = _unit_cure(key, by_unit, value)
    else:
        near = (table_meant(key) if not inside else None) or nearest(key, fields)
        cure = f'Did you mean "{near}"? ' if near else ""
        unset = [k for k in fields if k not in holder] if not near else []
        cure += f"It may have: {listed(unset, most=20)}." if unset else ""
    mistakes.add(
        "file-unknown-key",
        base + path,
        what,
        why="A key that nobody reads would be silently ignored, so it is refused.",
        cure=cure.strip(),
        at_key=True,
    )


def _named(inside: KeyPath) -> str:
    """A table as a person finds it: its header, or "this table" for one inside a list."""
    return "this table" if not inside or any(isinstance(p, int) for p in inside) else f"[{dotted(inside)}]"


def _unit_cure(key: str, meant: Sequence[str], value: Any) -> str:
    here = split(key)[1]
    parts = []
    for other in meant:
        unit = unit_of(other)
        assert unit is not None
        text = f'"{other}", in {unit.word}'
        if here is not None and isinstance(value, int | float) and not isinstance(value, bool):
            there = convert(value, here, unit)
            if there is not None:
                text += f": write {other} = {plain(there)}"
        parts.append(text)
    return f"Did you mean {listed(parts, last='or')}?" if len(parts) > 1 else f"The key is {parts[0]}."


def _missing(root: type[BaseModel], path: KeyPath, base: KeyPath, mistakes: Mistakes) -> None:
    key = path[-1]
    inside = base + path[:-1]
    if isinstance(key, int):
        mistakes.add("file-wrong-type", inside, f"{dotted(inside)} has too few values", why=_about(root, path))
        return
    if not inside:
        what = f"the table [{key}] is missing" if key == "layout" else f"no [{key}.NAME] is declared"
        cure = _TABLE_CURES.get(key, "")
    else:
        what = f"{_named(inside)} has no {key}"
        in_braces = any(isinstance(p, int) for p in inside)
        cure = f"Add {'inside its braces' if in_braces else 'a line'}: {key} = {_example(root, path)}"
    mistakes.add("file-missing-key", base + path, what, why=_about(root, path), cure=cure)


_TABLE_CURES = {
    "layout": 'Begin the file with [layout], and in it name = "...", gauge = "..." and control = "dc" or "dcc".',
    "district": "Declare the supply: [district.main], with trip_a and volts as printed on it.",
}


def _example(root: type[BaseModel], path: KeyPath) -> str:
    found = field_at(root, path)
    if found is None:
        return "..."
    field = found[1]
    choices = _choices(field.annotation)
    if choices:
        return " or ".join(f'"{c}"' for c in choices)
    return str(field.examples[0]) if field.examples else '"..."'


def _choices(annotation: Any) -> list[str]:
    """The words that an enum or literal allows."""
    if isinstance(annotation, type) and issubclass(annotation, Enum):
        return [str(m.value) for m in annotation]
    found: list[str] = []
    for arg in get_args(annotation):
        if isinstance(arg, str):
            found.append(arg)
        else:
            found.extend(_choices(arg))
    return found


def _bad_value(e: ErrorDetails, root: type[BaseModel], path: KeyPath, base: KeyPath, mistakes: Mistakes) -> None:
    kind, value = e["type"], e["input"]
    name = dotted(base + path)
    about = _about(root, path)
    key, field = field_at(root, path) or ("", None)
    unit = unit_of(key)
    if kind in _NUMBERS:
        whole = kind.startswith("int")
        meant = ("a whole number" if whole else "a plain number") + (f" of {unit.word}" if unit else "")
        cure = f"Write {meant}, without quotes and without the unit."
        number = number_in(value, key) if isinstance(value, str) else None
        if number is not None and isinstance(path[-1], str):
            cure = f"Write {path[-1]} = {plain(number)}"
        mistakes.add(
            "file-wrong-type",
            base + path,
            f"{name} is {shown(value)}, but {meant} is meant",
            why=about,
            cure=cure,
        )
    elif kind in _LIMITS:
        context, words = _LIMITS[kind]
        limit = plain(float(e["ctx"][context]))
        in_units = f" {unit.word}" if unit else ""
        mistakes.add(
            "file-out-of-range",
            base + path,
            f"{name} is {shown(value)}, but must be {words} {limit}{in_units}",
            why=about,
            cure=_other_unit_cure(key, value, e, context),
        )
    elif kind in ("enum", "literal_error"):
        choices = _choices(field.annotation) if field is not None else []
        near = choice_meant(key, str(value), choices) or nearest(str(value), choices)
        mistakes.add(
            "file-bad-choice",
            base + path,
            f"{name} is {shown(value)}, but may be {listed([shown(c) for c in choices], last='or')}",
            why=about,
            cure=f'Did you mean "{near}"?' if near else "",
        )
    elif kind == "string_pattern_mismatch" or (kind.startswith("string_too") and isinstance(value, str)):
        short = kind == "string_too_short"
        mistakes.add(
            "file-bad-name" if not short else "file-out-of-range",
            base + path,
            f"{name} is {shown(value)}, which is " + _length_text(kind, e),
            why=about,
        )
    else:
        meant = _MEANT.get(kind, "something else")
        if kind == "too_long":
            mistakes.add("file-wrong-type", base + path, f"{name} has too many values", why=about)
            return
        mistakes.add(
            "file-wrong-type",
            base + path,
            f"{name} is {shown(value)}, but {meant} is meant",
            why=about,
            cure=_type_cure(kind, value, path),
        )


_MEANT = {
    "string_type": "text in quotes",
    "bool_type": "true or false",
    "tuple_type": "a list in square brackets",
    "list_type": "a list in square brackets",
    "dict_type": "a table",
    "model_type": "a table",
    "model_attributes_type": "a table",
}


def _length_text(kind: str, e: ErrorDetails) -> str:
    if kind == "string_too_long":
        return f"longer than {e['ctx']['max_length']} characters"
    if kind == "string_too_short":
        least = e["ctx"]["min_length"]
        return "empty" if not e["input"] else f"shorter than {least} characters"
    return "no name: names begin with a letter and have letters, digits, - and _ only"


def _type_cure(kind: str, value: Any, path: KeyPath) -> str:
    key = path[-1] if path and isinstance(path[-1], str) else None
    if kind == "string_type" and isinstance(value, int | float) and key and not isinstance(value, bool):
        return f'Write {key} = "{value}"'
    if kind == "bool_type" and isinstance(value, str) and value.lower() in ("true", "false", "yes", "no") and key:
        return f"Write {key} = {'true' if value.lower() in ('true', 'yes') else 'false'}"
    if kind == "tuple_type" and isinstance(value, str) and key:
        return f"Write {key} = [{shown(value)}]"
    if kind in ("model_type", "model_attributes_type", "dict_type") and len(path) == 1 and key:
        return f"Write it as a table of its own, with a name: [{key}.NAME]"
    if kind in ("model_type", "model_attributes_type") and len(path) == 2 and key:
        return f"Write [{dotted(path)}] on a line of its own, and its keys on the lines below."
    return ""


def _other_unit_cure(key: str, value: Any, e: ErrorDetails, context: str) -> str:
    """For a number that would fit in another unit: the number in the key's own."""
    unit = unit_of(key)
    limit = float(e["ctx"][context])
    if unit is None or context not in ("lt", "le") or not isinstance(value, int | float):
        return ""
    if value / 1000 <= limit and unit.word in ("amperes", "volts"):
        return f"If that is in milli{unit.word}, write {key} = {plain(value / 1000)}"
    return ""
