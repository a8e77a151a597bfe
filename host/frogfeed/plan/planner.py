"""From a layout and its rail network to a plan, or to findings that say why there is none."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from typing import Literal

from frogfeed.findings.finding import Finding, Severity
from frogfeed.findings.words import said
from frogfeed.layout.drives import drive_uses
from frogfeed.layout.model import Layout
from frogfeed.layout.schema import Control, Turnout
from frogfeed.parts import gauges
from frogfeed.parts.boards import FeedChannel, InputChannel, ServoChannel
from frogfeed.parts.profiles import ProfileError, profile
from frogfeed.plan import channels, refusal, wired
from frogfeed.plan.accepts import settings_findings
from frogfeed.plan.aftertrip import after_trip_findings, after_trip_notes, with_after_trips
from frogfeed.plan.assignment import Solution, exceeded_limits, solve
from frogfeed.plan.fixed import Fixed, read_fixed
from frogfeed.plan.model import (
    BoardPlan,
    ButtonNeed,
    ButtonPlan,
    DriveNeed,
    DrivePlan,
    FeedNeed,
    FeedPlan,
    LampNeed,
    LampPlan,
    MovePlan,
    Optimum,
    Plan,
    PlanRefusedError,
)
from frogfeed.plan.needs import apart, drive_needs, drive_table, feed_needs, readable
from frogfeed.plan.notes import plan_notes, unread_findings
from frogfeed.plan.panel import panel_needs
from frogfeed.plan.problem import BoardSite, Built, PanelNeed, build, distance_mm
from frogfeed.plan.suit import Moving, senses
from frogfeed.throw.geometry import geometry_findings, linkage_of, motion_of
from frogfeed.track.network.conditions import term
from frogfeed.track.network.model import RailNetwork

IMPLIED = ("direct-relay", "expander")
"""Profiles tried, in this order, for the one board B1 of a layout that states none."""

MOST_TABLE_DRIVES = 5
"""How many drives one table may name on a board (the firmware's limit)."""


def make_plan(layout: Layout, network: RailNetwork, previous: Fixed | None = None, seconds: float = 60.0) -> Plan:
    """Assign every drive, switched feed and position contact to a board and channel.

    `previous` says where things are wired now (thing -> (board, channel)); what need not move stays. Raises
    PlanRefusedError with every finding where no plan exists.
    """
    every, feeds = drive_needs(layout, network), with_after_trips(layout, feed_needs(layout, network))
    drives = tuple(d for d in every if readable(d))
    findings = [*_check_needs(network, drives, feeds), *unread_findings(every, feeds)]
    findings += after_trip_findings(layout, feeds)
    panel = panel_needs(layout, network, drives, feeds, _normals(layout))
    findings += panel.findings
    moving = _moving(layout, drives, findings)
    errors = [f for f in findings if f.severity is Severity.ERROR]
    if errors:
        raise PlanRefusedError(tuple(findings))
    last: PlanRefusedError | None = None
    for sites in _site_choices(layout):
        try:
            things: tuple[PanelNeed, ...] = (*panel.buttons, *panel.lamps)
            plan = _plan(layout, sites, drives, feeds, things, moving, findings, previous or {}, seconds)
            refused_settings = tuple(settings_findings(layout, plan))
            if refused_settings:
                raise PlanRefusedError((*plan.findings, *refused_settings))
            return plan
        except PlanRefusedError as refused:
            last = refused
    assert last is not None
    raise last


def _plan(
    layout: Layout,
    sites: Sequence[BoardSite],
    drives: Sequence[DriveNeed],
    feeds: Sequence[FeedNeed],
    panel: Sequence[PanelNeed],
    moving: Mapping[str, Moving],
    findings: Sequence[Finding],
    previous: Fixed,
    seconds: float,
) -> Plan:
    kinds = {d.name: "servo" for d in drives if not d.hand}
    kinds |= {c: "input" for d in drives for c in d.contacts}
    kinds |= {f.output: "feed" for f in feeds}
    kinds |= {p.name: "lamp" if isinstance(p, LampNeed) else "input" for p in panel}
    fixed, problems = read_fixed(layout, {s.name: s.profile for s in sites}, kinds)
    if problems:
        raise PlanRefusedError((*findings, *problems))
    supplies = {name: d.at_mm for name, d in layout.file.district.items()}
    here = {s.name for s in sites}
    kept = {t: bc for t, bc in previous.items() if bc[0] in here and t in kinds}

    def stated(things: Sequence[PanelNeed]) -> Built:
        return build(sites, drives, feeds, moving, supplies, fixed, kept, things)

    built = stated(panel)
    unsuited = refusal.unsuited_findings(built)
    if unsuited:
        raise PlanRefusedError((*findings, *unsuited))
    full = exceeded_limits(built.problem)
    solution = None if full else _solved(built, sites, seconds)
    if solution is None:
        apart = () if full else _apart(panel, stated, seconds)
        raise PlanRefusedError((*findings, *(apart or refusal.infeasible_findings(built))))
    boards = tuple(_board(layout, built, solution, b, moving, fixed, kept) for b in range(len(sites)))
    boards = tuple(b for b in boards if b.drives or b.feeds or b.buttons or b.lamps or not b.implied)
    plan = Plan(
        layout.file.layout.name,
        layout.hash,
        "dcc" if layout.file.layout.control is Control.DCC else "dc",
        boards,
        Optimum(0.0, 0.0, 0.0, 0.0, 0, 0.0),
        (*findings, *plan_notes(boards), *after_trip_notes(boards)),
    )
    now = plan.channels()
    moved = sum(1 for t, bc in kept.items() if now.get(t) != bc)
    wire = sum(b.wire_mm for b in boards)
    optimum = Optimum(solution.cost, solution.bound, solution.gap, wire, moved, solution.seconds)
    return Plan(plan.layout, plan.layout_hash, plan.control, boards, optimum, plan.findings)


def _solved(built: Built, sites: Sequence[BoardSite], seconds: float) -> Solution | None:
    try:
        return solve(built.problem, seconds)
    except TimeoutError as late:
        raise PlanRefusedError(
            (
                said(
                    "plan-too-slow",
                    Severity.ERROR,
                    sites[0].name,
                    f"no assignment to {len(sites)} boards was found within {seconds:.0f} s",
                    "the search is cut off there; it may exist",
                    "allow more time, or keep some things on boards you choose with `channels`",
                ),
            )
        ) from late


MOST_APART = 20
"""Buttons and lamps that are tried by themselves, one after the other, to find out which one is to blame."""


def _apart(
    panel: Sequence[PanelNeed], stated: Callable[[Sequence[PanelNeed]], Built], seconds: float
) -> tuple[Finding, ...]:
    """The things of the panel that alone make a plan impossible that exists without them: their drives can't share a
    board. Empty where none is to blame, or where that took too long to say.
    """
    try:
        if not panel or len(panel) > MOST_APART or solve(stated(()).problem, seconds) is None:
            return ()
        alone = [thing for thing in panel if solve(stated((thing,)).problem, seconds) is None]
    except TimeoutError:
        return ()
    return tuple(refusal.apart_finding(thing) for thing in alone)


def _site_choices(layout: Layout) -> list[list[BoardSite]]:
    """The boards as stated; where none are, one implied board B1 of each profile that may do."""
    if not layout.file.board:
        return [[BoardSite("B1", profile(name), None, None, True)] for name in IMPLIED]
    sites: list[BoardSite] = []
    problems: list[Finding] = []
    for name, table in layout.file.board.items():
        try:
            sites.append(BoardSite(name, profile(table.profile), table.serial, table.at_mm, False))
        except ProfileError as error:
            problems.append(
                said(
                    "file-unknown-profile",
                    Severity.ERROR,
                    name,
                    str(error),
                    cure="choose one of these",
                    where=layout.at("board", name, "profile"),
                )
            )
    if problems:
        raise PlanRefusedError(tuple(problems))
    return [sites]


def _check_needs(network: RailNetwork, drives: Sequence[DriveNeed], feeds: Sequence[FeedNeed]) -> list[Finding]:
    """What no choice of board would cure."""
    found: list[Finding] = []
    by_name = {d.name: d for d in drives}
    for f in feeds:
        if len(f.drives) > MOST_TABLE_DRIVES:
            found.append(
                said(
                    "plan-table-drives",
                    Severity.ERROR,
                    f.output,
                    f"{len(f.drives)} drives decide what {f.output} must carry: {', '.join(f.drives)}",
                    f"a board decides by {MOST_TABLE_DRIVES} at most",
                    "feed the section through a gap further out, so that fewer turnouts lead to it",
                    f.at,
                )
            )
        two = apart(network, {network.wires[w].district for w in f.wires})
        if two is not None:
            found.append(
                said(
                    "plan-two-districts",
                    Severity.ERROR,
                    f.output,
                    f"{f.output} must carry {' or '.join(f.wires)} in turn, and {two[0]} and {two[1]} are not "
                    "declared in phase",
                    "an output switches between the two bus wires of one district",
                    f'if both are one control system in step, add in_phase = ["{two[1]}"] to [district.{two[0]}]; '
                    f"else move the boundary, so that all roads over {f.piece} lie in one district",
                    f.at,
                )
            )
        for name in f.drives:
            d = by_name.get(name)
            if d is not None and d.hand and len(d.contacts) < 2 and not f.bonded:
                found.append(
                    said(
                        "plan-single-contact",
                        Severity.ERROR,
                        name,
                        f"{name} is thrown by hand with one position contact, and the blades of {f.piece} are "
                        "not bonded",
                        f"between its ends {name} cannot be told from either, so {f.output} would meet a blade "
                        "of the other polarity",
                        'use a contact at each end (contacts = "both"), or bond the blades',
                        d.at,
                    )
                )
    return found


def _moving(layout: Layout, drives: Sequence[DriveNeed], findings: list[Finding]) -> dict[str, Moving]:
    """Every servo drive with its linkage; what is wrong with one goes to `findings`."""
    gauge = gauges.gauge(layout.file.layout.gauge)
    found: dict[str, Moving] = {}
    for d in drives:
        if d.hand:
            continue
        table = drive_table(layout, d.name)
        wrong = geometry_findings(d.name, table, d.settings, gauge, d.at)
        findings += wrong
        linkage = None if len(d.settings) != 2 else linkage_of(table, d.settings, gauge)
        if linkage is not None:
            found[d.name] = Moving(d.settings, linkage, motion_of(table))
    return found


def _board(
    layout: Layout,
    built: Built,
    solution: Solution,
    b: int,
    moving: Mapping[str, Moving],
    fixed: Fixed,
    previous: Fixed,
) -> BoardPlan:
    site = built.sites[b]
    mine = [d for d, c in zip(built.drives, built.drive_cluster, strict=True) if solution.cluster_board[c] == b]
    feeds = [
        (need, built.class_keys[b][k])
        for need, (board, k) in zip(built.feeds, solution.item_class, strict=True)
        if board == b
    ]
    p = site.profile
    held = {t: c for t, (board, c) in fixed.items() if board == site.name}
    kept = {t: c for t, (board, c) in previous.items() if board == site.name}
    lit = [t for t, c in zip(built.panel, built.panel_cluster, strict=True) if solution.cluster_board[c] == b]
    buttons = [t for t in lit if isinstance(t, ButtonNeed)]
    lamps = [t for t in lit if isinstance(t, LampNeed)]
    pin_of = wired.choose(
        p,
        [d.name for d in mine if not d.hand],
        [*(c for d in mine for c in d.contacts), *(t.name for t in buttons)],
        [t.name for t in lamps],
        held,
        kept,
    )
    if pin_of is None:
        raise PlanRefusedError((_no_single_way(layout, site, "a pin of two uses is held by one that others need"),))
    classes = site.classes(built.split[b])
    ordered = sorted(feeds, key=lambda fk: (fk[0].district, built.feeds.index(fk[0])))
    feed_of = channels.choose(
        [f.output for f, _ in ordered],
        {f.output: [c.name for c in classes[key]] for f, key in ordered},
        {c.name: c.resources for c in p.feed},
        _only(held, [f.output for f, _ in ordered]),
        _only(kept, [f.output for f, _ in ordered]),
        _domains(site),
        {f.output: f.district for f, _ in ordered},
    )
    if feed_of is None:
        why = "two relays of one pair are held by different feeds, or a group by different districts"
        raise PlanRefusedError((_no_single_way(layout, site, why),))
    by_servo = {c.name: c for c in p.servo}
    by_input = {c.name: c for c in p.input}
    by_feed = {c.name: c for c in p.feed}
    by_lamp = {c.name: c for c in p.lamp}
    normals = _normals(layout)
    drives = tuple(
        _drive_plan(
            layout,
            d,
            None if d.hand else by_servo[pin_of[d.name]],
            tuple(by_input[pin_of[c]] for c in d.contacts),
            moving.get(d.name),
            normals.get(d.name),
        )
        for d in mine
    )
    homes = {d.need.name: d.need.settings[d.home or 0] for d in drives}
    districts = {feed_of[f.output]: f.district for f, _ in feeds}
    plans = tuple(
        _feed_plan(f, by_feed[feed_of[f.output]], built.suited[f.output, b, key].moves, homes, site, districts)
        for f, key in feeds
    )
    wire = sum(distance_mm(d.place, site.place) * max(1, len(d.contacts)) for d in mine)
    wire += sum(distance_mm(f.place, site.place) for f, _ in feeds)
    wire += sum(distance_mm(t.place, site.place) for t in lit)
    served = {f.district for f, _ in feeds}
    wire += sum(built.problem.district_cost[b].get(d, 0.0) for d in served)
    return BoardPlan(
        site.name,
        p,
        site.serial,
        site.implied,
        site.place,
        drives,
        plans,
        wire,
        tuple(ButtonPlan(t, by_input[pin_of[t.name]]) for t in buttons),
        tuple(LampPlan(t, by_lamp[pin_of[t.name]]) for t in lamps),
    )


def _no_single_way(layout: Layout, site: BoardSite, why: str) -> Finding:
    return said(
        "plan-no-room",
        Severity.ERROR,
        site.name,
        f"the channels of {site.name} fit by number, but the fixed ones leave no single way to place the rest",
        why,
        "let the planner choose some of the fixed channels",
        layout.at("board", site.name),
    )


def _domains(site: BoardSite) -> dict[str, str]:
    """Feed channels that serve one district together with others: behind one enable, or on the board's
    ground.
    """
    found: dict[str, str] = {}
    for c in site.profile.feed:
        if not site.profile.switch(c).isolated:
            found[c.name] = "ground"
        elif c.enable is not None:
            found[c.name] = c.enable
    return found


def _only(held: Mapping[str, str], things: Sequence[str]) -> dict[str, str]:
    return {t: held[t] for t in things if t in held}


def _drive_plan(
    layout: Layout,
    need: DriveNeed,
    channel: ServoChannel | None,
    inputs: tuple[InputChannel, ...],
    moving: Moving | None,
    normal: str | None,
) -> DrivePlan:
    table = drive_table(layout, need.name)
    wanted = table.home if table.home in need.settings else normal
    home = need.settings.index(wanted) if wanted in need.settings else None
    return DrivePlan(
        need=need,
        channel=channel,
        inputs=inputs,
        linkage=moving.linkage if moving is not None else None,
        motion=moving.motion if moving is not None else None,
        home=home,
        release_at_rest=table.rest == "release",
        debounce_ms=round(table.debounce_ms),
    )


def _normals(layout: Layout) -> dict[str, str]:
    """For each drive the setting that the first turnout on it calls normal."""
    members = layout.file.members()
    found: dict[str, str] = {}
    for (name, _), use in drive_uses(layout.file, layout.kinds).items():
        piece = members[name]
        if isinstance(piece, Turnout):
            there = use.settings.get(piece.normal.value)
            if there is not None:
                found.setdefault(use.drive, there)
    return found


def _feed_plan(
    need: FeedNeed,
    channel: FeedChannel,
    moves: tuple[MovePlan, ...],
    homes: Mapping[str, str],
    site: BoardSite,
    districts: Mapping[str, str],
) -> FeedPlan:
    kind = site.profile.switch(channel).kind
    rest: Literal["A", "B"] | None = None
    if kind == "changeover":
        at_home = set(term({d: homes[d] for d in need.drives if d in homes}))
        rest = next((side for t, side in need.rows if set(t) <= at_home), "A")

    def one_district(watches: tuple[str, ...]) -> bool:
        return len({districts[w] for w in watches if w in districts}) == 1

    sensor = next((s for s in site.profile.sensor if channel.name in s.watches), None)
    if sensor is not None and not senses(site.profile.sensor_types[sensor.type], need):
        sensor = None
    trip = next((t for t in site.profile.trip if channel.name in t.watches), None)
    return FeedPlan(
        need,
        channel,
        moves,
        rest,
        sensor if sensor is not None and one_district(sensor.watches) else None,
        trip,
    )
