"""Whether the firmware takes what the plan would send it, told at the place in the layout file that decides it."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import replace

from frogfeed.findings.finding import Finding, Location, Severity
from frogfeed.findings.words import said
from frogfeed.layout.model import Layout
from frogfeed.plan.model import BoardPlan, ButtonNeed, LampNeed, Plan
from frogfeed.plan.settings import SettingsError, build_settings

PATH = re.compile(r"(drives|feeds|inputs|sensors|panel\.buttons|panel\.lamps)\[(\d+)\]\.?([A-Za-z_]*)")
"""The start of a reason: the list, the place in it, and the key there, if it names one."""


def settings_findings(layout: Layout, plan: Plan) -> Iterator[Finding]:
    """One error for each board whose settings document the firmware would refuse, with its own first reason."""
    for board in plan.boards:
        try:
            build_settings(layout, replace(plan, boards=(board,)))
        except SettingsError as refused:
            subject, of, where = _place(layout, board, refused)
            path, _, reason = refused.reason.rpartition(": ")
            yield said(
                "settings-refused",
                Severity.ERROR,
                subject,
                f"the firmware of board {board.name} refuses{of}: {reason} ({path})",
                "a board keeps its old settings rather than take any it cannot keep to",
                "change what the layout file says there, or use a board of another profile",
                where,
            )


def _place(layout: Layout, board: BoardPlan, refused: SettingsError) -> tuple[str, str, Location | None]:
    """What a reason is about: its name, the same in words, and where the file decides it."""
    at_board = layout.at("board", board.name) if board.name in layout.file.board else None
    found = PATH.match(refused.reason)
    if found is None:
        return board.name, " its settings", at_board
    part, index, key = found[1], int(found[2]), found[3]
    if part == "panel.buttons":
        return _panel(board.buttons[index].need)
    if part == "panel.lamps":
        return _panel(board.lamps[index].need)
    entries = refused.document.get(part, [])
    if index >= len(entries):
        return board.name, " its settings", at_board
    name = str(entries[index]["name"])
    button = next((b.need for b in board.buttons if part == "inputs" and b.need.name == name), None)
    if button is not None:
        return _panel(button)
    what = f" {key.replace('_', ' ').removesuffix(' ms').removesuffix(' us')}" if key else " the settings"
    if part == "drives" or (part == "inputs" and name.rpartition(".")[0]):
        drive = name if part == "drives" else name.rpartition(".")[0]
        need = next((d.need for d in board.drives if d.need.name == drive), None)
        where = need.at if need is not None else None
        if drive in layout.file.drive:
            where = layout.at("drive", drive, key)
        return drive, f"{what} of drive {drive}", where
    feed = index if part == "feeds" else next(iter(entries[index].get("watches", ())), None)
    if feed is None or feed >= len(board.feeds):
        return name, f"{what} of {name}", at_board
    need_of = board.feeds[feed].need
    if part == "feeds":
        return name, f"{what} of {name}", need_of.at
    return need_of.district, f"{what} of {name}", layout.at("district", need_of.district, key)


def _panel(need: ButtonNeed | LampNeed) -> tuple[str, str, Location | None]:
    return need.name, f" the {need.name.replace('.', ' ')}", need.at
