"""Letters that not everything can take, spelt with those that everything does."""

from __future__ import annotations

import unicodedata

_SPELT = str.maketrans(
    {"ä": "ae", "ö": "oe", "ü": "ue", "Ä": "Ae", "Ö": "Oe", "Ü": "Ue", "ß": "ss", "æ": "ae", "ø": "oe", "å": "aa"}
)


def spelt_out(text: str) -> str:
    """Text with its umlauts spelt out and its accents dropped; what is left may still be beyond ASCII."""
    composed = unicodedata.normalize("NFC", text).translate(_SPELT)
    return "".join(c for c in unicodedata.normalize("NFKD", composed) if not unicodedata.combining(c))


def printable_ascii(text: str) -> str:
    """Text in printable ASCII: spelt out, and a question mark for every character that cannot be."""
    return "".join(c if " " <= c <= "~" else "?" for c in spelt_out(text))
