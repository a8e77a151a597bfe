"""What the panel asks of the boards: buttons with the drives they throw, lamps with what they show."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

from frogfeed.findings.finding import Finding, Location, Severity
from frogfeed.findings.words import said
from frogfeed.layout.mistakes import did_you_mean
from frogfeed.layout.model import Layout
from frogfeed.layout.schema import Button, PanelLamp, StoredRoute
from frogfeed.plan.model import ButtonNeed, DriveNeed, FeedNeed, LampNeed, Moves
from frogfeed.track.network.conditions import holds
from frogfeed.track.network.model import RailNetwork
from frogfeed.track.routes.ways import TooManyWaysError, Way, shortest_ways


@dataclass(frozen=True, slots=True)
class PanelNeeds:
    """Buttons and lamps in the file's order, and what is wrong with them."""

    buttons: tuple[ButtonNeed, ...] = ()
    lamps: tuple[LampNeed, ...] = ()
    findings: tuple[Finding, ...] = ()


def panel_needs(
    layout: Layout,
    network: RailNetwork,
    drives: Sequence[DriveNeed],
    feeds: Sequence[FeedNeed],
    normals: Mapping[str, str],
) -> PanelNeeds:
    """The panel of a layout. `drives` and `feeds` are what boards serve; `normals` the settings called normal."""
    reader = _Reader(layout, network, drives, feeds, normals)
    buttons = tuple(reader.button(name, table) for name, table in layout.file.button.items())
    lamps = tuple(reader.lamp(name, table) for name, table in layout.file.lamp.items())
    used = {b.route for b in buttons} | {lamp.route for lamp in lamps}
    for name in layout.file.route:
        reader.route(name)
        if name not in used:
            reader.unused(name)
    return PanelNeeds(buttons, lamps, tuple(reader.findings))


