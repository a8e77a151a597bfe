"""How lists and conditions are said in a sentence."""

from __future__ import annotations

from collections.abc import Iterable

from frogfeed.track.network.conditions import Term


def list_of(names: Iterable[str]) -> str:
    """Names as a person lists them: "a", "a and b", "a, b and c"."""
    items = list(names)
    return items[0] if len(items) == 1 else f"{', '.join(items[:-1])} and {items[-1]}"


def some_of(names: Iterable[str], most: int = 6) -> str:
    """Names as `list_of` lists them, the last of many only counted: "a, b and 3 more" (never for the sake of one)."""
    items = list(names)
    return list_of(items if len(items) <= most + 1 else [*items[:most], f"{len(items) - most} more"])


def when_text(term: Term) -> str:
    """A term as a person says it: "when T1 is left and T2 is right"; "at every setting" for the empty one."""
    return "when " + list_of(f"{d} is {s}" for d, s in term) if term else "at every setting"
