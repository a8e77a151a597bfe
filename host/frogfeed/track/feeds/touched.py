"""Which switched rails a blade joins to something else as it moves: what feeds them must be off in between."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from frogfeed.track.network.model import Bond, Contact


def touched(rails: Iterable[str], bonds: Iterable[Bond], contacts: Sequence[Contact]) -> frozenset[str]:
    """Those of the rails whose conductor a blade contact joins to another one at some settings."""
    if not contacts:
        return frozenset()
    up: dict[str, str] = {}

    def find(rail: str) -> str:
        while (above := up.get(rail, rail)) != rail:
            up[rail] = up.get(above, above)
            rail = up[rail]
        return rail

    for b in bonds:
        up[find(b.a)] = find(b.b)
    by_blade = {end for c in contacts if find(c.a) != find(c.b) for end in (find(c.a), find(c.b))}
    return frozenset(r for r in rails if find(r) in by_blade)
