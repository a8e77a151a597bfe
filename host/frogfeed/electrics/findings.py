"""What `check` says of wires and supplies."""

from __future__ import annotations

from collections.abc import Iterator

from frogfeed.electrics.circuit import USUAL, OutputPaths
from frogfeed.electrics.heating import wire_findings
from frogfeed.electrics.supply import supply_findings
from frogfeed.electrics.survey import Survey, survey
from frogfeed.findings.finding import Finding
from frogfeed.layout.model import Layout
from frogfeed.track.network.model import RailNetwork


def electrics_findings(
    layout: Layout, network: RailNetwork, outputs: OutputPaths = USUAL, seen: Survey | None = None
) -> Iterator[Finding]:
    """Every finding of wires and supplies. Expects a network without shorts."""
    seen = survey(layout, network, outputs) if seen is None else seen
    yield from supply_findings(layout, network, seen, outputs)
    yield from wire_findings(layout, network, seen)
