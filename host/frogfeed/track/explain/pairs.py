"""Two rails at once, in words: wheels that join two wires, and roads whose rails make no circuit."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import replace

from frogfeed.findings.finding import Finding
from frogfeed.track.explain.phrases import list_of, told, when_text
from frogfeed.track.explain.subjects import Subjects
from frogfeed.track.network.model import BridgeKind
from frogfeed.track.routes.return_loops import ReturnLoop
from frogfeed.track.solver.answers import Clash, NoCircuit


class PairWords:
    """Says clashes and roads without a circuit."""

    def __init__(self, subjects: Subjects) -> None:
        self._subjects = subjects
        self._network = subjects.network

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
            b.at or self._subjects.at(b.a),
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
        road = self._subjects.road(n.road)
        if n.held:
            return told(
                "dead-held",
                subject,
                f"Both rails of {subject} carry {n.wires[0]} {when_text(n.when)}: a train there is held until its "
                "road is set.",
                "Some want this to hold a train; lights and sound go out with it.",
                "Leave it if you want it so (accept it with a reason); otherwise insulate and feed it by itself.",
                self._subjects.at(subject),
                n.when,
                n.path,
            )
        if a.side is b.side:
            one_feed = n.path[1] == n.path[-2]
            return told(
                "one-wire",
                subject,
                f"Both rails of {road} carry {list_of(dict.fromkeys(n.wires))} {when_text(n.when)}.",
                "No current flows through a loco there: it stops on a set road.",
                "Both come from one feed, by way of frogs and blades: give each rail here a dropper on its own side,"
                " and insulate both from the frogs on the path."
                if one_feed
                else "One of the two feeds on the path is on the wrong wire; swap it, or insulate between them.",
                self._subjects.at(subject),
                n.when,
                n.path,
            )
        return told(
            "no-common",
            subject,
            f"On {road} one rail takes {n.wires[0]} and the other {n.wires[1]} {when_text(n.when)}.",
            "Without a common between the two supplies there is no circuit, so nothing runs there.",
            "Insulate both rails at the same place, or join the commons of the districts and say so (common_with).",
            self._subjects.at(subject),
            n.when,
            n.path,
        )
