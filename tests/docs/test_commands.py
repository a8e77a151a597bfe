"""Every command that a page of docs/ shows does what the page says, run in order as its reader would."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.docs.pages import DOCS, blocks, pages
from tests.docs.runner import Reader, first_missing, parse_only

WITH_COMMANDS = [p for p in pages() if any(b.words[:1] == ("console",) for b in blocks(p))]


@pytest.mark.parametrize("page", WITH_COMMANDS, ids=lambda p: p.relative_to(DOCS).as_posix())
def test_a_reader_gets_through_the_page(page: Path, tmp_path: Path) -> None:
    reader = Reader(page, tmp_path)
    try:
        assert reader.read() > 0
    finally:
        reader.close()


def test_the_pages_that_must_have_commands_have_them() -> None:
    names = {p.relative_to(DOCS).as_posix() for p in WITH_COMMANDS}
    assert "tutorial.md" in names
    assert {n for n in names if n.startswith("how-to/")}


def test_output_that_was_not_printed_is_noticed() -> None:
    assert first_missing("T1 is at left after 1.2 s.", "T1 is at left after 1.3 s.\n") is None
    assert first_missing("one\n...\nthree", "one\ntwo\nthree") is None
    assert first_missing("three\n...\none", "one\ntwo\nthree") == "one"
    assert first_missing("T1 is at right", "T1 is at left") == "T1 is at right"


@pytest.mark.parametrize("text", ["frogfeed chek my.toml", "frogfeed check --colour my.toml"])
def test_a_command_or_option_that_does_not_exist_is_noticed(text: str) -> None:
    with pytest.raises(AssertionError):
        parse_only(text, "here")


def test_every_block_of_a_layout_says_what_the_reader_does_with_it() -> None:
    # A python block is run by the tests of what it shows: that of reference/bench.md in tests/bench.
    known = {"console", "toml", "json", "text", "python", ""}
    for page in pages():
        for block in blocks(page):
            language = (*block.words, "")[0]
            assert language in known, f"{page}:{block.line}: {language!r}"
