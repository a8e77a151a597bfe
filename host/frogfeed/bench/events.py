"""What the bench saw, as the host keeps it."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from typing import Any

BAD = ("spark", "dead-wheel", "loco-lost", "rule")
"""Kinds of events that a railway in order never shows."""


@dataclass(frozen=True, slots=True)
class Event:
    """One thing seen: its kind, when (microseconds since power-on), by or at which board ("" for the track), facts."""

    kind: str
    t_us: int
    board: str
    facts: Mapping[str, Any]

    def __str__(self) -> str:
        facts = " ".join(f"{k}={v}" for k, v in self.facts.items())
        return f"{self.t_us / 1e6:12.6f} s  {self.board or 'track':8} {self.kind:11} {facts}"


class Log:
    """All events of a run, oldest first as far as the boards report them in turn."""

    def __init__(self) -> None:
        self._events: list[Event] = []

    def add(self, record: Mapping[str, Any], board: str) -> Event:
        """Keep one record of the physics."""
        facts = {k: v for k, v in record.items() if k not in ("e", "t")}
        event = Event(record["e"], record["t"], board, facts)
        self._events.append(event)
        return event

    def __len__(self) -> int:
        return len(self._events)

    def __iter__(self) -> Iterator[Event]:
        return iter(self._events)

    def of(self, *kinds: str, since_us: int = 0) -> list[Event]:
        """The events of these kinds, from a time on."""
        return [e for e in self._events if e.kind in kinds and e.t_us >= since_us]

    def where(self, kind: str, **facts: Any) -> list[Event]:
        """The events of a kind with these facts."""
        return [e for e in self.of(kind) if all(e.facts.get(k) == v for k, v in facts.items())]

    def sorted(self, kinds: Iterable[str] = ()) -> list[Event]:
        """By time; all of them, or those of some kinds."""
        wanted = set(kinds)
        return sorted((e for e in self._events if not wanted or e.kind in wanted), key=lambda e: e.t_us)
