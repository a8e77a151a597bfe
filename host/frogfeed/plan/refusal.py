"""Why no plan fits: which limit binds, with its numbers, and what would free it."""

from __future__ import annotations

from frogfeed.findings.finding import Finding, Severity
from frogfeed.findings.words import said
from frogfeed.plan.assignment import binding_limits
from frogfeed.plan.problem import Built


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


def infeasible_findings(built: Built) -> list[Finding]:
    """Which limit makes the assignment impossible, tested by leaving each family of limits out in turn."""
    p = built.problem
    limits = binding_limits(p)
    servos, inputs, feeds = (
        sum(c.servos for c in p.clusters),
        sum(c.inputs for c in p.clusters),
        len(p.items),
    )
    names = ", ".join(s.name for s in built.sites)
    have_servos, have_inputs = sum(b.servos for b in p.boards), sum(b.inputs for b in p.boards)
    texts = {
        "servos": (
            f"{servos} servos, and {have_servos} servo channels on {names}",
            "add a board, or one with more servo channels",
        ),
        "inputs": (
            f"{inputs} position contacts, and {have_inputs} inputs on {names}",
            "add a board, or use one contact a drive where the blades are bonded",
        ),
        "outputs": (
            f"{feeds} switched feeds, and too few outputs that suit them: {_outputs(built)}",
            "add a board, or bond blades so that simpler outputs will do",
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
    if not limits:
        limits = ("servos", "outputs")
    where = next((d.at for d in built.drives if d.at is not None), None)
    implied = any(s.implied for s in built.sites)
    return [
        said(
            "plan-no-room",
            Severity.ERROR,
            built.sites[0].name if built.sites else "boards",
            f"the layout does not fit the boards: {texts[limit][0]}",
            "nothing can be assigned until this limit is lifted; lifting it alone would do"
            if len(limits) == 1
            else "lifting this limit alone would do",
            texts[limit][1] + (" ([board.NAME] with a profile; none is stated now)" if implied else ""),
            where,
        )
        for limit in limits[:1]
    ]


def _outputs(built: Built) -> str:
    counts: dict[str, int] = {}
    for board in built.problem.boards:
        for cls in board.classes:
            name = cls.name.split(" ")[0]
            counts[name] = counts.get(name, 0) + cls.count
    return ", ".join(f"{n} {name}" for name, n in sorted(counts.items())) or "none"


def _largest(built: Built) -> str:
    sizes: dict[int, list[str]] = {}
    for d, c in zip(built.drives, built.drive_cluster, strict=True):
        sizes.setdefault(c, []).append(d.name)
    group = max(sizes.values(), key=len, default=[])
    return ", ".join(group[:8]) + (" and more" if len(group) > 8 else "")
