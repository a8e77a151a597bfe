"""Outputs judged where they were put: against what may flow for good, a short, the track's volts, their
own heat.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

from frogfeed.electrics.circuit import supply_volts
from frogfeed.electrics.heating import for_good_a, let_through, limit_hint
from frogfeed.electrics.survey import Survey
from frogfeed.findings.finding import Finding, Severity
from frogfeed.findings.words import said
from frogfeed.layout.model import Layout
from frogfeed.layout.schema import District
from frogfeed.parts.boards import SwitchType
from frogfeed.plan.model import BoardPlan, FeedPlan, Plan
from frogfeed.plan.trips import own_trips

WARM_W = 1.0
"""A part that gives off more than this wants a heat sink or air (from memory)."""


def output_findings(layout: Layout, seen: Survey, plan: Plan) -> Iterator[Finding]:
    """Outputs judged against what may flow for good, a short, the track's volts, and their own heat."""
    alike: dict[tuple[str, str, str, str], list[Finding]] = {}
    for board in plan.boards:
        for f in board.feeds:
            for finding in _output(layout, seen, board, f):
                if finding.severity is not Severity.NOTE:
                    yield finding
                    continue
                key = (finding.code, board.name, f.channel.type, f.need.district)
                alike.setdefault(key, []).append(finding)
    for found in alike.values():
        others = ", ".join(f.subject for f in found[1:])
        yield replace(found[0], what=f"{found[0].what} Likewise {others}.") if others else found[0]


def _output(layout: Layout, seen: Survey, board: BoardPlan, f: FeedPlan) -> Iterator[Finding]:
    name = f.need.district
    d = layout.file.district[name]
    switch = board.profile.switch(f.channel)
    at = f.need.at
    what = f"{f.need.output} on {board.name} {f.channel.name}"
    volts, good = supply_volts(layout, d), for_good_a(d)
    if volts > switch.volts.value:
        yield said(
            "elec-output-volts",
            Severity.ERROR if switch.volts.confidence.firm else Severity.WARNING,
            f.need.output,
            f"{what} switches {volts:g} V and is rated for {switch.volts.value:g} V",
            "above its rating a contact arcs and a solid-state switch breaks down",
            "use an output with a higher rating",
            at,
        )
    if good > switch.carry_a.value:
        yield said(
            "elec-output-carry",
            Severity.WARNING,
            f.need.output,
            f"{what} may carry {good:g} A for good, and is rated for {switch.carry_a.value:g} A",
            "the district's supply never trips at that current",
            f"let {name} trip at {switch.carry_a.value:g} A or less, or use a stronger output",
            at,
        )
    yield from _short(layout, seen, board, f, switch, d, what)
    heat = good**2 * switch.on_ohm.value
    if switch.made_of != "relay" and heat > WARM_W:
        yield said(
            "elec-output-heat",
            Severity.NOTE,
            f.need.output,
            f"{what} gives off {heat:.1f} W at {good:g} A",
            "a small solid-state switch gets too hot to touch at a watt",
            "give it copper and air, or a lower trip current",
            at,
        )


def _short(
    layout: Layout,
    seen: Survey,
    board: BoardPlan,
    f: FeedPlan,
    switch: SwitchType,
    d: District,
    what: str,
) -> Iterator[Finding]:
    """A dead short behind the output: what it must survive closed, and what it may have to break."""
    spots = [s for rail in f.need.rails if (s := seen.at_rail(rail)) is not None]
    if not spots:
        return
    through = let_through(layout, f.need.district, max(s.most_a for s in spots))
    severity = Severity.WARNING if through.limited else Severity.NOTE
    own = [t for t in own_trips(board, f, d) if t.amps <= through.amps]
    first_ms = min((t.ms for t in own), default=d.trip_ms)
    a2s = through.amps**2 * min(first_ms, d.trip_ms) / 1000.0
    if a2s > switch.surge_a2s.value:
        yield said(
            "elec-output-surge",
            severity,
            f.need.output,
            f"a short behind {what} lets {through.amps:.1f} A through: {a2s:.1f} A²s, and it survives "
            f"{switch.surge_a2s.value:g} A²s",
            "contacts weld and solid-state switches fail closed, which leaves the frog on one side for good",
            "use a supply that limits its current or trips sooner" + limit_hint(through),
            f.need.at,
        )
    if own and first_ms < d.trip_ms and through.amps > switch.break_a.value:
        yield said(
            "elec-output-break",
            severity,
            f.need.output,
            f"the trip of {what} may break {through.amps:.1f} A, and it is rated to break {switch.break_a.value:g} A",
            "the arc of a current above the rating can weld the contacts it should open",
            "use a supply that limits its current, or a stronger output" + limit_hint(through),
            f.need.at,
        )
    if not own and own_trips(board, f, d):
        slowest = min(own_trips(board, f, d), key=lambda t: t.amps)
        yield said(
            "elec-trip-order",
            Severity.NOTE,
            f.need.output,
            f"a short behind {what} draws {through.amps:.1f} A, and its own trip goes at {slowest.amps:.1f} A",
            "the whole district goes dark instead of this feed alone",
            "use a sensor with a lower trip",
            f.need.at,
        )
    elif own and first_ms >= d.trip_ms:
        yield said(
            "elec-trip-order",
            Severity.NOTE,
            f.need.output,
            f"the own trip of {what} is open after {first_ms:.0f} ms, and the supply trips after {d.trip_ms:g} ms",
            "the whole district goes dark instead of this feed alone",
            "use a supply that trips later, or an output that lets go sooner",
            f.need.at,
        )
