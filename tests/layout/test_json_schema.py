"""The JSON Schema that editors use: a valid one, described throughout, and of one mind with the reader."""

from __future__ import annotations

import re
import tomllib
from pathlib import Path
from typing import Any

import jsonschema
import pytest

from frogfeed.layout.json_schema import layout_schema
from frogfeed.layout.schema import LayoutFile
from frogfeed.layout.schema_walk import keys_of
from frogfeed.layout.starter import STARTER

BAD = Path(__file__).parent / "bad"
SCHEMA = layout_schema()
VALIDATOR = jsonschema.Draft202012Validator(SCHEMA)
BY_SCHEMA = {
    "file-unknown-key",
    "file-missing-key",
    "file-wrong-type",
    "file-out-of-range",
    "file-bad-choice",
    "file-bad-name",
    "file-line-item",
    "file-line-short",
}
"""Mistakes that a schema can see; the others need one table to know of another, or the parts."""


def test_it_is_a_schema() -> None:
    jsonschema.Draft202012Validator.check_schema(SCHEMA)


def properties(node: Any) -> list[tuple[str, dict[str, Any]]]:
    found = []
    if isinstance(node, dict):
        found += list(node.get("properties", {}).items())
        for value in node.values():
            found += properties(value)
    elif isinstance(node, list):
        for value in node:
            found += properties(value)
    return found


def test_every_key_is_described_and_numbers_have_their_unit() -> None:
    every = properties(SCHEMA)
    assert len(every) > 80
    for key, field in every:
        assert field.get("description"), key
        if re.search(r"_(mm|ms|us|a|ohm|deg)$|^volts$|^mm$", key):
            assert field.get("x-unit"), key


def test_it_has_the_tables_of_the_reader() -> None:
    assert set(SCHEMA["properties"]) == set(keys_of(LayoutFile))
    assert SCHEMA["additionalProperties"] is False


def test_the_starting_file_is_valid() -> None:
    VALIDATOR.validate(tomllib.loads(STARTER))


@pytest.mark.parametrize("path", sorted(BAD.glob("*.toml")), ids=lambda p: p.stem)
def test_it_refuses_what_it_can_see_and_nothing_else(path: Path) -> None:
    codes = set(re.findall(r"^# expect \d+:\d+ (\S+)$", path.read_text(), re.MULTILINE))
    if path.stem == "empty" or codes & {"file-not-toml", "file-too-deep"} or path.stem in ("key-twice", "table-twice"):
        pytest.skip("no case: no TOML, or nested too deep")
    refused = bool(list(VALIDATOR.iter_errors(tomllib.loads(path.read_text()))))
    named_badly = path.stem == "unknown-place"  # a name with a space, which the schema sees as well
    assert refused == (bool(codes & BY_SCHEMA) or named_badly)
