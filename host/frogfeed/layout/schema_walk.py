"""Finding one's way in the schema by key path: which keys a table may have, and what is said of each."""

from __future__ import annotations

from collections.abc import Mapping
from types import UnionType
from typing import Annotated, Any, Union, get_args, get_origin

from pydantic import BaseModel
from pydantic.fields import FieldInfo

from frogfeed.layout.positions import KeyPath


def keys_of(model: type[BaseModel]) -> dict[str, FieldInfo]:
    """A table's keys as written in a file, with their fields."""
    return {f.alias or name: f for name, f in model.model_fields.items()}


def _members(annotation: Any) -> list[Any]:
    """The types an annotation stands for, constraints and unions taken apart."""
    origin = get_origin(annotation)
    if origin is Annotated:
        return _members(get_args(annotation)[0])
    if origin in (Union, UnionType):
        return [m for arg in get_args(annotation) for m in _members(arg)]
    return [annotation]


def _step(annotation: Any, part: str | int) -> tuple[Any, FieldInfo | None] | None:
    for member in _members(annotation):
        origin, args = get_origin(member), get_args(member)
        if isinstance(member, type) and origin is None and issubclass(member, BaseModel):
            field = keys_of(member).get(str(part))
            if field is not None:
                return field.annotation, field
        elif isinstance(origin, type) and issubclass(origin, Mapping) and isinstance(part, str):
            return args[1], None
        elif origin is tuple and isinstance(part, int):
            return args[0 if args[-1] is Ellipsis else min(part, len(args) - 1)], None
    return None


def field_at(root: type[BaseModel], path: KeyPath) -> tuple[str, FieldInfo] | None:
    """The field that a path from `root` ends at, with its key; for an entry of a list or free table, that list's."""
    annotation: Any = root
    found: tuple[str, FieldInfo] | None = None
    for part in path:
        step = _step(annotation, part)
        if step is None:
            return None
        annotation = step[0]
        found = (str(part), step[1]) if step[1] is not None else found
    return found


def table_at(root: type[BaseModel], path: KeyPath) -> type[BaseModel] | None:
    """The table that stands at a path from `root`, or None where none is meant there."""
    annotation: Any = root
    for part in path:
        step = _step(annotation, part)
        if step is None:
            return None
        annotation = step[0]
    for member in _members(annotation):
        if isinstance(member, type) and get_origin(member) is None and issubclass(member, BaseModel):
            return member
    return None
