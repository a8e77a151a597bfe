"""The layout file's JSON Schema, from which an editor completes keys, shows what they mean and marks mistakes."""

from __future__ import annotations

import json
from typing import Any

from pydantic import BaseModel
from pydantic.json_schema import models_json_schema

from frogfeed.layout.schema import FeedTable, GapTable, JoinerTable, LayoutFile, LengthTable
from frogfeed.layout.units import unit_of

DIALECT = "https://json-schema.org/draft/2020-12/schema"
_ITEM_TABLES: tuple[type[BaseModel], ...] = (LengthTable, FeedTable, JoinerTable, GapTable)
_NAME = "[A-Za-z][A-Za-z0-9_-]*"


def layout_schema() -> dict[str, Any]:
    """The schema as a JSON-like dict (draft 2020-12). Units stand in the descriptions and as `x-unit`."""
    _, both = models_json_schema(
        [(LayoutFile, "validation"), *((table, "validation") for table in _ITEM_TABLES)], by_alias=True
    )
    definitions: dict[str, Any] = both["$defs"]
    root: dict[str, Any] = definitions.pop("LayoutFile")
    root["properties"]["lines"] |= {
        "patternProperties": {f"^{_NAME}$": _line()},
        "additionalProperties": False,
    }
    definitions["DriveUse"]["additionalProperties"] = {
        "type": "string",
        "description": "the drive's setting that throws this setting of the piece",
    }
    for table in (root, *definitions.values()):
        for key, field in table.get("properties", {}).items():
            _tidy(key, field)
    _close_free_tables(root)
    return {
        "$schema": DIALECT,
        "title": "frogfeed layout file",
        **{k: v for k, v in root.items() if k != "title"},
        "$defs": definitions,
    }


def _line() -> dict[str, Any]:
    return {
        "type": "array",
        "minItems": 2,
        "description": "places and ends of pieces in the order in which a train meets them, with "
        "what lies at the joints",
        "items": {
            "anyOf": [
                {
                    "enum": ["|", "|left", "|right"],
                    "description": "a gap in both rails or one, seen travelling in this order",
                },
                {"type": "string", "pattern": f"^{_NAME}$", "description": "a place: [place.NAME]"},
                {
                    "type": "string",
                    "pattern": rf"^{_NAME}(\.[A-Za-z][A-Za-z0-9_-]*)+$",
                    "description": 'an end of a piece: "T1.toe", "X1.a.left"; two of one piece in a '
                    "row mean through it",
                },
                *({"$ref": f"#/$defs/{table.__name__}"} for table in _ITEM_TABLES),
            ]
        },
    }


def _tidy(key: str, field: dict[str, Any]) -> None:
    """Drop made-up titles and absent defaults; add the unit that the key's name states."""
    field.pop("title", None)
    if field.get("default", ...) is None:
        del field["default"]
    if "anyOf" in field:
        field["anyOf"] = [option for option in field["anyOf"] if option != {"type": "null"}]
        if len(field["anyOf"]) == 1:
            field.update(field.pop("anyOf")[0])
    unit = unit_of(key)
    if unit is not None:
        field["x-unit"] = unit.word
        text = field.get("description", "")
        field["description"] = f"{text} ({unit.word})" if text else unit.word


def _close_free_tables(root: dict[str, Any]) -> None:
    """Tables of named tables allow no other keys than names."""
    for field in root["properties"].values():
        if "patternProperties" in field:
            field["additionalProperties"] = False


def schema_text() -> str:
    """The schema as JSON text, for a file beside the layout."""
    return json.dumps(layout_schema(), indent=2, ensure_ascii=False)
