"""Square codes for labels and cards: the text itself, so that any reader shows it without a network."""

from __future__ import annotations

from functools import cache

import segno

from frogfeed.sheets.drawing import Modules

QUIET = 2
"""Light modules kept around a code; the label's own paper gives the rest."""


def square_code(text: str, x: float, y: float, size: float) -> Modules:
    """The code of a text, `size` mm wide with its quiet edge."""
    return Modules(x, y, size, _rows(text))


@cache
def _rows(text: str) -> tuple[str, ...]:
    matrix = segno.make(text, error="l", micro=False).matrix
    rows = ["".join("1" if m else "0" for m in row) for row in matrix]
    side = "0" * QUIET
    blank = "0" * (len(rows) + 2 * QUIET)
    return tuple([blank] * QUIET + [side + r + side for r in rows] + [blank] * QUIET)
