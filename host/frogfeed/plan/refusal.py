"""Why no plan fits: which limit binds, with its numbers, and what would free it."""

from __future__ import annotations

from frogfeed.findings.finding import Finding, Severity
from frogfeed.findings.words import said
from frogfeed.plan.assignment import binding_limits, exceeded_limits, left_over
from frogfeed.plan.problem import Built, PanelNeed


def unsuited_findings(built: Built) -> list[Finding]:
    """One finding for every feed that no output of any board may serve, with the first reason and its
    cure.
    """
    found: list[Finding] = []
    for need, item in zip(built.feeds, built.problem.items, strict=True):
        if item.options:
            continue
        reasons = built.unsuited[need.output]
        if not reasons:
            found.append(
                said(
                    "plan-no-output",
                    Severity.ERROR,
                    need.output,
                    f"no board has an output for {need.output}",
                    cure="add a board with switched outputs, or drop the fixed channel",
                    where=need.at,
                )
            )
            continue
        best = next((r for r in reasons if r.code != "plan-output-kind"), reasons[0])
        found.append(said(best.code, Severity.ERROR, need.output, best.what, best.why, best.cure, need.at))
    return found


SMALL = 400
"""Up to this many things the smallest set that does not fit is named; beyond it only the counts are."""


def infeasible_findings(built: Built) -> list[Finding]:
    """Which limit makes the assignment impossible, what is left over at least, and what would free it.

    Counts that exceed all boards together are told as they are; otherwise each family of limits is left out
    in turn.
    """
    p = built.problem
    counted = exceeded_limits(p)
    limits = counted or binding_limits(p)
    rest = _left_over(built)
    servos, inputs, feeds = (
        sum(c.servos for c in p.clusters),
        sum(c.inputs for c in p.clusters),
        len(p.items),
    )
    names = ", ".join(s.name for s in built.sites)
    have_servos, have_inputs = sum(b.servos for b in p.boards), sum(b.inputs for b in p.boards)
    lamps, have_lamps = sum(c.lamps for c in p.clusters), sum(b.lamps for b in p.boards)
    texts = {
        "servos": (
            f"{servos} servos, and {have_servos} servo channels on {names}",
            "add a board, or one with more servo channels",
        ),
        "inputs": (
            f"{inputs} {_read(built)}, and {have_inputs} inputs on {names}",
            "add a board, or use one contact a drive where the blades are bonded"
            + (", or do with fewer buttons" if built.panel else ""),
        ),
        "lamps": (
            f"{lamps} lamps, and {have_lamps} lamp outputs on {names}",
            "add a board, or do with fewer lamps",
        ),
        "pins": (
            f"{servos} servos, {inputs} inputs and {lamps} lamps, and some pins of {names} can only be one of these",
            "add a board, or one with more channels, or do with fewer buttons and lamps",
        ),
        "outputs": (
            f"{feeds} switched feeds, and too few outputs that suit them: {_outputs(built)}{_must_be_off(built)}",
            "add a board, or one with more pairs or enables"
            + ("" if all(f.bonded for f in built.feeds) else ", or bond blades so that simpler outputs will do"),
        ),
        "districts": (
            "outputs that share an enable or the board's ground serve one district only",
            "add a board for the second district, or one with more groups",
        ),
        "together": (
            "drives that decide one table must share a board with its feed: " + _largest(built),
            "use a larger board for these, or let fewer drives decide",
        ),
    }
    where = next((d.at for d in built.drives if d.at is not None), None)
    hint = " ([board.NAME] with a profile; none is stated now)" if any(x.implied for x in built.sites) else ""
    subject = built.sites[0].name if built.sites else "boards"
    if not limits:
        return [
            said(
                "plan-no-room",
                Severity.ERROR,
                subject,
                "the layout does not fit the boards, and no single limit is to blame",
                f"several limits bind at once{rest}",
                "add a board, or move some fixed channels" + hint,
                where,
            )
        ]
    if counted:
        return [
            said(
                "plan-no-room",
                Severity.ERROR,
                subject,
                f"the layout does not fit the boards: {texts[limit][0]}",
                f"more is asked than all boards together have{rest}",
                texts[limit][1] + hint,
                where,
            )
            for limit in counted
        ]
    first, *others = limits
    also = f"; or else: {'; '.join(texts[x][1] for x in others)}" if others else ""
    return [
        said(
            "plan-no-room",
            Severity.ERROR,
            subject,
            f"the layout does not fit the boards: {texts[first][0]}",
            f"lifting this limit alone would do{rest}",
            texts[first][1] + also + hint,
            where,
        )
    ]


def apart_finding(thing: PanelNeed) -> Finding:
    """Why a button or lamp fits on no board: a firmware throws and knows only the drives of its own board."""
    drives = ", ".join(drive for drive, _ in thing.moves)
    wants = f"needs {drives} on one board" if drives else f"needs {getattr(thing, 'feed', None) or 'a channel'}"
    of = f" of {thing.board}" if thing.board is not None else ""
    what = f"it {wants}{of}, and without it they fit the boards"
    return said(
        "plan-panel-board",
        Severity.ERROR,
        thing.name,
        what if drives else f"it {wants}{of}, which does not fit",
        "a board throws its own drives only, and knows of no others",
        "split it, one for the drives of each board; or free channels on one board, or let the planner choose more of "
        "them",
        thing.at,
    )


def _read(built: Built) -> str:
    return "position contacts and buttons" if built.panel else "position contacts"


def _left_over(built: Built) -> str:
    """The smallest set of drives that would have to go elsewhere, in words."""
    p = built.problem
    if len(p.clusters) + len(p.items) > SMALL:
        return ""
    found = left_over(p)
    if not found:
        return ""
    names = [d.name for d, c in zip(built.drives, built.drive_cluster, strict=True) if c in found]
    if not names:
        return ""
    shown = ", ".join(names[:6]) + (f" and {len(names) - 6} more" if len(names) > 6 else "")
    return f"; without {shown} the rest fits"


def _outputs(built: Built) -> str:
    counts: dict[str, int] = {}
    for board in built.problem.boards:
        for cls in board.classes:
            name = cls.name.split(" ")[0]
            counts[name] = counts.get(name, 0) + cls.count
    return ", ".join(f"{n} {name}" for name, n in sorted(counts.items())) or "none"


def _must_be_off(built: Built) -> str:
    """The feeds that no bare output may serve as they must be off at some settings, in words."""
    names = [o for o, reasons in built.unsuited.items() if any(r.code == "plan-needs-off" for r in reasons)]
    if not names:
        return ""
    shown = ", ".join(names[:6]) + (f" and {len(names) - 6} more" if len(names) > 6 else "")
    return f"; {shown} must be off at some settings, and a bare changeover or latching output has no off"


def _largest(built: Built) -> str:
    sizes: dict[int, list[str]] = {}
    for d, c in zip(built.drives, built.drive_cluster, strict=True):
        sizes.setdefault(c, []).append(d.name)
    group = max(sizes.values(), key=len, default=[])
    return ", ".join(group[:8]) + (" and more" if len(group) > 8 else "")
