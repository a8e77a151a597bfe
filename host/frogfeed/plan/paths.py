"""The electrical path to each frog, once its output is chosen: contacts on the way, and the wire from the
board.
"""

from __future__ import annotations

from frogfeed.electrics import practice
from frogfeed.electrics.circuit import OutputPath
from frogfeed.plan.model import Plan
from frogfeed.plan.problem import distance_mm

LEAST_MM = 100.0
"""No frog's wire is shorter than this, wherever the board is."""


def output_paths(plan: Plan) -> dict[str, OutputPath]:
    """By output: its closed resistance with half its enable's (one pole each way), and its wire."""
    found: dict[str, OutputPath] = {}
    for board in plan.boards:
        for f in board.feeds:
            ohm = board.profile.switch(f.channel).on_ohm.value
            if f.channel.enable is not None:
                enable = next(e for e in board.profile.enable if e.name == f.channel.enable)
                ohm += board.profile.enable_types[enable.type].on_ohm.value / 2.0
            known = f.need.place is not None and board.place is not None
            mm = max(distance_mm(f.need.place, board.place), LEAST_MM) if known else practice.FEED_MM.value
            found[f.need.output] = OutputPath(ohm, mm)
    return found