class _Reader:
    def __init__(
        self,
        layout: Layout,
        network: RailNetwork,
        drives: Sequence[DriveNeed],
        feeds: Sequence[FeedNeed],
        normals: Mapping[str, str],
    ) -> None:
        self.layout = layout
        self.network = network
        self.drives = {d.name: d for d in drives}
        self.outputs = [f.output for f in feeds]
        self.normals = normals
        self.findings: list[Finding] = []
        self.laid: dict[str, Moves] = {}

    def button(self, name: str, table: Button) -> ButtonNeed:
        at = self.layout.at("button", name)
        does: Literal["set", "toggle", "all_off", "reset"] = "set"
        moves: Moves = ()
        if table.does is not None:
            does = "all_off" if table.does == "all-off" else "reset"
        elif table.route is not None:
            moves = self.route(table.route)
        elif table.pair is not None:
            does = "toggle"
            moves = tuple(table.pair.items())
            back = {d: s for drive, setting in moves for d, s in self._back(drive, setting)}
            self._allowed(f"button.{name}", dict(moves), at)
            self._allowed(f"button.{name}", back, at)
        elif table.drive is not None and table.to is not None:
            moves = ((table.drive, table.to),)
        elif table.drive is not None:
            does = "toggle"
            moves = tuple((table.drive, s) for s in self._first(table.drive))
        self._served(f"button.{name}", moves, at)
        board = self._board(f"button.{name}", table, bool(moves), at)
        return ButtonNeed(f"button.{name}", does, moves, table.route, board, table.at_mm, at)

    def lamp(self, name: str, table: PanelLamp) -> LampNeed:
        at = self.layout.at("lamp", name)
        shows: Literal["set", "fault", "all_off"] = "set"
        moves: Moves = ()
        if table.shows is not None:
            shows = "all_off" if table.shows == "all-off" else "fault"
        elif table.route is not None:
            moves = self.route(table.route)
        elif table.drive is not None and table.setting is not None:
            moves = ((table.drive, table.setting),)
        self._served(f"lamp.{name}", moves, at)
        if table.feed is not None and table.feed not in self.outputs:
            self.findings.append(
                said(
                    "plan-lamp-feed",
                    Severity.ERROR,
                    f"lamp.{name}",
                    f"no switched feed is called {table.feed}",
                    "the lamp would show the fault of nothing",
                    did_you_mean(table.feed, self.outputs, "the layout has no switched feeds: remove the lamp"),
                    self.layout.at("lamp", name, "feed"),
                )
            )
        board = self._board(f"lamp.{name}", table, bool(moves) or table.feed is not None, at)
        return LampNeed(f"lamp.{name}", shows, moves, table.feed, table.route, board, table.at_mm, at)

    def route(self, name: str) -> Moves:
        """The drives and settings of a stored route; what is wrong with it is told once."""
        if name not in self.laid:
            table = self.layout.file.route[name]
            at = self.layout.at("route", name)
            moves = tuple(table.set.items()) if table.set is not None else self._way(name, table, at)
            self._allowed(f"route.{name}", dict(moves), at)
            self.laid[name] = moves
        return self.laid[name]

    def unused(self, name: str) -> None:
        """Note a stored route that nothing lays or shows."""
        self.findings.append(
            said(
                "plan-route-unused",
                Severity.NOTE,
                f"route.{name}",
                "no button lays it and no lamp shows it",
                cure=f'add route = "{name}" to a button or lamp, or remove the table',
                where=self.layout.at("route", name),
            )
        )

    def _way(self, name: str, table: StoredRoute, at: Location | None) -> Moves:
        start, goal = table.start or "", table.to or ""
        ends = f"from {start} to {goal}" + (f" over {' and '.join(table.via)}" if table.via else "")
        try:
            ways = shortest_ways(self.network, start, goal, table.via)
        except TooManyWaysError:
            self._no_route(name, f"there are too many ways {ends} to try them all", "more than one way branches", at)
            return ()
        if not ways:
            self._no_route(
                name, f"no train gets {ends} without turning round", "no setting of the drives leads it there", at
            )
            return ()
        if len(ways) > 1:
            self._no_route(name, f"several ways lead {ends}: {_differ(ways)}", "none of them is shorter", at)
            return ()
        moves = ways[0].settings
        hand = [d for d, _ in moves if d in self.drives and self.drives[d].hand]
        if hand or not moves:
            what = f"the way {ends} runs over {hand[0]}, which is thrown by hand" if hand else f"no drive sets {ends}"
            by_servo = "list in set the drives that have a servo, and throw the others by hand"
            self._no_route(name, what, "a button throws what has a servo", at, by_servo if hand else "")
            return ()
        return moves

    def _no_route(self, name: str, what: str, why: str, at: Location | None, cure: str = "") -> None:
        cure = cure or "name a piece or place on the way in via, or list the drives with their settings in set"
        self.findings.append(said("plan-route-way", Severity.ERROR, f"route.{name}", what, why, cure, at))

    def _allowed(self, thing: str, settings: Mapping[str, str], at: Location | None) -> None:
        for term in self.network.forbidden:
            if holds((term,), settings):
                both = " and ".join(f"{d} {s}" for d, s in term)
                self.findings.append(
                    said(
                        "plan-panel-forbidden",
                        Severity.ERROR,
                        thing,
                        f"it sets {both} together, for which there is no road",
                        "blades would lie where no train can run, and may short",
                        "leave one of them out, or set it the other way",
                        at,
                    )
                )

    def _first(self, drive: str) -> tuple[str, ...]:
        """The setting that a toggle prefers while the drive's is not known: its home, its normal or its first."""
        need = self.drives.get(drive)
        if need is None:
            return ()
        table = self.layout.file.drive.get(drive)
        wanted = (table.home if table is not None else None) or self.normals.get(drive)
        return (wanted,) if wanted in need.settings else need.settings[:1]

    def _back(self, drive: str, setting: str) -> list[tuple[str, str]]:
        need = self.drives.get(drive)
        return [] if need is None else [(drive, s) for s in need.settings if s != setting][:1]

    def _served(self, thing: str, moves: Moves, at: Location | None) -> None:
        """Drives that no board serves, as two position contacts cannot tell their settings apart."""
        for drive, _ in moves:
            if drive not in self.drives:
                self.findings.append(
                    said(
                        "plan-panel-drive",
                        Severity.ERROR,
                        thing,
                        f"no board serves the drive {drive}",
                        "it is thrown by hand between more than two settings, which two contacts cannot tell apart",
                        f"leave {drive} out",
                        at,
                    )
                )

    def _board(self, thing: str, table: Button | PanelLamp, tied: bool, at: Location | None) -> str | None:
        boards = tuple(self.layout.file.board)
        if table.board is None and not tied and len(boards) > 1:
            acts = "acts on" if isinstance(table, Button) else "speaks of"
            self.findings.append(
                said(
                    "plan-panel-board",
                    Severity.ERROR,
                    thing,
                    f"it {acts} the feeds of one board, and there are {len(boards)}: {', '.join(boards)}",
                    "a board knows nothing of the others; who trusts it for all of them is wrong",
                    f'say which with board = "{boards[0]}", and give each other board one of its own',
                    at,
                )
            )
        return table.board


def _differ(ways: Sequence[Way]) -> str:
    """What the first two ways run over that the other does not."""
    first, second = ways[0].over, ways[1].over
    own = [next((p for p in a if p not in b), "") for a, b in ((first, second), (second, first))]
    if all(own):
        return f"over {own[0]}, or over {own[1]}"
    return "over " + ", or over ".join(" ".join(w.over) for w in ways[:2])
