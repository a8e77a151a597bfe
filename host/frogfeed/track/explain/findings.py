"""Answers in words: what is wrong, why it matters on the railway, and what cures it."""

from __future__ import annotations

from collections.abc import Container, Iterable, Iterator, Mapping
from dataclasses import replace

from frogfeed.findings.codes import info
from frogfeed.findings.finding import Finding, Location, Severity
from frogfeed.layout.model import Layout
from frogfeed.layout.schema import Make
from frogfeed.track.explain.clearance import clearance_findings
from frogfeed.track.explain.phrases import list_of, some_of, told, when_text
from frogfeed.track.explain.runthrough import RunThrough, run_throughs
from frogfeed.track.explain.sections import joined_outputs, loop_findings, section_findings, undecided_findings
from frogfeed.track.network.model import Bond, BondKind, BridgeKind, RailNetwork, Road
from frogfeed.track.routes.return_loops import ReturnLoop, return_loops
from frogfeed.track.solver.answers import Clash, Dead, Hangs, NoCircuit, NotProven, Short
from frogfeed.track.solver.contract import Via
from frogfeed.track.solver.solver import Solver


class Explainer:
    """Turns the solver's answers for one layout into findings."""

    def __init__(self, layout: Layout, network: RailNetwork) -> None:
        self._layout = layout
        self._network = network
        self._bonds: dict[frozenset[str], Bond] = {frozenset((b.a, b.b)): b for b in network.bonds}
        self._section: dict[str, str] = {
            rail: s.place for end, s in network.section_of.items() for rail in network.pieces[end[0]].ends[end[1]]
        }

    def _at(self, rail_or_piece: str) -> Location | None:
        piece = self._network.pieces.get(rail_or_piece.split(".", 1)[0])
        return piece.at if piece is not None else None

    def short(self, s: Short, loops: Iterable[ReturnLoop] = ()) -> Finding:
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
        where = self._at(culprit) or next((f.at for f in self._network.feeds if f.rail in s.path), None)
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
            if place is not None and rail in droppers and self._section.get(rail) == place:
                return rail, f"Take the dropper at {rail} away: the switched feed of {place} serves it."
        return None

    def _inner(self, rail: str) -> bool:
        """Whether a rail lies under the left wheels of one road and the right wheels of another."""
        return rail in self._two_handed

    @property
    def _two_handed(self) -> frozenset[str]:
        found: frozenset[str] | None = self.__dict__.get("_both_hands")
        if found is None:
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
            found = self.__dict__["_both_hands"] = frozenset(crossing)
        return found

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
                self._at(subject),
                None,
                d.rails,
            )
        assert d.road is not None
        if not d.held:
            return told(
                "dead-on-road",
                subject,
                f"{rails} {is_are} dead {when_text(d.when)}, though {self._road(d.road)} is set.",
                "A train that takes this road stalls here, with its road set and nothing to see.",
                self._section_cure(d, subject)
                or "Give it a feed that does not depend on these settings: a dropper, a bond, or a switched feed.",
                self._at(subject),
                d.when,
                d.rails,
            )
        shown = {r for p in self._network.pieces.values() for pair in p.ends.values() for r in pair}
        legs = [r for r in d.rails if r in shown]
        if not legs:
            return None
        place = self._section_with(d.rails)
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
            self._at(about),
            d.when,
            d.rails,
        )

    def _section_with(self, rails: Iterable[str]) -> str | None:
        """The place whose switched section has one of these rails."""
        for rail in rails:
            piece = self._network.piece_of[rail]
            inside = [self._network.section_of.get((piece, end)) for end in self._network.pieces[piece].ends]
            # A rail that shows at no end is the section's where the whole piece is.
            place = self._section.get(rail) or (inside[0].place if all(inside) and inside[0] is not None else None)
            if place is not None:
                return place
        return None

    def _section_cure(self, d: Dead, piece: str) -> str | None:
        """What brings dead rails of a switched section to life: no dropper, which would short there."""
        place = self._section_with(d.rails)
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

    def clashes(self, found: Iterable[Clash], loops: Iterable[ReturnLoop] = ()) -> Iterator[Finding]:
        """Wheels that join two wires at a gap; two rails of one joint are one finding, a return loop comes first."""
        looped = {p for loop in loops for p in loop.pieces}
        grouped: dict[object, list[Clash]] = {}
        for c in found:
            b = c.bridge
            place = (b.at if b.kind is BridgeKind.JOINT else self._network.piece_of[b.a], b.kind, c.when)
            grouped.setdefault(place, []).append(c)
        for group in grouped.values():
            finding = self._clash(group)
            if {self._network.piece_of[x] for x in (group[0].bridge.a, group[0].bridge.b)} <= looped:
                finding = replace(
                    finding, cure="Cure the return loop first, and check again: it turns the track round."
                )
            yield finding

    def _clash(self, group: list[Clash]) -> Finding:
        c = group[0]
        b = c.bridge
        places = {
            BridgeKind.JOINT: "rolling over the insulated joint",
            BridgeKind.INTERNAL: "crossing the gap",
        }
        at = list_of(f"{x.bridge.a} to {x.bridge.b}" for x in group)
        return told(
            "clash",
            self._network.piece_of[b.a],
            f"A wheel {places[b.kind]} from {at} joins {c.wires[0]} and {c.wires[1]} {when_text(c.when)}.",
            "Every axle makes a short there: sparks, a stutter, or a trip each time a train passes.",
            self._clash_cure(c),
            b.at or self._at(b.a),
            c.when,
            c.path,
        )

    def _clash_cure(self, c: Clash) -> str:
        wires = [self._network.wires[w] for w in c.wires]
        if wires[0].district != wires[1].district and wires[0].side is wires[1].side:
            return "Declare the districts in phase (in_phase) if their supplies are; else no train may cross here."
        return (
            "The two sides must agree where a train passes: swap the droppers of one side, or feed the section between "
            "through a switch that follows the road."
        )

    def no_circuit(self, n: NoCircuit) -> Finding:
        """Both rails on one wire, or on wires that make no circuit."""
        subject = n.road.piece
        a, b = (self._network.wires[w] for w in n.wires)
        if n.held:
            return told(
                "dead-held",
                subject,
                f"Both rails of {subject} carry {n.wires[0]} {when_text(n.when)}: a train there is held until its "
                "road is set.",
                "Some want this to hold a train; lights and sound go out with it.",
                "Leave it if you want it so (accept it with a reason); otherwise insulate and feed it by itself.",
                self._at(subject),
                n.when,
                n.path,
            )
        if a.side is b.side:
            one_feed = n.path[1] == n.path[-2]
            return told(
                "one-wire",
                subject,
                f"Both rails of {self._road(n.road)} carry {list_of(dict.fromkeys(n.wires))} {when_text(n.when)}.",
                "No current flows through a loco there: it stops on a set road.",
                "Both come from one feed, by way of frogs and blades: give each rail here a dropper on its own side,"
                " and insulate both from the frogs on the path."
                if one_feed
                else "One of the two feeds on the path is on the wrong wire; swap it, or insulate between them.",
                self._at(subject),
                n.when,
                n.path,
            )
        return told(
            "no-common",
            subject,
            f"On {self._road(n.road)} one rail takes {n.wires[0]} and the other {n.wires[1]} {when_text(n.when)}.",
            "Without a common between the two supplies there is no circuit, so nothing runs there.",
            "Insulate both rails at the same place, or join the commons of the districts and say so (common_with).",
            self._at(subject),
            n.when,
            n.path,
        )

    def hangs(self, h: Hangs) -> Finding:
        """Rails that a painted blade or a loose joiner feeds."""
        subject = self._network.piece_of[h.rails[0]]
        rails = some_of(h.rails)
        where = self._at(subject)
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

    def _bare_cure(self) -> str | None:
        """For a plan that leaves its feeds to be proposed."""
        if self._layout.file.layout.feeds != "propose":
            return None
        return (
            'The file says feeds = "propose": `frogfeed plan FILE --from-bare` says what feeds it, and writes the file '
            "with all that put in."
        )

    def _road(self, road: Road) -> str:
        """A road as a person says it; that of plain track needs no ends."""
        if road.piece in self._layout.file.place:
            return road.piece
        return f"the road of {road.piece} from {road.start} to {road.end}"

    def _is_contact(self, a: str, b: str) -> bool:
        pairs: frozenset[frozenset[str]] | None = self.__dict__.get("_contacts")
        if pairs is None:
            pairs = self.__dict__["_contacts"] = frozenset(frozenset((c.a, c.b)) for c in self._network.contacts)
        return frozenset((a, b)) in pairs

    def run_throughs(self, found: Iterable[RunThrough]) -> Iterator[Finding]:
        """What a train does that trails through a piece set against it; one finding a piece."""
        grouped: dict[str, list[RunThrough]] = {}
        for r in found:
            grouped.setdefault(r.road.piece, []).append(r)
        for piece, group in grouped.items():
            c = group[0].clash
            ways = "; ".join(
                f"from {r.road.start} to {r.road.end} {when_text(r.clash.when)}, at {r.clash.bridge.a} to "
                f"{r.clash.bridge.b}"
                for r in group
            )
            yield told(
                "run-through",
                piece,
                f"A train that runs through {piece} while set against it shorts {c.wires[0]} and {c.wires[1]}: {ways}.",
                "The supply trips and the train stops before it splits the blades: to be expected, not a fault.",
                "Set the road before the train gets there.",
                self._at(piece),
                c.when,
                c.path,
            )

    def not_proven(self, questions: Iterable[NotProven]) -> Iterator[Finding]:
        """What could not be decided, one finding a question."""
        by_question: dict[str, list[NotProven]] = {}
        for q in questions:
            by_question.setdefault(q.question, []).append(q)
        for question, asked in by_question.items():
            rails = tuple(dict.fromkeys(r for q in asked for r in q.rails))
            subject = self._network.piece_of[rails[0]]
            shown = some_of(rails)
            yield told(
                "not-proven",
                subject,
                f"Not decided {question}: {shown}.",
                "So many rails here hang on blade contacts and on each other that all settings could not be proven.",
                "Droppers and insulated joiners split such a tangle into parts that are soon proven; then check again.",
                self._at(subject),
                None,
                rails,
            )


