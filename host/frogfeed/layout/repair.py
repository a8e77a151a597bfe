"""Validation that goes on after the first mistake: what is wrong is reported and left out, and the rest is checked.

What is left out may be what another table refers to, so its name is kept as doubtful: nothing is concluded from it.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from pydantic import ValidationError

from frogfeed.layout.mistakes import Mistakes, nearest
from frogfeed.layout.positions import KeyPath
from frogfeed.layout.schema import LayoutFile
from frogfeed.layout.schema_errors import in_data, report

_NAMED = {"turnout", "three-way", "slip", "diamond", "piece", "place", "drive", "district", "board", "route"}
_DECISIVE = {
    "kind", "slip_road", "blades_move", "drive", "drive_left", "drive_right", "drive_a", "drive_b", "drives",
}  # fmt: skip
"""Keys without which nothing can be said of a piece's ends or drives."""
_ROUNDS = 8


@dataclass(frozen=True)
class Checked:
    """The file as far as it is valid. `doubtful` are names of which nothing may be concluded."""

    file: LayoutFile
    doubtful: frozenset[str]
    districts_known: bool
    lines_complete: bool


def validate(data: dict[str, Any], mistakes: Mistakes) -> Checked | None:
    """Validate the tables, report every mistake, and return what is left; None where too little is."""
    doubtful: set[str] = set()
    districts_known = lines_complete = True
    for turn in range(_ROUNDS):
        try:
            file = LayoutFile.model_validate(data)
        except ValidationError as error:
            if turn == 0:
                found = report(error, LayoutFile, data, (), mistakes)
                data = _copy(data)
            else:
                found = [(in_data(e["loc"], data, e["type"]), e["type"]) for e in error.errors(include_url=False)]
            for path, kind in sorted(set(found), key=lambda f: -len(f[0])):
                if path[:1] == ("district",):
                    districts_known = districts_known and len(path) > 2
                if path[:1] == ("lines",):
                    lines_complete = False
                if len(path) == 1 and kind == "extra_forbidden":
                    # A misspelt table: what it declares is not missing.
                    lines_complete = False
                    inside = data.get(str(path[0]))
                    doubtful |= set(inside) if isinstance(inside, dict) else set()
                if len(path) >= 2 and path[0] in _NAMED and (len(path) == 2 or _decides(path, kind)):
                    doubtful.add(str(path[1]))
                _mend(data, path, kind, doubtful)
        else:
            return Checked(file, frozenset(doubtful), districts_known, lines_complete)
    return None


def _decides(path: KeyPath, kind: str) -> bool:
    """Whether the key at fault, or the one it was meant to be, decides what ends and drives a piece or place has."""
    key = str(path[2])
    return key in _DECISIVE or (kind == "extra_forbidden" and nearest(key, _DECISIVE) is not None)


def _copy(value: Any) -> Any:
    if isinstance(value, dict):
        return {k: _copy(v) for k, v in value.items()}
    return [_copy(v) for v in value] if isinstance(value, list) else value


_STAND_INS: dict[KeyPath, Any] = {
    ("layout",): {"name": "?", "gauge": "?", "control": "dc"},
    ("layout", "name"): "?",
    ("layout", "gauge"): "?",
    ("layout", "control"): "dc",
    ("district",): {},
}


def _mend(data: dict[str, Any], path: KeyPath, kind: str, doubtful: set[str]) -> None:
    """Make the data valid at one path: fill in what is missing at the top, leave out what is wrong elsewhere."""
    if path in _STAND_INS:
        here: Any = data
        for part in path[:-1]:
            here = here.get(part) if isinstance(here, dict) else None
        if isinstance(here, dict):
            here[path[-1]] = _copy(_STAND_INS[path])
        return
    cut = path[:-1] if kind == "missing" else path
    while cut:
        parent: Any = data
        try:
            for part in cut[:-1]:
                parent = parent[part]
            if isinstance(parent, dict):
                del parent[cut[-1]]
                break
            cut = cut[:-1]
        except (KeyError, IndexError, TypeError):
            return
    if len(cut) == 2 and cut[0] in _NAMED:
        doubtful.add(str(cut[1]))
