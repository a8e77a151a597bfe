"""Names with letters beyond ASCII, as boards and decks can take them."""

from __future__ import annotations

import unicodedata

import pytest

from frogfeed.parts.spelling import printable_ascii


@pytest.mark.parametrize(
    ("text", "plain"),
    [("Kohlenhof Süd", "Kohlenhof Sued"), ("Möwenkai", "Moewenkai"), ("Forêt é", "Foret e"), ("駅 A\n", "? A?")],
)
def test_umlauts_are_spelt_out_and_accents_dropped(text: str, plain: str) -> None:
    assert printable_ascii(text) == plain
    assert printable_ascii(unicodedata.normalize("NFD", text)) == plain
