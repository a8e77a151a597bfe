"""Which settings lead a train to an end: the first pieces with a drive met on the way out decide."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence

from frogfeed.track.network.conditions import ALWAYS, When, both, either
from frogfeed.track.network.model import End, EndSide, Joint, Road


class Approaches:
    """Looks outward from ends of pieces, across joints and plain track, to the next decision."""

    def __init__(self, joints: Iterable[Joint], roads: Iterable[Road]) -> None:
        self._across: dict[End, End] = {}
        for j in joints:
            self._across[j.a] = j.b
            self._across[j.b] = j.a
        self._through: dict[End, list[tuple[Road, End]]] = {}
        for r in roads:
            self._through.setdefault((r.piece, r.start), []).append((r, (r.piece, r.end)))
            if r.end:
                self._through.setdefault((r.piece, r.end), []).append((r, (r.piece, r.start)))
        self._known: dict[End, When] = {}

    def across(self, end: End) -> End | None:
        """The end that this end is joined to."""
        return self._across.get(end)

    def roads(self, end: End) -> Sequence[tuple[Road, End]]:
        """The roads that use this end, each with the end to which it leads; "" is a buffer or an open end."""
        return self._through.get(end, ())

    def outward(self, end: End) -> When:
        """When the track beyond this end is set towards it; always, where it ends without a decision."""
        known = self._known.get(end)
        if known is None:
            known = self._known[end] = self._look(end)
        return known

    def _look(self, end: End) -> When:
        seen = {end}
        while True:
            there = self._across.get(end)
            if there is None:
                return ALWAYS
            through = self._through.get(there, ())
            if len(through) == 1 and through[0][0].when == ALWAYS:
                end = through[0][1]
                if not end[1] or end in seen:
                    return ALWAYS
                seen.add(end)
                continue
            found: When = ()
            for road, _ in through:
                found = either(found, road.when)
            return found

    def through(self, end: End) -> When:
        """When the track beyond this end is set towards it and on to the decision after the first."""
        there = self.decision(end)
        if there is None:
            return ALWAYS
        found: When = ()
        for road, far in self._through.get(there, ()):
            beyond = self.outward(far) if far[1] else ALWAYS
            found = either(found, both(road.when, beyond))
        return found

    def decision(self, end: End) -> End | None:
        """The end of the piece with a drive that is met first beyond this end."""
        seen = {end}
        while True:
            there = self._across.get(end)
            if there is None:
                return None
            through = self._through.get(there, ())
            if len(through) == 1 and through[0][0].when == ALWAYS:
                end = through[0][1]
                if not end[1] or end in seen:
                    return None
                seen.add(end)
                continue
            return there

    def sides_beyond(self, end: End, sides: Mapping[End, EndSide]) -> EndSide | None:
        """What the track beyond `end` carries, as seen looking into `end`.

        Follows plain track outward, where left stays left, to the first end that a dropper labels.
        """
        seen = {end}
        while (there := self._across.get(end)) is not None:
            if there in sides:
                return sides[there].turned()
            through = self._through.get(there, ())
            if len(through) != 1 or through[0][1] in seen:
                return None
            end = through[0][1]
            seen.add(end)
        return None


def end_when(roads: Iterable[Road]) -> Mapping[End, When]:
    """When a road that uses this end is set."""
    found: dict[End, When] = {}
    for r in roads:
        for end in (r.start, r.end):
            if end:
                key = (r.piece, end)
                found[key] = either(found[key], r.when) if key in found else r.when
    return found
