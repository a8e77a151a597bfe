"""Everything the solver has to say of a layout, as findings, in the order in which a person cures them."""

from __future__ import annotations

from collections.abc import Container, Iterable, Iterator, Mapping
from dataclasses import replace

from frogfeed.findings.codes import info
from frogfeed.findings.finding import Finding, Severity
from frogfeed.layout.model import Layout
from frogfeed.track.explain.clearance import clearance_findings
from frogfeed.track.explain.feeding import FeedingWords, merged_dead, merged_hangs
from frogfeed.track.explain.pairs import PairWords
from frogfeed.track.explain.phrases import some_of, told
from frogfeed.track.explain.runthrough import run_through_findings, run_throughs
from frogfeed.track.explain.sections import joined_outputs, loop_findings, section_findings, undecided_findings
from frogfeed.track.explain.shorts import ShortWords
from frogfeed.track.explain.subjects import Subjects
from frogfeed.track.network.model import BridgeKind, RailNetwork
from frogfeed.track.routes.return_loops import return_loops
from frogfeed.track.solver.answers import NotProven
from frogfeed.track.solver.solver import Solver


def track_findings(layout: Layout, network: RailNetwork) -> Iterator[Finding]:
    """Everything the solver has to say of a layout, accepted findings turned into notes."""
    accepts = accepted(layout)
    for f in _all(layout, network):
        yield accept(f, accepts)


def _all(layout: Layout, network: RailNetwork) -> Iterator[Finding]:
    solver = Solver(network)
    subjects = Subjects(layout, network)
    feeding, pairs, short = FeedingWords(subjects), PairWords(subjects), ShortWords(subjects)
    loops = tuple(return_loops(network, frozenset(layout.file.place)))
    yield from loop_findings(layout, network, loops)
    shorts = solver.shorts()
    yield from (short.finding(x, loops) for x in shorts)
    shorted = {network.piece_of[r] for x in shorts for r in x.path[1:-1]}
    yield from joined_outputs(solver)
    yield from (f for x in merged_dead(network, solver.dead()) if (f := feeding.dead(x)) is not None)
    by_plastic = (BridgeKind.VEE, BridgeKind.OBTUSE)
    clashes = pairs.clashes((c for c in solver.clashes() if c.bridge.kind not in by_plastic), loops)
    yield from (after_shorts(f, network, shorted) for f in clashes)
    yield from clearance_findings(layout, network, solver)
    no_circuit = (pairs.no_circuit(x) for x in solver.no_circuit() if not x.held or x.road.piece in layout.file.place)
    yield from (after_shorts(f, network, shorted) for f in no_circuit)
    yield from (feeding.hangs(x) for x in merged_hangs(network, solver.hangs()))
    yield from undecided_findings(layout, network)
    yield from section_findings(layout, network)
    yield from run_through_findings(subjects, run_throughs(solver))
    yield from not_proven(subjects, solver.not_proven)


def not_proven(subjects: Subjects, questions: Iterable[NotProven]) -> Iterator[Finding]:
    """What could not be decided, one finding a question."""
    by_question: dict[str, list[NotProven]] = {}
    for q in questions:
        by_question.setdefault(q.question, []).append(q)
    for question, asked in by_question.items():
        rails = tuple(dict.fromkeys(r for q in asked for r in q.rails))
        subject = subjects.network.piece_of[rails[0]]
        shown = some_of(rails)
        yield told(
            "not-proven",
            subject,
            f"Not decided {question}: {shown}.",
            "So many rails here hang on blade contacts and on each other that all settings could not be proven.",
            "Droppers and insulated joiners split such a tangle into parts that are soon proven; then check again.",
            subjects.at(subject),
            None,
            rails,
        )


def after_shorts(finding: Finding, network: RailNetwork, shorted: Container[str]) -> Finding:
    """The error, sent behind the shorts where its path leads over a piece of one: those often are its cause."""
    pieces = {network.piece_of[r] for r in finding.path if r in network.piece_of}
    looped = finding.cure.startswith("Cure the return loop")
    if finding.severity is not Severity.ERROR or looped or not any(p in shorted for p in pieces):
        return finding
    rest = finding.cure[0].lower() + finding.cure[1:]
    return replace(finding, cure=f"Cure the short first, and check again. If this is still there: {rest}")


def accepted(layout: Layout) -> Mapping[tuple[str, str], str]:
    """(piece or place, code) -> the modeller's reason."""
    return {(name, a.code): a.reason for name, m in layout.file.members().items() for a in m.accept}


def accept(finding: Finding, accepts: Mapping[tuple[str, str], str]) -> Finding:
    """The finding, or a note with the modeller's reason where an `accept` entry covers it and its code may be."""
    reason = accepts.get((finding.subject, finding.code))
    if reason is None or not info(finding.code).acceptable:
        return finding
    return replace(finding, severity=Severity.NOTE, accepted=reason)
