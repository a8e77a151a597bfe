"""Shorts in words: what is joined, and where the path between the two wires is best broken."""

from __future__ import annotations

from collections.abc import Iterable
from functools import cached_property

from frogfeed.findings.finding import Finding
from frogfeed.track.explain.phrases import told, when_text
from frogfeed.track.explain.subjects import Subjects
from frogfeed.track.network.model import Bond, BondKind, Road
from frogfeed.track.routes.return_loops import ReturnLoop
from frogfeed.track.solver.answers import Short


class ShortWords:
    """Says shorts and their cures."""

    def __init__(self, subjects: Subjects) -> None:
        self._subjects = subjects
        self._network = subjects.network
        self._layout = subjects.layout
        self._bonds: dict[frozenset[str], Bond] = {frozenset((b.a, b.b)): b for b in subjects.network.bonds}

    def finding(self, s: Short, loops: Iterable[ReturnLoop] = ()) -> Finding:
        """A short, with the joint or bond on its path whose removal is the likely cure; a return loop comes first."""
        wires = [self._network.wires[w] for w in s.wires]
        culprit, cure = self._short_cure(s)
        passed = {r.split(".")[0] for r in s.path[1:-1]}
        if any(len(passed.intersection(loop.pieces)) > 1 for loop in loops):
            cure = "Cure the return loop first, and check again: it is likely to be what joins them."
        if wires[0].side is not wires[1].side:
            why = "The supply trips, or feeds the fault through whatever is thinnest on the way."
            if s.when:
                why = f"As soon as the settings are so, with or without a train: {why[0].lower()}{why[1:]}"
        else:
            why = (
                "Two supplies drive one rail: a trip in one no longer protects it, and out of phase they short. "
                "If they truly are in phase, say so with in_phase in the district."
            )
        if not s.smallest:
            why += " (Perhaps fewer drives matter: the time allowed did not suffice to prove it.)"
        where = self._subjects.at(culprit) or next((f.at for f in self._network.feeds if f.rail in s.path), None)
        return told(
            "short",
            culprit.split(".")[0],
            f"{s.wires[0]} and {s.wires[1]} are joined {when_text(s.when)}.",
            why,
            cure,
            where,
            s.when,
            s.path,
        )

    def _short_cure(self, s: Short) -> tuple[str, str]:
        """The rail where the short is best broken, and how."""
        kinds: dict[BondKind, tuple[str, str]] = {}
        for a, b in zip(s.path, s.path[1:], strict=False):
            bond = self._bonds.get(frozenset((a, b)))
            if bond is not None:
                kinds.setdefault(bond.kind, (a, b))
        blade, link = kinds.get(BondKind.BLADE), kinds.get(BondKind.LINK)
        if blade and link:
            piece = link[0].split(".")[0]
            return link[0], (
                f"{piece} has its blades bonded while its factory links are in: remove the links "
                f'(links = "removed"), or take the bonds off.'
            )
        cure = self._dropper_in_section(s)
        if cure is not None:
            return cure
        frogs = {s.piece for s in self._network.switched} - set(self._layout.file.place)
        vees = {
            r for p, e in self._network.pieces.items() for shown in e.ends.values() for r in shown if self._inner(r)
        }
        joints = [
            (a, b)
            for a, b in zip(s.path, s.path[1:], strict=False)
            if (bond := self._bonds.get(frozenset((a, b)))) is not None and bond.kind is BondKind.JOINER
        ]
        best = [j for j in joints if set(j) & vees]
        if not best and any(self._inner(r) for r in s.path):
            best = [j for j in joints if {r.split(".")[0] for r in j} & frogs]
        if best:
            a, b = best[0]
            return (a if a in vees else b), f"Put an insulated joiner between {a} and {b}."
        ends = [r for r in (s.path[1], s.path[-2]) if r in vees]
        if ends:
            piece = ends[0].split(".")[0]
            if any(f.piece == piece and f.rail in (s.path[1], s.path[-2]) for f in self._network.switched):
                return ends[0], (
                    f"Put an insulated joiner between {ends[0]} and its dropper, or take that dropper away: the frog "
                    "there has a switched feed of its own."
                )
            return ends[0], (
                f"Insulated joiners at both heels of {piece}, between its vee rails and the droppers beyond: its frog "
                "cannot carry both polarities."
            )
        if link and s.when:
            piece = link[0].split(".")[0]
            return link[0], (
                f"Through its links {piece} joins its stock rails there: remove the factory links, bond the blades, "
                "and feed the frogs by switches."
            )
        a_wire, b_wire = (self._network.wires[w] for w in s.wires)
        if joints and a_wire.district != b_wire.district:
            a, b = joints[0]
            return s.path[1], (
                f"Where two districts meet, both rails are insulated: put an insulated joiner between {a} and {b}."
            )
        if s.path[1] == s.path[-2]:
            return s.path[1], f"Two {self._feeds(s)} at {s.path[1]} are on different bus wires: take one of them away."
        if joints:
            a, b = joints[0]
            return s.path[1], (
                f"One of the {self._feeds(s)} at {s.path[1]} and {s.path[-2]} is on the wrong bus wire, or both "
                f"rails need insulated joiners between them, for example between {a} and {b}."
            )
        if link:
            return link[0], f"Remove the factory links of {link[0].split('.')[0]}."
        return s.path[1], f"One of the {self._feeds(s)} at {s.path[1]} and {s.path[-2]} is on the wrong bus wire."

    def _feeds(self, s: Short) -> str:
        """What feeds the two ends of a short's path."""
        switched = {f.rail for f in self._network.switched}
        return "feeds" if switched.intersection((s.path[1], s.path[-2])) else "droppers"

    def _dropper_in_section(self, s: Short) -> tuple[str, str] | None:
        """The cure where a dropper stands in a section that its switched feed serves."""
        places = {f.rail: f.piece for f in self._network.switched if f.piece in self._layout.file.place}
        droppers = {f.rail for f in self._network.feeds}
        for fed, rail in ((s.path[1], s.path[-2]), (s.path[-2], s.path[1])):
            place = places.get(fed)
            if place is not None and rail in droppers and self._subjects.section_at(rail) == place:
                return rail, f"Take the dropper at {rail} away: the switched feed of {place} serves it."
        return None

    def _inner(self, rail: str) -> bool:
        """Whether a rail lies under the left wheels of one road and the right wheels of another."""
        return rail in self._two_handed

    @cached_property
    def _two_handed(self) -> frozenset[str]:
        crossing: set[str] = set()
        by_piece: dict[str, list[Road]] = {}
        for r in self._network.roads:
            by_piece.setdefault(r.piece, []).append(r)
        for roads in by_piece.values():
            left = {x for r in roads for x in r.left}
            right = {x for r in roads for x in r.right}
            for r in roads:
                for hand in (r.left, r.right):
                    for i, x in enumerate(hand):
                        if x in left and x in right:
                            crossing |= {*hand[max(i - 1, 0) : i], x, *hand[i + 1 : i + 2]}
        return frozenset(crossing)
