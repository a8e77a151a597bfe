"""The reference pages are current, and say of every key and code what the programs say."""

from __future__ import annotations

import re
import tomllib
from pathlib import Path

import pytest

from frogfeed.findings.codes import CODES
from frogfeed.layout.json_schema import layout_schema
from frogfeed.layout.reading import read_layout_text
from frogfeed.reference.pages import PAGES

DOCS = Path(__file__).parents[2] / "docs" / "reference"


@pytest.mark.parametrize("name", sorted(PAGES))
def test_the_page_is_current(name: str) -> None:
    assert (DOCS / name).read_text(encoding="utf-8") == PAGES[name](), (
        "run: python -m frogfeed.reference docs/reference"
    )


def test_every_key_is_on_the_page() -> None:
    page = PAGES["layout-file.md"]()
    schema = layout_schema()
    keys = {k for table in schema["$defs"].values() for k in table.get("properties", {})}
    assert all(f"| `{key}` |" in page for key in keys if key != "name" or "| `name` |" in page)
    assert all(f"`[{table}" in page for table in schema["properties"])


def test_every_code_is_on_the_page() -> None:
    page = PAGES["findings.md"]()
    assert all(page.count(f"| `{code}` |") == 1 for code in CODES)


def test_the_examples_of_the_pages_are_read() -> None:
    small, mapping = re.findall(r"```toml\n(.*?)```", PAGES["layout-file.md"](), re.DOTALL)
    read_layout_text(small, "page.toml")
    tomllib.loads(mapping)


@pytest.mark.parametrize("name", sorted(PAGES))
def test_tables_have_as_many_cells_in_every_row(name: str) -> None:
    for table in re.findall(r"(?:^\|.*\n)+", PAGES[name](), re.MULTILINE):
        widths = {len(re.split(r"(?<!\\)\|", row)) for row in table.strip().split("\n")}
        assert len(widths) == 1, table
