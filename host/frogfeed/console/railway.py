"""A layout with everything derived from it that the page shows and the session needs; never changed once made."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property
from typing import Any

from frogfeed.checking import all_findings
from frogfeed.console.drawing.diagram import draw, to_json
from frogfeed.console.picture import Picture
from frogfeed.console.routes import Router
from frogfeed.findings.finding import Finding, Severity
from frogfeed.layout.model import Layout
from frogfeed.layout.schema import Colours, DriveKind
from frogfeed.parts.colours import BY_NAME
from frogfeed.plan.model import BoardPlan, DrivePlan, FeedPlan, Plan, PlanRefusedError
from frogfeed.plan.planner import make_plan
from frogfeed.plan.settings import build_settings
from frogfeed.track.assembly.assemble import assemble
from frogfeed.track.network.model import RailNetwork


@dataclass(frozen=True)
class Railway:
    """A layout, its network, findings, plan and settings documents. `plan` is None where errors stand against one."""

    layout: Layout
    network: RailNetwork
    findings: tuple[Finding, ...]
    plan: Plan | None
    documents: Mapping[str, bytes]

    @cached_property
    def picture(self) -> Picture:
        """The network ready to be evaluated."""
        return Picture(self.network)

    @cached_property
    def router(self) -> Router:
        """Routes through the network."""
        return Router(self.network)

    @cached_property
    def drawing(self) -> dict[str, Any]:
        """The drawing as JSON."""
        return to_json(draw(self.layout, self.network))

    @cached_property
    def drives(self) -> Mapping[str, tuple[BoardPlan, DrivePlan]]:
        """Drive -> its board and plan."""
        boards = self.plan.boards if self.plan is not None else ()
        return {d.need.name: (b, d) for b in boards for d in b.drives}

    @cached_property
    def feeds(self) -> Mapping[str, tuple[BoardPlan, FeedPlan]]:
        """Output -> its board and plan."""
        boards = self.plan.boards if self.plan is not None else ()
        return {f.need.output: (b, f) for b in boards for f in b.feeds}

    @cached_property
    def hand(self) -> frozenset[str]:
        """Drives that only a hand throws."""
        table = self.layout.file.drive
        return frozenset(d for d in self.network.drives if d in table and table[d].kind is DriveKind.HAND)

    def colours(self) -> dict[str, str]:
        """The modeller's own wire colours for the screen: of A, B and switched feeds, where stated."""
        stated: Colours = self.layout.file.layout.colours
        named = {"A": stated.A, "B": stated.B, "switched": stated.switched}
        return {k: f"#{BY_NAME[v].rgb}" for k, v in named.items() if v is not None and v in BY_NAME}


def railway_of(layout: Layout) -> Railway:
    """Everything derived from a layout. Takes from tens of milliseconds to seconds."""
    network = assemble(layout)
    findings = tuple(all_findings(layout, network))
    plan: Plan | None = None
    documents: Mapping[str, bytes] = {}
    if not any(f.severity is Severity.ERROR for f in findings):
        try:
            plan = make_plan(layout, network)
            documents = build_settings(layout, plan)
        except PlanRefusedError as refused:
            findings = (*findings, *(f for f in refused.findings if f not in findings))
    return Railway(layout, network, findings, plan, documents)
