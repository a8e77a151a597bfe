"""Return loops and switched sections in words: where a reversing section goes, what is wrong with one that is there."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from frogfeed.findings.finding import Finding
from frogfeed.layout.drives import SELECTOR
from frogfeed.layout.model import Layout
from frogfeed.layout.schema import Control
from frogfeed.track.explain.phrases import list_of, told, when_text
from frogfeed.track.feeds.tables import MOST_DRIVES
from frogfeed.track.network.model import RailNetwork, SwitchedFeed
from frogfeed.track.routes.return_loops import ReturnLoop
from frogfeed.track.routes.reversing import ReversingSection, reversing_section
from frogfeed.track.solver.solver import Solver

LOOPS_SOLVED = 4
"""So many loops are told which section cures them; each takes an assembly or more, and one cure may end several."""


def loop_findings(layout: Layout, network: RailNetwork, loops: Iterable[ReturnLoop]) -> Iterator[Finding]:
    """Return loops, each with the section that cures it."""
    for i, loop in enumerate(loops):
        section = reversing_section(layout, network, loop) if i < LOOPS_SOLVED else None
        cure = "Cure the loops above first, and check again." if i >= LOOPS_SOLVED else _loop_cure(section)
        if layout.file.layout.control is Control.DC:
            cure += " On DC reverse the main's controller while the train is inside; the section never flips under it."
        first = loop.pieces[0]
        yield told(
            "return-loop",
            first,
            f"The track comes back to itself turned round, through {list_of(loop.pieces)}.",
            "Left rail meets right rail: conducting, it is a dead short; with gaps, each train shorts at one of them.",
            cure,
            network.pieces[first].at,
            path=tuple(f"{p}.{e}" for p, e in loop.ends),
        )


def _loop_cure(section: ReversingSection | None) -> str:
    if section is None:
        return (
            "Name a stretch of plain track on the loop as a place, longer than every vehicle that conducts, "
            'insulate both rails at both its ends and give it feed = "switched".'
        )
    p = section.place
    if not section.takes_in:
        return (
            f'Make {p} a reversing section: insulated joiners in both rails at both its ends, feed = "switched" in '
            f"[place.{p}], and no dropper of its own. It must be longer than every vehicle that conducts."
        )
    names = ", ".join(f'"{x}"' for x in section.takes_in)
    return (
        f"Make {p} and {list_of(section.takes_in)} one reversing section: insulated joiners in both rails wherever "
        f'other track joins it, none within it, feed = "switched" and takes_in = [{names}] in [place.{p}], and no '
        "dropper in it. It must be longer than every vehicle that conducts."
    )


def section_findings(layout: Layout, network: RailNetwork) -> Iterator[Finding]:
    """What is to be said of each switched place: what it takes in, whether a reversing one is long enough, and DC."""
    places = layout.file.place
    for place, apart in network.apart.items():
        yield told(
            "section-apart",
            place,
            f"The section {place} takes in {list_of(apart)}, which it does not touch.",
            "A switched feed reaches what its rails are joined to, and nothing else.",
            "Take in what lies between as well, or leave it out.",
            layout.at("place", place, "takes_in"),
        )
    seen: set[str] = set()
    for s in network.switched:
        sides = {network.wires[row.wire].side for row in s.rows}
        if s.piece not in places or len(sides) < 2 or s.piece in seen:
            continue
        seen.add(s.piece)
        yield from _length(layout, s)
        if layout.file.layout.control is Control.DC:
            yield told(
                "reversing-dc",
                s.piece,
                f"Throwing {list_of(s.drives)} changes the polarity of the section {s.piece}, also under a train.",
                "On DC a moving train would reverse on the spot; wheels and gears suffer.",
                "Stop inside the section with the controller at zero, throw, reverse the controller, then go on.",
                s.at,
                path=(s.rail,),
            )


def _length(layout: Layout, s: SwitchedFeed) -> Iterator[Finding]:
    """A reversing section must hold every vehicle that conducts from end to end."""
    length = layout.file.place[s.piece].length_mm
    vehicle = layout.file.layout.longest_conducting_vehicle_mm
    why = "A vehicle that stands in both gaps at once joins the section to the main at both ends: a short."
    if length is not None and vehicle is not None and length < vehicle:
        yield told(
            "section-short",
            s.piece,
            f"The section {s.piece} is {length:g} mm long, shorter than the longest vehicle that conducts "
            f"({vehicle:g} mm).",
            why,
            "Move the gaps farther apart, or keep that vehicle away.",
            s.at,
            path=(s.rail,),
        )
    elif length is None or vehicle is None:
        known = {f"length_mm of {s.piece}": length, "longest_conducting_vehicle_mm": vehicle}
        lacks = [word for word, value in known.items() if value is None]
        yield told(
            "section-length-unknown",
            s.piece,
            f"Whether the reversing section {s.piece} holds every vehicle that conducts is not known.",
            why,
            f"State {list_of(lacks)}, and this is decided.",
            s.at,
            path=(s.rail,),
        )


def joined_outputs(solver: Solver) -> Iterator[Finding]:
    """Switched outputs that feed one conductor."""
    for joined in solver.joined_outputs():
        a, b, way = joined.a, joined.b, joined.path
        yield told(
            "outputs-joined",
            a.piece,
            f"{a.output} and {b.output} feed one conductor, by way of {way[0]} and {way[-1]}.",
            "Two relays never move in the same millisecond: each changeover is a short through both, and a trip of "
            "one leaves the other feeding.",
            "Insulate the rail between them; or let one of them feed both: a section takes in what its place names in "
            "takes_in.",
            a.at,
            path=way,
        )


def undecided_findings(layout: Layout, network: RailNetwork) -> Iterator[Finding]:
    """Settings at which no drive says which road is set; the rails of one section are one finding."""
    places = layout.file.place
    seen: set[str] = set()
    for s in network.switched:
        if not s.undecided or s.piece in seen:
            continue
        inside = s.piece in places
        if inside:
            seen.add(s.piece)
        if len(s.drives) > MOST_DRIVES:
            yield _too_many(s)
            continue
        yield told(
            "undecided",
            s.piece,
            f"No setting decides what {s.piece if inside else s.output} must carry"
            + (f" {when_text(s.undecided[0])}: " if s.undecided[0] else ": at every setting ")
            + ("it is set to two sides at once that differ." if inside else "two roads are set at once."),
            "The feed stays off there, so "
            + ("a train stalls" if inside else "the frog is dead")
            + (" until the other drives choose." if s.undecided[0] else " whatever is set."),
            _deciding(layout, s.piece, always=not s.undecided[0]),
            s.at,
            s.undecided[0],
            (s.rail,),
        )


def _too_many(s: SwitchedFeed) -> Finding:
    """A table that was not attempted."""
    return told(
        "undecided",
        s.piece,
        f"What {s.output} must carry hangs on {len(s.drives)} drives; a table over more than {MOST_DRIVES} is not "
        "attempted.",
        "The feed stays off at all settings, so a train stalls there.",
        f"Let {s.piece} begin nearer to where it is used: take in fewer pieces, or feed some of them with droppers.",
        s.at,
        s.undecided[0],
        (s.rail,),
    )


def _deciding(layout: Layout, piece: str, always: bool) -> str:
    """What can decide between two roads that are set at once, or that no turnout chooses between (`always`)."""
    cure = "Throw one of the turnouts on either side away from it, so that only one road is set"
    file = layout.file
    names = {"diamond": set(file.diamond), "slip": set(file.slip), "place": set(file.place)}
    table = next((name for name, members in names.items() if piece in members), None)
    if table is None or getattr(file.members()[piece], SELECTOR, None) is not None:
        return f"{cure}."
    give = "Give" if always else f"{cure}; or give"
    return (
        f'{give} {piece} a selector input: selector = "S" in [{table}.{piece}], with [drive.S] of '
        'kind = "hand" for a switch on the panel.'
    )
