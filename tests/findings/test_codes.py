"""The registry of codes: stable words, each with a meaning, none that two families share."""

from __future__ import annotations

import re
from pathlib import Path

from frogfeed.findings import codes
from frogfeed.findings.codes import CODES, CodeInfo
from frogfeed.findings.finding import Severity

HOST = Path(codes.__file__).parents[1]


def families() -> dict[str, dict[str, CodeInfo]]:
    return {name: dict(table) for name, table in vars(codes).items() if name.endswith("_CODES")}


def test_every_family_is_in_the_registry_and_no_code_is_in_two() -> None:
    assert sum(len(table) for table in families().values()) == len(CODES)
    assert {code for table in families().values() for code in table} == set(CODES)


def test_codes_are_kebab_case_words_with_a_meaning() -> None:
    for code, info in CODES.items():
        assert re.fullmatch(r"[a-z]+(-[a-z0-9]+)*", code)
        assert len(info.meaning) > 15 and not info.meaning.endswith(".")


def test_a_short_is_never_accepted() -> None:
    assert not CODES["short"].acceptable
    assert all(not info.acceptable and info.severity is Severity.ERROR for c, info in CODES.items() if c[:5] == "file-")


def test_every_code_that_the_reader_uses_is_known_and_every_one_known_is_used() -> None:
    source = "".join(p.read_text(encoding="utf-8") for p in (HOST / "layout").glob("*.py"))
    used = set(re.findall(r'"(file-[a-z0-9-]+)"', source))
    assert used == set(codes.FILE_CODES)
