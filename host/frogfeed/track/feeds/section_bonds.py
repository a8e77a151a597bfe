"""The wires that carry a switched section's feed to what it takes in: past gaps and untrusted joiners, round frogs."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence

from frogfeed.findings.finding import Location
from frogfeed.layout.schema import Hand
from frogfeed.track.feeds.zones import Zone
from frogfeed.track.network.model import Bond, BondKind, Contact, Joint, Road

BOTH = (Hand.LEFT, Hand.RIGHT)


def section_bonds(
    zone: Zone,
    own: Mapping[Hand, str],
    joints: Sequence[Joint],
    roads: Iterable[Road],
    bonds: Iterable[Bond],
    contacts: Iterable[Contact],
) -> list[Bond]:
    """Bonds for one section; `own` has its place's rails, left and right looking in at its end a.

    One wire serves all that conduct to its far end for good. A conductor that lies under both hands (a frog) gets none,
    nor one that a blade feeds and no gap parts off.
    """
    if len({piece for piece, _ in zone.hands}) == 1:
        return []
    inside = [j for j in joints if j.a in zone.hands and j.b in zone.hands]
    doubtful = [
        (pair, j.at)
        for j in inside
        for hand, pair in zip(BOTH, (j.left, j.right), strict=True)
        if hand in j.gaps | j.untrusted
    ]
    serving = _Serving(zone, roads, bonds)
    for rail in own.values():
        serving.served |= serving.conductor(rail)
    while any(
        serving.bond(one, other, at)
        for (a, b), at in doubtful
        for one, other in ((a, b), (b, a))
        if one in serving.served and other not in serving.served
    ):
        pass
    # What is left lies beyond a frog, which is no way for the section's feed: a wire from the place itself.
    by_blade = {rail for c in contacts for rail in (c.a, c.b)}
    parted = {rail for pair, _ in doubtful for rail in pair}
    for j in joints:
        for end, k in ((j.a, 0), (j.b, 1)):
            for rail in (j.left[k], j.right[k]) if end in zone.hands else ():
                hand = serving.hand(rail)
                if rail in serving.served or hand is None:
                    continue
                if rail in parted or not serving.conductor(rail) & by_blade:
                    serving.bond(own[hand], rail, j.at)
    return serving.found


class _Serving:
    """What of a section is served so far, and by which bonds."""

    def __init__(self, zone: Zone, roads: Iterable[Road], bonds: Iterable[Bond]) -> None:
        self.served: set[str] = set()
        self.found: list[Bond] = []
        self._near: dict[str, list[str]] = {}
        for bond in bonds:
            if bond.kind is not BondKind.UNTRUSTED:
                self._near.setdefault(bond.a, []).append(bond.b)
                self._near.setdefault(bond.b, []).append(bond.a)
        self._lies: dict[str, set[Hand]] = {}
        members = {piece for piece, _ in zone.hands}
        for r in roads:
            first = zone.hands.get((r.piece, r.start))
            if first is None and r.piece in members:
                # The other track of a diamond: what both tracks pass is a crossing, and none of the section's.
                for rail in (*r.left, *r.right):
                    self._lies.setdefault(rail, set()).update(BOTH)
            elif first is not None:
                for under, hand in ((r.left, first), (r.right, first.other)):
                    for rail in under:
                        self._lies.setdefault(rail, set()).add(hand)

    def conductor(self, rail: str) -> set[str]:
        """The rail with all that conduct to it for good."""
        found = {rail}
        todo = [rail]
        while todo:
            fresh = [x for x in self._near.get(todo.pop(), ()) if x not in found]
            found.update(fresh)
            todo += fresh
        return found

    def hand(self, rail: str) -> Hand | None:
        """With which of the place's rails the rail's conductor goes; None where it goes with both or with neither."""
        hands = {h for x in self.conductor(rail) for h in self._lies.get(x, ())}
        return hands.pop() if len(hands) == 1 else None

    def bond(self, served: str, rail: str, at: Location) -> bool:
        """Bond a rail to one that is served, unless it is a frog's; whether it was."""
        if self.hand(rail) is None:
            return False
        self.served |= self.conductor(rail)
        self.found.append(Bond(served, rail, BondKind.SECTION, at))
        return True
