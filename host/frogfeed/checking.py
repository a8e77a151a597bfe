"""All checks of a layout, in the order a person needs them: track first, then what the plan and the wires say."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

from frogfeed.findings.finding import Finding
from frogfeed.layout.model import Layout
from frogfeed.plan.findings import plan_findings
from frogfeed.track.explain.findings import accept, accepted, track_findings
from frogfeed.track.network.model import RailNetwork

SHORTED = ("short", "return-loop")


def all_findings(layout: Layout, network: RailNetwork) -> Iterator[Finding]:
    """Every finding of every check that can run without a board.

    Throws, channels and wires are judged only where the track has no short: they mean nothing on one that has.
    """
    shorted = False
    for found in track_findings(layout, network):
        shorted = shorted or found.code in SHORTED
        yield found
    if not shorted:
        accepts = accepted(layout)
        for found in plan_findings(layout, network):
            piece = replace(found, subject=found.subject.partition(".")[0])
            as_piece = accept(piece, accepts)
            yield found if as_piece is piece else replace(as_piece, subject=found.subject)
