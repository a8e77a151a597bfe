"""How lists and conditions are said in a sentence, and how sentences become a finding of the track."""

from __future__ import annotations

from collections.abc import Iterable

from frogfeed.findings.codes import info
from frogfeed.findings.finding import Finding, Location
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


def told(
    code: str,
    subject: str,
    what: str,
    why: str,
    cure: str,
    where: Location | None,
    when: Term | None = None,
    path: tuple[str, ...] = (),
) -> Finding:
    """A finding of this code's own severity; `when` are settings that show it, `path` the rails it goes by."""
    witness = None if when is None else dict(when)
    return Finding(code, info(code).severity, subject, what, why, cure, where, witness, path)
