"""The state that every page sees: entries in sections, each with the version at which it last changed."""

from __future__ import annotations

import asyncio
from collections import OrderedDict
from typing import Any


class Store:
    """Used from one event loop. Values are plain JSON; None takes an entry away."""

    def __init__(self) -> None:
        self.version = 0
        self._values: OrderedDict[tuple[str, str], tuple[int, Any]] = OrderedDict()
        self._changed = asyncio.Event()

    def put(self, section: str, key: str, value: Any) -> bool:
        """Set an entry; False where it is so already."""
        old = self._values.get((section, key))
        if (old is None and value is None) or (old is not None and old[1] == value):
            return False
        self.version += 1
        self._values[(section, key)] = (self.version, value)
        self._values.move_to_end((section, key))
        self._changed.set()
        return True

    def get(self, section: str, key: str) -> Any:
        """An entry's value, or None."""
        return self._values.get((section, key), (0, None))[1]

    def section(self, section: str) -> dict[str, Any]:
        """All entries of a section."""
        return {k: v for (s, k), (_, v) in self._values.items() if s == section and v is not None}

    def clear(self, section: str) -> None:
        """Take all entries of a section away."""
        for key in list(self.section(section)):
            self.put(section, key, None)

    def since(self, version: int) -> dict[str, dict[str, Any]]:
        """What changed after a version, by section; entries that went away are None."""
        found: dict[str, dict[str, Any]] = {}
        for (section, key), (at, value) in reversed(self._values.items()):
            if at <= version:
                break
            if value is not None or version:
                found.setdefault(section, {})[key] = value
        return found

    async def changed(self, version: int) -> None:
        """Wait until something has changed after a version."""
        while self.version <= version:
            self._changed.clear()
            await self._changed.wait()
