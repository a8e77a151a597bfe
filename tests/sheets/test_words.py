"""All that is printed comes from one table of words."""

from __future__ import annotations

import re
from importlib.resources import files
from pathlib import Path

import frogfeed.sheets
from frogfeed.parts.colours import NAMES
from frogfeed.sheets.words import ENGLISH, LANGUAGES, Words

HERE = Path(frogfeed.sheets.__file__).parent


def _source() -> str:
    return "\n".join(p.read_text(encoding="utf-8") for p in HERE.glob("*.py") if p.name != "words.py")


def test_every_text_is_used_and_every_text_used_is_there() -> None:
    source = _source()
    literals = set(re.findall(r"""["']([A-Za-z0-9_.-]+)["']""", source))
    starts = tuple(re.findall(r'f"((?:[a-z_]+\.)+)\{', source)) + tuple(re.findall(r'"((?:[a-z_]+\.)+)" \+', source))
    starts += ("colour.", "letter.")
    both = {f"{k}.both" for k in literals}
    unused = {k for k in ENGLISH if k not in literals and k not in both and not k.startswith(starts)}
    assert not unused
    asked = set(re.findall(r'(?:say|words)\("([^"{}]+)"', source))
    assert asked <= set(ENGLISH), asked - set(ENGLISH)


def test_languages_have_the_same_keys_and_blanks() -> None:
    for table in LANGUAGES.values():
        assert set(table) == set(ENGLISH)
        for key, text in table.items():
            assert sorted(re.findall(r"\{(\w+)\}", text)) == sorted(re.findall(r"\{(\w+)\}", ENGLISH[key]))


def test_every_wire_colour_has_a_word() -> None:
    for name in NAMES:
        assert f"colour.{name}" in ENGLISH
    assert Words().colour("copper") == "copper"


def test_the_template_holds_no_words() -> None:
    text = files("frogfeed.sheets").joinpath("templates/book.typ").read_text(encoding="utf-8")
    body = re.sub(r"//.*", "", text)
    shown = re.findall(r"\[([^\[\]#{}]*[A-Za-z]{4,}[^\[\]#{}]*)\]", body)
    assert not [s for s in shown if re.search(r"[A-Za-z]{4,}", s)]
