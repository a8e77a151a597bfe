"""What `check` says of a layout's throws, boards, wires and supplies: whether a plan exists or not."""

from __future__ import annotations

from collections.abc import Iterator

from frogfeed.electrics.circuit import USUAL
from frogfeed.electrics.findings import electrics_findings
from frogfeed.electrics.survey import survey
from frogfeed.findings.finding import Finding
from frogfeed.layout.model import Layout
from frogfeed.plan.budget import budget_findings
from frogfeed.plan.model import Plan, PlanRefusedError
from frogfeed.plan.paths import output_paths
from frogfeed.plan.planner import make_plan
from frogfeed.plan.ratings import output_findings
from frogfeed.track.network.model import RailNetwork


def plan_findings(layout: Layout, network: RailNetwork, seconds: float = 20.0) -> Iterator[Finding]:
    """Every finding of throws, channels, wires, supplies and outputs.

    Expects a network whose tables are sound and that has no short (no return loop).
    """
    plan: Plan | None = None
    try:
        plan = make_plan(layout, network, seconds=seconds)
        yield from plan.findings
    except PlanRefusedError as refused:
        yield from refused.findings
    paths = USUAL if plan is None else output_paths(plan)
    seen = survey(layout, network, paths)
    yield from electrics_findings(layout, network, paths, seen)
    if plan is not None:
        yield from output_findings(layout, seen, plan)
        yield from budget_findings(plan)
