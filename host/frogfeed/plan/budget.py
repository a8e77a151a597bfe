"""What each supply is asked for: servos that move at once with the stagger that keeps below it, and
trains.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass

from frogfeed.findings.finding import Finding, Severity
from frogfeed.findings.words import said
from frogfeed.plan.model import BoardPlan, Plan


@dataclass(frozen=True, slots=True)
class ServoBudget:
    """One board's servo supply. `starting_a` is `at_once` servos at their stall current and the rest at idle.

    `stagger_ms` is the time a route takes that throws every servo of the board, `at_once` at a time.
    """

    board: str
    servos: int
    at_once: int
    starting_a: float
    moving_a: float
    supply_a: float
    stagger_ms: float


def servos_at_once(board: BoardPlan) -> int:
    """How many servos may move together: what the profile says, less if the servo supply would not start
    them.

    Each moving servo is reckoned at its stall current, as it starts, and the resting ones at their idle
    current.
    """
    s = board.profile.servos
    servos = sum(1 for d in board.drives if d.channel is not None)
    for count in range(min(s.max_moving, max(servos, 1)), 1, -1):
        if count * s.stall_a.value + (servos - count) * s.idle_a.value <= s.supply_a.value + 1e-9:
            return count
    return 1


def servo_budget(board: BoardPlan) -> ServoBudget:
    """The budget of one board's servos."""
    s = board.profile.servos
    travels = sorted(
        (d.motion.travel_ms + d.motion.behind_ms for d in board.drives if d.motion is not None), reverse=True
    )
    at_once = servos_at_once(board)
    resting = max(len(travels) - at_once, 0) * s.idle_a.value
    moving = min(at_once, len(travels))
    rounds = math.ceil(len(travels) / at_once)
    return ServoBudget(
        board.name,
        len(travels),
        at_once,
        moving * s.stall_a.value + resting,
        moving * s.moving_a.value + resting,
        s.supply_a.value,
        sum(travels[i * at_once] for i in range(rounds)),
    )


def budget_findings(plan: Plan) -> Iterator[Finding]:
    """Boards whose servo supply cannot start even one servo beside the resting ones."""
    for board in plan.boards:
        b = servo_budget(board)
        if b.servos and b.starting_a > b.supply_a:
            yield said(
                "elec-servo-supply",
                Severity.WARNING,
                board.name,
                f"one servo starting and {b.servos - 1} at rest ask {b.starting_a:.1f} A of board "
                f"{board.name}'s "
                f"servo supply, which gives {b.supply_a:g} A",
                "the supply dips, and every servo on it twitches",
                "use a stronger servo supply",
            )