def track_findings(layout: Layout, network: RailNetwork) -> Iterator[Finding]:
    """Everything the solver has to say of a layout, accepted findings turned into notes."""
    solver = Solver(network)
    words = Explainer(layout, network)
    accepts = accepted(layout)
    for f in _all(layout, network, solver, words):
        yield accept(f, accepts)


def _all(layout: Layout, network: RailNetwork, solver: Solver, words: Explainer) -> Iterator[Finding]:
    loops = tuple(return_loops(network, frozenset(layout.file.place)))
    yield from loop_findings(layout, network, loops)
    shorts = solver.shorts()
    yield from (words.short(x, loops) for x in shorts)
    shorted = {network.piece_of[r] for x in shorts for r in x.path[1:-1]}
    yield from joined_outputs(solver)
    yield from (f for x in merged_dead(network, solver.dead()) if (f := words.dead(x)) is not None)
    by_plastic = (BridgeKind.VEE, BridgeKind.OBTUSE)
    clashes = words.clashes((c for c in solver.clashes() if c.bridge.kind not in by_plastic), loops)
    yield from (after_shorts(f, network, shorted) for f in clashes)
    yield from clearance_findings(layout, network, solver)
    places = layout.file.place
    no_circuit = (words.no_circuit(x) for x in solver.no_circuit() if not x.held or x.road.piece in places)
    yield from (after_shorts(f, network, shorted) for f in no_circuit)
    yield from (words.hangs(x) for x in merged_hangs(network, solver.hangs()))
    yield from undecided_findings(layout, network)
    yield from section_findings(layout, network)
    yield from words.run_throughs(run_throughs(solver))
    yield from words.not_proven(solver.not_proven)


def after_shorts(finding: Finding, network: RailNetwork, shorted: Container[str]) -> Finding:
    """The error, sent behind the shorts where its path leads over a piece of one: those often are its cause."""
    pieces = {network.piece_of[r] for r in finding.path if r in network.piece_of}
    looped = finding.cure.startswith("Cure the return loop")
    if finding.severity is not Severity.ERROR or looped or not any(p in shorted for p in pieces):
        return finding
    rest = finding.cure[0].lower() + finding.cure[1:]
    return replace(finding, cure=f"Cure the short first, and check again. If this is still there: {rest}")


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


def accepted(layout: Layout) -> Mapping[tuple[str, str], str]:
    """(piece or place, code) -> the modeller's reason."""
    return {(name, a.code): a.reason for name, m in layout.file.members().items() for a in m.accept}


def accept(finding: Finding, accepts: Mapping[tuple[str, str], str]) -> Finding:
    """The finding, or a note with the modeller's reason where an `accept` entry covers it and its code may be."""
    reason = accepts.get((finding.subject, finding.code))
    if reason is None or not info(finding.code).acceptable:
        return finding
    return replace(finding, severity=Severity.NOTE, accepted=reason)
