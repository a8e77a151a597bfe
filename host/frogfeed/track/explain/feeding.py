"""Rails that no wire reaches, and rails that hang on a blade or a loose joiner, in words."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import replace
from functools import cached_property

from frogfeed.findings.finding import Finding
from frogfeed.layout.schema import Make
from frogfeed.track.explain.phrases import some_of, told, when_text
from frogfeed.track.explain.subjects import Subjects
from frogfeed.track.network.model import BondKind, RailNetwork
from frogfeed.track.solver.answers import Dead, Hangs
from frogfeed.track.solver.contract import Via


class FeedingWords:
    """Says what is dead and what hangs, and what feeds it for good."""

    def __init__(self, subjects: Subjects) -> None:
        self._subjects = subjects
        self._network = subjects.network
        self._layout = subjects.layout

    def dead(self, d: Dead) -> Finding | None:
        """Dead rails in three grades; None for a held rail that is no leg of anything (an open blade)."""
        rails = some_of(d.rails)
        subject = self._network.piece_of[d.rails[0]]
        is_are = "is" if len(d.rails) == 1 else "are"
        if d.never:
            return told(
                "never-fed",
                subject,
                f"{rails} {is_are} fed at no setting.",
                "Every loco stops here, and no throw of any turnout brings it back to life.",
                self._section_cure(d, subject)
                or self._undecided_cure(d)
                or self._bare_cure()
                or "Put a dropper on it, join it to a fed rail, or feed it through a switch.",
                self._subjects.at(subject),
                None,
                d.rails,
            )
        assert d.road is not None
        if not d.held:
            return told(
                "dead-on-road",
                subject,
                f"{rails} {is_are} dead {when_text(d.when)}, though {self._subjects.road(d.road)} is set.",
                "A train that takes this road stalls here, with its road set and nothing to see.",
                self._section_cure(d, subject)
                or "Give it a feed that does not depend on these settings: a dropper, a bond, or a switched feed.",
                self._subjects.at(subject),
                d.when,
                d.rails,
            )
        shown = {r for p in self._network.pieces.values() for pair in p.ends.values() for r in pair}
        legs = [r for r in d.rails if r in shown]
        if not legs:
            return None
        place = self._subjects.section_with(d.rails)
        cure = "Leave it if you want it so (accept it with a reason); otherwise bond the blades or add a dropper."
        if place is not None:
            cure = "This is what its switched feed is for; for a place that is always live, give it droppers instead."
            subject = place
        places = [r.split(".")[0] for r in legs if r.split(".")[0] in self._layout.file.place]
        about = place or (places[0] if places else subject)
        return told(
            "dead-held",
            about,
            f"{rails} {is_are} dead {when_text(d.when)}: a train there is held until its road is set.",
            "Some want this to hold a train; lights and sound go out with it.",
            cure,
            self._subjects.at(about),
            d.when,
            d.rails,
        )

    def _section_cure(self, d: Dead, piece: str) -> str | None:
        """What brings dead rails of a switched section to life: no dropper, which would short there."""
        place = self._subjects.section_with(d.rails)
        if place is None:
            return None
        feeds = [f for f in self._network.switched if f.piece == place]
        if any(f.undecided for f in feeds):
            return f"Decide first what the section {place} must carry (see undecided), and check again."
        if not any(f.rows for f in feeds):
            return f"Give the track beyond the gaps of {place} its droppers: its switched feed follows them."
        if piece == place:
            return f"Set or feed the track beyond the gaps of {place} so that its switched feed has a side to follow."
        return (
            f"Leave {piece} out of what {place} takes in, or join it to a rail that the feed of {place} serves: the "
            f"section follows the roads that lead from {place} only, and a dropper in it would short."
        )

    def _undecided_cure(self, d: Dead) -> str | None:
        """For rails whose switched feed nothing decides: no dropper, which would short there."""
        piece = next((f.piece for f in self._network.switched if f.rail in d.rails and f.undecided), None)
        return None if piece is None else f"Decide first what {piece} must carry (see undecided), and check again."

    def _bare_cure(self) -> str | None:
        """For a plan that leaves its feeds to be proposed."""
        if self._layout.file.layout.feeds != "propose":
            return None
        return (
            'The file says feeds = "propose": `frogfeed plan FILE --from-bare` says what feeds it, and writes the file '
            "with all that put in."
        )

    def hangs(self, h: Hangs) -> Finding:
        """Rails that a painted blade or a loose joiner feeds."""
        subject = self._network.piece_of[h.rails[0]]
        rails = some_of(h.rails)
        where = self._subjects.at(subject)
        verb = "hangs" if len(h.rails) == 1 else "hang"
        if h.via is Via.CONTACT:
            contact = next(
                (f"{a} against {b}" for a, b in zip(h.path, h.path[1:], strict=False) if self._is_contact(a, b)),
                "a blade",
            )
            return told(
                "hangs-on-blade",
                subject,
                f"{rails} {verb} on a blade contact ({contact}).",
                "Paint, dirt or a bent blade makes this dead; it is the most common cause of a stall on a turnout.",
                self._hangs_cure(h),
                where,
                h.when,
                h.path,
            )
        return told(
            "hangs-on-joiner",
            subject,
            f"{rails} {verb} on a metal joiner marked as not trusted.",
            "Joiners work loose and corrode; beyond this one the track dies with it.",
            "Solder a dropper or a bond beyond the joiner.",
            where,
            h.when,
            h.path,
        )

    def _hangs_cure(self, h: Hangs) -> str:
        """What makes rails independent of a blade that touches; bonds alone would short a frog whose links are in."""
        pairs = zip(h.path, h.path[1:], strict=False)
        piece = next((a.split(".")[0] for a, b in pairs if self._is_contact(a, b)), self._network.piece_of[h.rails[0]])
        member = self._layout.file.members().get(piece)
        linked = any(b.kind is BondKind.LINK and b.a.startswith(f"{piece}.") for b in self._network.bonds)
        cure = f"Bond the blades of {piece} to their stock rails"
        if linked and getattr(member, "make", None) is not Make.INSULATED_FROG:
            cure = f"Remove the links of {piece}, bond its blades to their stock rails, and feed its frog by a switch"
        return f"{cure}; or leave it as it is, and accept this with a reason."

    def _is_contact(self, a: str, b: str) -> bool:
        return frozenset((a, b)) in self._contacts

    @cached_property
    def _contacts(self) -> frozenset[frozenset[str]]:
        return frozenset(frozenset((c.a, c.b)) for c in self._network.contacts)


def merged_dead(network: RailNetwork, found: Iterable[Dead]) -> Iterator[Dead]:
    """Groups of one piece that are never fed, or held at the same settings, count as one answer."""
    merged: dict[object, Dead] = {}
    for d in found:
        if not d.never and not d.held:
            yield d
            continue
        key = (network.piece_of[d.rails[0]], d.never, d.when)
        known = merged.get(key)
        merged[key] = d if known is None else replace(known, rails=(*known.rails, *d.rails))
    yield from merged.values()


def merged_hangs(network: RailNetwork, found: Iterable[Hangs]) -> Iterator[Hangs]:
    """Groups of one piece that hang on the same kind of thing at the same settings count as one answer."""
    merged: dict[object, Hangs] = {}
    for h in found:
        key = (network.piece_of[h.rails[0]], h.via, h.when)
        known = merged.get(key)
        merged[key] = h if known is None else replace(known, rails=(*known.rails, *h.rails))
    yield from merged.values()
