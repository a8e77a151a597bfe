"""Where a reversing section can go on a return loop, and which of the ways leaves no setting undecided.

Three shapes are tried, the smallest first: a stretch of plain track on the loop; the tail in which a train on a
triangle changes direction, with the turnout before it; and all that lies beyond the one turnout by which a loop is
entered.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace

from frogfeed.layout.model import Layout
from frogfeed.layout.schema import Place, PlaceKind
from frogfeed.track.assembly.assemble import assemble
from frogfeed.track.network.approaches import Approaches
from frogfeed.track.network.model import End, RailNetwork
from frogfeed.track.routes.return_loops import ReturnLoop, return_loops


@dataclass(frozen=True, slots=True)
class ReversingSection:
    """A place to be given a switched feed, and what it takes in beside itself."""

    place: str
    takes_in: tuple[str, ...]


def with_section(layout: Layout, section: ReversingSection) -> Layout:
    """The layout with this section switched; its gaps are not put in."""
    places = layout.file.place
    now = places[section.place].model_copy(update={"feed": "switched", "takes_in": section.takes_in})
    return replace(layout, file=layout.file.model_copy(update={"place": {**places, section.place: now}}))


TRIED = 16
"""So many sections are tried for one loop: each takes an assembly of the whole railway."""


def reversing_section(layout: Layout, network: RailNetwork, loop: ReturnLoop) -> ReversingSection | None:
    """The section, of those with every setting decided, that leaves the fewest loops here; the first of equals.

    Failing that, the stretch of plain track that leaves the fewest: a selector can decide for it. None where no place
    is long enough for the longest vehicle that conducts.
    """
    fitting = [s for s in _candidates(layout.file.place, network, loop) if _long_enough(layout, s)]
    best, fewest = None, _loops_at(layout, network, loop)
    plain: dict[int, ReversingSection] = {}
    for section in fitting[:TRIED]:
        tried = assemble(with_section(layout, section), feeds_to_come=True)
        left = _loops_at(layout, tried, loop)
        if not section.takes_in:
            plain.setdefault(left, section)
        if left < fewest and _decided(tried, {section.place, *section.takes_in}):
            best, fewest = section, left
            if not left:
                break
    return best or (plain[min(plain)] if plain else None)


def _decided(network: RailNetwork, inside: set[str]) -> bool:
    """Whether every setting decides what the section and the frogs in it carry."""
    fed = {f.rail for f in network.feeds} | {s.rail for s in network.switched if s.rows and not s.undecided}
    return all(s.rails[0] in fed for s in network.sections if s.piece in inside)


def _loops_at(layout: Layout, network: RailNetwork, loop: ReturnLoop) -> int:
    """How many return loops pass a piece of this one."""
    pieces = set(loop.pieces)
    return sum(1 for x in return_loops(network, frozenset(layout.file.place)) if pieces.intersection(x.pieces))


def _long_enough(layout: Layout, section: ReversingSection) -> bool:
    needed = layout.file.layout.longest_conducting_vehicle_mm or 0.0
    return (layout.file.place[section.place].length_mm or needed) >= needed


def _candidates(places: Mapping[str, Place], network: RailNetwork, loop: ReturnLoop) -> Iterator[ReversingSection]:
    taken = {piece for piece, _ in network.section_of}
    free = [p for p in loop.places if p not in taken]
    for place in sorted(free, key=lambda p: (-(places[p].length_mm or 0.0), p)):
        yield ReversingSection(place, ())
    approaches = Approaches(network.joints, network.roads)
    turns = [end for end in _turns(loop) if approaches.across(end) not in loop.ends and _passed_by_all(network, end)]
    tails = [
        (there[0], end[0])
        for end in turns
        if (there := approaches.across(end)) is not None
        and there[0] in places
        and not taken.intersection((there[0], end[0]))
        and _stub(places, approaches, there)
    ]
    for place, turnout in sorted(tails, key=lambda t: (-(places[t[0]].length_mm or 0.0), t)):
        yield ReversingSection(place, (turnout,))
    for end in turns:
        beyond = _enclosed(network, loop, end)
        inside = [p for p in free if p in beyond]
        if inside and not beyond & taken:
            place = max(inside, key=lambda p: (places[p].length_mm or 0.0, p))
            yield ReversingSection(place, tuple(sorted(beyond - {place})))


def _turns(loop: ReturnLoop) -> list[End]:
    """The ends at which a train that goes round has to change direction: it comes out there and goes in again."""
    ends = loop.ends
    n = len(ends)
    return [ends[i] for i in range(n) if n > 2 and ends[i - 1][0] == ends[i][0] == ends[(i + 1) % n][0]]


def _passed_by_all(network: RailNetwork, end: End) -> bool:
    """Whether every road of the piece uses this end, as with the toe of a turnout."""
    return all(end[1] in (r.start, r.end) for r in network.roads if r.piece == end[0])


def _stub(places: Mapping[str, Place], approaches: Approaches, end: End) -> bool:
    """Whether a place that is entered by this end leads no farther within the file."""
    place = places[end[0]]
    far = (end[0], "b" if end[1] == "a" else "a")
    return place.kind is not PlaceKind.SECTION or approaches.across(far) is None


def _enclosed(network: RailNetwork, loop: ReturnLoop, turn: End) -> set[str]:
    """What can be reached from the loop without passing the piece of this end; empty where that leads out of it."""
    near: dict[str, set[str]] = {}
    for j in network.joints:
        near.setdefault(j.a[0], set()).add(j.b[0])
        near.setdefault(j.b[0], set()).add(j.a[0])
    outside = {j.b[0] if j.a == turn else j.a[0] for j in network.joints if turn in (j.a, j.b)}
    found = {p for p in loop.pieces if p != turn[0]}
    todo = list(found)
    while todo:
        for there in near.get(todo.pop(), ()):
            if there != turn[0] and there not in found:
                found.add(there)
                todo.append(there)
    return set() if found & outside else found
