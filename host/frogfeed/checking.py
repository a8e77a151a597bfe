"""All checks of a layout, in the order a person needs them: track first, then what the plan and the wires say."""

from __future__ import annotations

from collections.abc import Iterator

from frogfeed.findings.finding import Finding
from frogfeed.layout.model import Layout
from frogfeed.track.explain import track_findings
from frogfeed.track.network import RailNetwork


def all_findings(layout: Layout, network: RailNetwork) -> Iterator[Finding]:
    """Every finding of every check that can run without a board."""
    yield from track_findings(layout, network)
