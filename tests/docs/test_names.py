"""Commands, finding codes, options and board profiles that the pages name in passing exist."""

from __future__ import annotations

import re
from pathlib import Path

import click
import pytest

from frogfeed.cli import COMMANDS, main
from frogfeed.findings.codes import CODES
from frogfeed.parts import profiles
from tests.docs.pages import DOCS, ROOT, blocks, pages, prose

FAMILIES = ("file-", "plan-", "throw-", "elec-", "hangs-", "dead-", "vee-", "never-", "not-", "no-common", "run-")
_CODE = re.compile(r"`([^`]+)`")
ALL = [*pages(), ROOT / "README.md"]


def _id(page: Path) -> str:
    return page.relative_to(ROOT).as_posix()


@pytest.mark.parametrize("page", ALL, ids=_id)
def test_commands_named_in_passing_exist(page: Path) -> None:
    for line, text in prose(page):
        for words in (c.split() for c in _CODE.findall(text) if c.startswith("frogfeed ")):
            if words[1].startswith("-"):
                continue
            assert words[1] in COMMANDS, f"{page}:{line}: there is no command {words[1]!r}"
            command = main.get_command(click.Context(main), words[1])
            assert command is not None
            options = {o for p in command.params for o in (*p.opts, *p.secondary_opts)}
            wrong = [w for w in words if w.startswith("--") and w not in options]
            assert not isinstance(command, click.Group) or not wrong or len(words) > 2
            if not isinstance(command, click.Group):
                assert not wrong, f"{page}:{line}: {words[1]} has no option {wrong}"


@pytest.mark.parametrize("page", ALL, ids=_id)
def test_finding_codes_named_exist(page: Path) -> None:
    for line, text in prose(page):
        for word in _CODE.findall(text):
            if re.fullmatch(r"[a-z]+(-[a-z0-9]+)+", word) and word.startswith(FAMILIES) and word not in NOT_CODES:
                assert word in CODES, f"{page}:{line}: no finding has the code {word!r}"
    for block in blocks(page):
        for code in re.findall(r'code = "([^"]+)"', block.text):
            assert code in CODES, f"{page}:{block.line}: no finding has the code {code!r}"


NOT_CODES = frozenset({"dead-wheel"})
"""Words of the bench that look like codes."""


def test_the_page_of_boards_has_every_profile() -> None:
    text = (DOCS / "reference" / "boards.md").read_text(encoding="utf-8")
    assert all(f"`{name}`" in text for name in profiles.names())


def test_the_page_of_commands_has_every_command() -> None:
    text = (DOCS / "reference" / "commands.md").read_text(encoding="utf-8")
    assert all(f"## `frogfeed {name}`" in text for name in COMMANDS)
