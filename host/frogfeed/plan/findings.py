"""What `check` says of a layout's boards: the plan's own findings, whether it exists or not."""

from __future__ import annotations

from collections.abc import Iterator

from frogfeed.findings.finding import Finding
from frogfeed.layout.model import Layout
from frogfeed.plan.model import PlanRefusedError
from frogfeed.plan.planner import make_plan
from frogfeed.track.network import RailNetwork


def plan_findings(layout: Layout, network: RailNetwork, seconds: float = 20.0) -> Iterator[Finding]:
    """Every finding of throws and channels. Expects a network whose tables are sound (no return loop)."""
    try:
        yield from make_plan(layout, network, seconds=seconds).findings
    except PlanRefusedError as refused:
        yield from refused.findings
