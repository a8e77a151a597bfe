"""Writing values back into the file a person wrote: comments, order and everything else stay as they were."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import tomlkit
from tomlkit.exceptions import TOMLKitError

from frogfeed.layout.atomic import replace_file
from frogfeed.layout.ends import KindReader, read_shapes
from frogfeed.layout.known import Known
from frogfeed.layout.model import Layout
from frogfeed.layout.positions import KeyPath
from frogfeed.layout.reading import read_layout, read_layout_text

Value = str | int | float | bool | list[Any] | dict[str, Any]


class CannotWrite(Exception):  # noqa: N818
    """The values were not written, and the file is as it was; the text says why and what to do."""


def set_values(
    path: Path,
    values: Mapping[KeyPath, Value],
    *,
    known: Known | None = None,
    read_kinds: KindReader = read_shapes,
) -> Layout:
    """Set values at key paths, such as `("drive", "T1", "pulse_us", "left"): 1210`, all of them or none.

    Tables that are missing are added at the end. The new text is read and checked in full before it replaces the old
    one in a single rename; the layout it holds is returned. Raises BadLayout, with the file untouched, where the file
    has mistakes before or would have any after; CannotWrite where it changed meanwhile; OSError.
    """
    before = read_layout(path, known=known, read_kinds=read_kinds)
    text = with_values(before.text, values)
    after = read_layout_text(text, str(path), known=known, read_kinds=read_kinds)
    if path.read_bytes() != before.text.encode("utf-8"):
        raise CannotWrite(f"{path} was changed by something else meanwhile; nothing was written, try again")
    replace_file(path, text.encode("utf-8"))
    return after


def with_values(text: str, values: Mapping[KeyPath, Value]) -> str:
    """The TOML text with values set at key paths, and nothing else changed.

    Raises CannotWrite where a path leads through something that is no table.
    """
    document = tomlkit.parse(text)
    expected = tomllib.loads(text)
    for path, value in values.items():
        try:
            _set(document, path, value)
            _set(expected, path, value)
        except (TypeError, IndexError, KeyError, TOMLKitError) as e:
            raise CannotWrite(f"there is no place for {'.'.join(map(str, path))} in the file") from e
    changed = tomlkit.dumps(document)
    try:
        same = tomllib.loads(changed) == expected
    except ValueError:
        same = False
    if not same:
        raise CannotWrite("the values do not fit into the file as it is laid out; set them by hand")
    return changed


def _set(root: Any, path: KeyPath, value: Value) -> None:
    """Set one value; missing tables become [table.NAME], and what is missing inside those an inline table."""
    styled = isinstance(root, tomlkit.TOMLDocument)
    here = root
    for depth, part in enumerate(path[:-1]):
        if isinstance(part, str) and part not in here:
            here[part] = _table(depth) if styled else {}
        here = here[part]
    if isinstance(here, str):
        raise TypeError("text has no keys")
    if styled and isinstance(value, dict) and len(path) > 2:
        inline = tomlkit.inline_table()
        inline.update(value)
        here[path[-1]] = inline
    else:
        here[path[-1]] = value


def _table(depth: int) -> Any:
    return tomlkit.inline_table() if depth >= 2 else tomlkit.table(is_super_table=depth == 0)
