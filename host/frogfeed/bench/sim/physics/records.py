"""What the bench saw, kept until it is asked for, or passed on at once."""

if False:
    from collections.abc import Callable, Iterable
    from typing import Any

QUIET = ("edge",)
"""Kinds that are only kept when asked for."""


class Records:
    """A list of records: plain dictionaries with `e` (the kind) and `t` (microseconds), oldest first.

    `sink`, where given, gets every record at once instead of it being kept.
    """

    def __init__(self, sink: "Callable[[dict[str, Any]], None] | None" = None, drop: "Iterable[str]" = ()) -> None:
        self.kept: "list[dict[str, Any]]" = []
        self.sink = sink
        self.drop = set(drop)
        self.counts: "dict[str, int]" = {}

    def put(self, kind: str, time_us: int, **facts: "Any") -> None:
        """Add one record."""
        self.counts[kind] = self.counts.get(kind, 0) + 1
        if kind in self.drop:
            return
        facts["e"] = kind
        facts["t"] = time_us
        if self.sink is None:
            self.kept.append(facts)
        else:
            self.sink(facts)

    def take(self) -> "list[dict[str, Any]]":
        """The records kept so far; they are kept no longer."""
        kept = self.kept
        self.kept = []
        return kept
