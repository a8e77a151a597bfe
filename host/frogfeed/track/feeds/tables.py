"""Decision tables: what a switched rail must carry at each setting, derived from roads, with the fewest drives."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from itertools import combinations, product
from typing import TypeVar

from frogfeed.track.network.conditions import Term, When, holds

MOST_DRIVES = 12
"""Tables over more drives than this are not attempted; no layout met so far needs more than eight."""

T = TypeVar("T")

Settings = Mapping[str, Sequence[str]]


@dataclass(frozen=True, slots=True)
class Decision:
    """A finished table: disjoint terms by wire, the drives it uses, and the settings that stay undecided."""

    rows: tuple[tuple[str, When], ...]
    drives: tuple[str, ...]
    undecided: When


class TooManyDrivesError(ValueError):
    """A table would need more drives than MOST_DRIVES."""


OFF = ""
"""A value that says: this output must be off here."""


def drives_in(*conditions: When) -> tuple[str, ...]:
    """The drives that these conditions name, sorted."""
    return tuple(sorted({d for when in conditions for t in when for d, _ in t}))


def exclusive(
    conditions: Sequence[When],
    settings: Settings,
    foul: Callable[[int, int], bool],
    preferences: Sequence[Sequence[When]] = (),
) -> tuple[list[When], list[When], When]:
    """Each condition where none that it fouls counts too; where it counts; and where two that foul count at once.

    All are disjoint terms.

    Of conditions that foul each other and hold at once only those count that the first of the `preferences` (one
    condition for each) holds for too; of what still fouls, those that the next one does.
    """
    drives = drives_in(*conditions, *(when for preference in preferences for when in preference))

    def counting(s: Mapping[str, str]) -> list[int]:
        held = [i for i, c in enumerate(conditions) if holds(c, s)]
        for preference in preferences:
            held = [i for i in held if holds(preference[i], s) or not any(i != j and foul(i, j) for j in held)]
        return held

    table = tabulate(drives, settings, counting)
    fouled = {k: {i for i in held for j in held if i != j and foul(i, j)} for k, held in table.items()}
    each = range(len(conditions))
    alone = [
        as_when({k: i in held and i not in fouled[k] for k, held in table.items()}, drives, settings) for i in each
    ]
    counted = [as_when({k: i in held for k, held in table.items()}, drives, settings) for i in each]
    return alone, counted, as_when({k: bool(f) for k, f in fouled.items()}, drives, settings)


def tabulate(
    drives: Sequence[str], settings: Settings, value: Callable[[Mapping[str, str]], T]
) -> dict[tuple[str, ...], T]:
    """`value` at every combination of the settings of these drives."""
    if len(drives) > MOST_DRIVES:
        raise TooManyDrivesError(f"{len(drives)} drives decide one table; more than {MOST_DRIVES} are not attempted")
    return {combo: value(dict(zip(drives, combo, strict=True))) for combo in product(*(settings[d] for d in drives))}


def as_when(table: Mapping[tuple[str, ...], bool], drives: Sequence[str], settings: Settings) -> When:
    """A truth table as disjoint terms (a decision tree's leaves)."""
    return tuple(t for t, v in _leaves(table, drives, settings, ()) if v)


def decide(
    drives: Sequence[str],
    settings: Settings,
    value: Callable[[Mapping[str, str]], str | None],
    undecided: When = (),
) -> Decision:
    """The table of `value` (a wire, OFF, or None for don't-care) over the fewest drives that decide it."""
    full = tabulate(drives, settings, value)
    kept = _fewest(full, drives)
    index = [drives.index(d) for d in kept]
    small: dict[tuple[str, ...], str | None] = {}
    for combo, v in full.items():
        key = tuple(combo[i] for i in index)
        if v is not None or key not in small:
            small[key] = v if v is not None else small.get(key)
    rows: dict[str, list[Term]] = {}
    for t, v in _leaves(small, kept, settings, ()):
        if v:
            rows.setdefault(v, []).append(t)
    return Decision(tuple(sorted((w, tuple(ts)) for w, ts in rows.items())), tuple(kept), undecided)


def _fewest(full: Mapping[tuple[str, ...], str | None], drives: Sequence[str]) -> list[str]:
    """The smallest set of drives that tells all wanted values apart; the first by name among equals."""
    wanted = [(combo, v) for combo, v in full.items() if v is not None]
    for n in range(len(drives) + 1):
        for chosen in combinations(range(len(drives)), n):
            seen: dict[tuple[str, ...], str] = {}
            if all(seen.setdefault(tuple(c[i] for i in chosen), v) == v for c, v in wanted):
                return [drives[i] for i in chosen]
    raise AssertionError("all drives together always decide")


def _leaves(
    table: Mapping[tuple[str, ...], T | None], drives: Sequence[str], settings: Settings, fixed: Term
) -> list[tuple[Term, T]]:
    """Split by one drive after the other until all wanted values agree; empty leaves are left out."""
    values = {v for v in table.values() if v is not None}
    if not values:
        return []
    if len(values) == 1:
        return [(tuple(sorted(fixed)), values.pop())]
    best: list[tuple[Term, T]] | None = None
    for i, drive in enumerate(drives):
        rest = [d for d in drives if d != drive]
        leaves: list[tuple[Term, T]] = []
        for s in settings[drive]:
            sub = {c[:i] + c[i + 1 :]: v for c, v in table.items() if c[i] == s}
            leaves += _leaves(sub, rest, settings, (*fixed, (drive, s)))
        if best is None or len(leaves) < len(best):
            best = leaves
        if len(drives) > 4:
            break
    return best or []
