"""What a finished plan should tell besides its channels."""

from __future__ import annotations

from collections.abc import Sequence

from frogfeed.findings.finding import Finding, Severity
from frogfeed.findings.words import said
from frogfeed.plan.model import BoardPlan, DriveNeed, FeedNeed
from frogfeed.plan.needs import readable
from frogfeed.plan.suit import senses


def _sensor_notes(b: BoardPlan) -> list[Finding]:
    """Sensors that the board has and the plan leaves out: blind there, or ahead of two districts."""
    found: list[Finding] = []
    for s in b.profile.sensor:
        behind = [f for f in b.feeds if f.channel.name in s.watches]
        if not behind or any(f.sensor is not None for f in behind):
            continue
        names = ", ".join(f.need.output for f in behind)
        blind = not senses(b.profile.sensor_types[s.type], behind[0].need)
        found.append(
            said(
                "plan-sensor-blind",
                Severity.NOTE,
                behind[0].need.output,
                f"sensor {s.name} of board {b.name} is left out: "
                + ("it cannot see this track's current" if blind else f"its outputs {names} serve two districts"),
                "an averaging sensor reads zero on DCC, and one on the board's ground must stay within its range"
                if blind
                else "one sensor in one bus wire cannot stand in two",
                "the district's supply must clear a short there; or choose other channels",
                behind[0].need.at,
            )
        )
    return found


def unread_findings(drives: Sequence[DriveNeed], feeds: Sequence[FeedNeed]) -> list[Finding]:
    """Hand drives that no board can read: a note, or an error where a switched feed depends on one."""
    found: list[Finding] = []
    for d in drives:
        if readable(d):
            continue
        users = [f.output for f in feeds if d.name in f.drives]
        ways = ", ".join(d.settings)
        found.append(
            said(
                "plan-hand-settings" if users else "plan-hand-unread",
                Severity.ERROR if users else Severity.NOTE,
                d.name,
                f"{d.name} is thrown by hand between {len(d.settings)} settings ({ways}), "
                + (f"and {', '.join(users)} must follow it" if users else "so no board reads where it stands"),
                "a board reads a hand drive by two position contacts, which tell two settings apart",
                "feed these rails straight from a bus, or through a drive with two settings"
                if users
                else "nothing: no switched feed depends on it",
                d.at,
            )
        )
    return found


def plan_notes(boards: Sequence[BoardPlan]) -> list[Finding]:
    """Notes on a finished plan: boards implied, outputs without an off, sensors left out."""
    found: list[Finding] = []
    for b in boards:
        found += _sensor_notes(b)
        if b.implied:
            found.append(
                said(
                    "plan-implied-board",
                    Severity.NOTE,
                    b.name,
                    f"no board is stated, so one {b.name} of profile {b.profile.name} is planned for",
                    cure=f'add [board.{b.name}] with profile = "{b.profile.name}" to make it yours',
                )
            )
        for f in b.feeds:
            if b.profile.switch(f.channel).kind != "pair" and f.channel.enable is None:
                found.append(
                    said(
                        "plan-no-off",
                        Severity.NOTE,
                        f.need.output,
                        f"{f.need.output} is on a bare {b.profile.switch(f.channel).kind} output, which has no off",
                        "on a short it stays where it is, and the district's supply must clear it",
                        "give it a pair where it matters, or put an enable ahead of its group",
                        f.need.at,
                    )
                )
    return found
