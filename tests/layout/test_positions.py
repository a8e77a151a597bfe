"""Every key and value of any TOML document is found at its place."""

from __future__ import annotations

import tomllib
from typing import Any

import tomlkit
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from frogfeed.layout.positions import Positions, positions

TEXT = """\
# a comment
top.'dotted key'."x" = 1
[layout]
name = "ä"   # é
list = [ 1, # one
  [2, 3], { a = { b = "c" } },
]
[place."A place"]
kind = 'b'
[[accept]]
code = "x"
[accept.more]
y = 1
[[accept]]
code = "ü"
"""


def at(found: Positions, *path: str | int) -> tuple[int, int]:
    where = found[path]
    return where.line, where.column


def test_by_example() -> None:
    found = positions(TEXT, "x.toml")
    assert at(found, "top", "dotted key", "x") == (2, 24)
    assert at(found, "top") == (2, 1)
    assert at(found, "layout") == (3, 2)
    assert at(found, "layout", "name") == (4, 8)
    assert at(found, "layout", "list", 0) == (5, 10)
    assert at(found, "layout", "list", 1, 1) == (6, 7)
    assert at(found, "layout", "list", 2, "a", "b") == (6, 23)
    assert at(found, "place", "A place") == (8, 8)
    assert at(found, "accept", 0, "more", "y") == (13, 5)
    assert at(found, "accept", 1, "code") == (15, 8)
    key = found.key(("layout", "list", 2, "a"))
    assert key is not None and (key.line, key.column) == (6, 13)
    assert found.key(("nothing",)) is None
    nearest = found.nearest(("layout", "list", 7, "a"))
    assert (nearest.line, nearest.column) == (5, 8)
    assert found.nearest(("nothing",)).line == 1


KEYS = st.text(st.characters(codec="utf-8", exclude_categories=["Cs", "Cc"]), min_size=1, max_size=5)
SCALARS = (
    st.booleans()
    | st.integers(-(2**62), 2**62)
    | st.floats(allow_nan=False)
    | st.text(st.characters(codec="utf-8", exclude_categories=["Cs", "Cc"]), max_size=8)
    | st.dates()
)
TREES: st.SearchStrategy[dict[str, Any]] = st.dictionaries(
    KEYS,
    st.recursive(
        SCALARS,
        lambda inner: st.lists(inner, max_size=3) | st.dictionaries(KEYS, inner, max_size=3),
        max_leaves=8,
    ),
    max_size=4,
)


def leaves(value: Any, path: tuple[str | int, ...] = ()) -> list[tuple[tuple[str | int, ...], Any]]:
    if isinstance(value, dict):
        return [leaf for key, inner in value.items() for leaf in leaves(inner, (*path, key))]
    if isinstance(value, list):
        return [leaf for i, inner in enumerate(value) for leaf in leaves(inner, (*path, i))]
    return [(path, value)]


def stands_there(text: str, line: int, column: int, value: Any) -> bool:
    """Whether the text from a place on begins with a TOML value that is this one."""
    rest = text.split("\n")[line - 1][column - 1 :]
    for end in range(len(rest), 0, -1):
        try:
            if tomllib.loads(f"x = {rest[:end]}")["x"] == value:
                return True
        except ValueError:
            continue
    return False


@settings(max_examples=200, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(TREES)
def test_every_value_stands_at_its_place(tree: dict[str, Any]) -> None:
    text = tomlkit.dumps(tree)
    found = positions(text, "x.toml")
    for path, value in leaves(tomllib.loads(text)):
        where = found[path]
        assert stands_there(text, where.line, where.column, value), (path, where)
        if isinstance(path[-1], str):
            key = found.key(path)
            assert key is not None and key.line == where.line and key.column < where.column
