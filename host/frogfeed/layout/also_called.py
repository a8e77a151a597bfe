"""What people also call the things of a layout file, so that a finding can name the word that the file has for it."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

_TABLES = {
    "points": "turnout",
    "point": "turnout",
    "switch": "turnout",
    "switches": "turnout",
    "threeway": "three-way",
    "crossing": "diamond",
    "track": "place",
    "siding": "place",
    "servo": "drive",
    "supply": "district",
    "booster": "district",
    "line": "lines",
}

_CHOICES: Mapping[str, Mapping[str, str]] = {
    "make": {
        "plastic": "insulated-frog",
        "dead": "insulated-frog",
        "isolated": "insulated-frog",
        "metal": "live-frog",
        "electric": "live-frog",
    },
    "control": {"analog": "dc", "analogue": "dc", "digital": "dcc"},
    "kind": {"end": "buffer", "stop": "buffer", "dead-end": "buffer", "buffer-stop": "buffer", "manual": "hand"},
}


def table_meant(word: str) -> str | None:
    """The table for which `word` is another name."""
    return _TABLES.get(word.lower())


def choice_meant(key: str, word: str, choices: Iterable[str]) -> str | None:
    """The choice of `key` for which `word` is another name; a frog may be called by its first word alone."""
    other = _CHOICES.get(key, {})
    plain = word.strip().lower().replace("_", "-").replace(" ", "-")
    found = other.get(plain) or other.get(plain.removesuffix("-frog"))
    return found if found in tuple(choices) else None


def gauge_meant(word: str, gauges: Iterable[str]) -> str | None:
    """The gauge that is written with noughts in place of its O's, as many write it."""
    plain = word.strip().replace("0", "O").lower()
    return next((g for g in gauges if g.lower() == plain), None)
