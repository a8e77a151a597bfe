"""The panel: each button and lamp has one job, and every drive, setting, route, board and feed it names exists."""

from __future__ import annotations

from collections.abc import Collection, Mapping

from frogfeed.layout.checks import pieces_by_path
from frogfeed.layout.mistakes import Mistakes, did_you_mean, listed, shown
from frogfeed.layout.positions import KeyPath
from frogfeed.layout.schema import (
    Button,
    District,
    DriveKind,
    LayoutFile,
    OnTrip,
    PanelLamp,
    Piece,
    Place,
    StoredRoute,
)

BUTTON_JOBS = ("drive", "pair", "route", "does")
LAMP_JOBS = ("drive", "route", "shows")
RESERVED = ("button", "lamp")


def check_panel(
    file: LayoutFile,
    settings: Mapping[str, tuple[str, ...]],
    unclear: Collection[str],
    doubtful: Collection[str],
    mistakes: Mistakes,
) -> None:
    """All tables of the panel. `settings` are every drive's; nothing is said of drives that are `unclear`."""
    _PanelChecker(file, settings, unclear, doubtful, mistakes).check()


def panel_things(file: LayoutFile) -> set[str]:
    """What a board's channels may be kept for, by the panel's tables: "button.NAME" and "lamp.NAME"."""
    return {*(f"button.{name}" for name in file.button), *(f"lamp.{name}" for name in file.lamp)}


def check_trips(file: LayoutFile, mistakes: Mistakes) -> None:
    """What feeds do after a trip: retries only where there are any."""
    tables: list[tuple[KeyPath, District | Piece | Place]] = [
        *((("district", name), d) for name, d in file.district.items()),
        *((path, piece) for path, _, piece in pieces_by_path(file)),
        *((("place", name), place) for name, place in file.place.items()),
    ]
    for path, table in tables:
        if table.on_trip is not OnTrip.LATCH:
            continue
        for key in ("retries", "retry_ms"):
            if getattr(table, key) is not None:
                mistakes.add(
                    "file-trip-keys",
                    (*path, key),
                    f'{key} is given, and on_trip = "latch" says that it is never tried again',
                    cure='Remove it, or write on_trip = "retry".',
                    at_key=True,
                )


class _PanelChecker:
    def __init__(
        self,
        file: LayoutFile,
        settings: Mapping[str, tuple[str, ...]],
        unclear: Collection[str],
        doubtful: Collection[str],
        mistakes: Mistakes,
    ) -> None:
        self.file = file
        self.settings = settings
        self.unclear = unclear
        self.doubtful = doubtful
        self.mistakes = mistakes
        self.pieces = {name: path for path, name, _ in pieces_by_path(file)}

    def check(self) -> None:
        if self.file.button or self.file.lamp:
            self._reserved()
        for name, route in self.file.route.items():
            if name not in self.doubtful:
                self._route(("route", name), route)
        for name, button in self.file.button.items():
            self._button(("button", name), button)
        for name, lamp in self.file.lamp.items():
            self._lamp(("lamp", name), lamp)

    def _reserved(self) -> None:
        for name in RESERVED:
            for path in (self.pieces.get(name), ("place", name) if name in self.file.place else None):
                if path is not None:
                    self.mistakes.add(
                        "file-name-twice",
                        path,
                        f"a {path[0]} is called {name}, and the panel's things are called {name}.NAME",
                        why="Its feed and a thing of the panel could have one name on sheets and channels.",
                        cure="Give it another name.",
                        subject=name,
                    )

    def _route(self, path: KeyPath, route: StoredRoute) -> None:
        way = [key for key, value in (("from", route.start), ("to", route.to)) if value is not None]
        if route.set is not None and (way or route.via):
            also = listed([*way, *(["via"] if route.via else [])])
            self._way(path, f"{path[1]} says its way both by set and by {also}")
        elif route.set is None and len(way) < 2:
            said = f"only says {way[0]}" if way else "says nothing of its way"
            self._way(path, f"{path[1]} {said}")
        elif route.set is not None and not route.set:
            self._way(path, f"{path[1]} sets no drive")
        elif route.set is not None:
            self._moves((*path, "set"), route.set, throws=True)
        known = {*self.file.place, *self.pieces}
        named: list[tuple[KeyPath, str]] = [
            *(((*path, key), value) for key, value in (("from", route.start), ("to", route.to)) if value is not None),
            *(((*path, "via", i), value) for i, value in enumerate(route.via)),
        ]
        for at, value in named:
            if value not in known and value not in self.doubtful:
                self.mistakes.add(
                    "file-unknown-place",
                    at,
                    f"there is no place or piece {shown(value)}",
                    cure=did_you_mean(value, sorted(known)),
                )

    def _way(self, path: KeyPath, what: str) -> None:
        self.mistakes.add(
            "file-route-way",
            path,
            what,
            why="A stored route either lists drives with their settings, or names where it begins and ends.",
            cure='Write set = { T1 = "left", T2 = "right" }, or from = "..." and to = "...".',
        )

    def _button(self, path: KeyPath, button: Button) -> None:
        jobs = [j for j in BUTTON_JOBS if getattr(button, j) is not None]
        if self._one_job(path, jobs, "button", "A press does one thing.", "drive, pair, route or does"):
            self._half(path, "to" if button.to is not None else None, "drive", button.drive)
        if button.drive is not None:
            self._drive((*path, "drive"), button.drive, throws=True)
            if button.to is not None:
                self._setting((*path, "to"), button.drive, button.to)
        if button.pair is not None:
            if len(button.pair) < 2:
                self.mistakes.add(
                    "file-panel-job",
                    (*path, "pair"),
                    f"the pair of {path[1]} names {'one drive' if button.pair else 'no drive'}",
                    why="A pair is two drives or more that one press throws together.",
                    cure='Write drive = "..." for one drive, with to = "..." for a setting.',
                )
            self._moves((*path, "pair"), button.pair, throws=True)
        self._common(path, button)

    def _lamp(self, path: KeyPath, lamp: PanelLamp) -> None:
        jobs = [j for j in LAMP_JOBS if getattr(lamp, j) is not None]
        if self._one_job(path, jobs, "lamp", "A lamp shows one thing.", "drive with setting, route or shows"):
            self._half(path, "setting" if lamp.setting is not None else None, "drive", lamp.drive)
            fault = lamp.shows if lamp.shows == "fault" else None
            self._half(path, "feed" if lamp.feed is not None else None, 'shows = "fault"', fault)
            if lamp.drive is not None and lamp.setting is None and lamp.drive in self.settings:
                first = listed([f'"{s}"' for s in self.settings[lamp.drive]], last="or")
                self.mistakes.add(
                    "file-panel-job",
                    (*path, "drive"),
                    f"{path[1]} does not say which setting of {lamp.drive} it shows",
                    cure=f"Add setting = {first}.",
                )
        if lamp.drive is not None:
            self._drive((*path, "drive"), lamp.drive, throws=False)
            if lamp.setting is not None:
                self._setting((*path, "setting"), lamp.drive, lamp.setting)
        if lamp.feed is not None:
            owner = lamp.feed.partition(".")[0]
            owners = {*self.file.place, *self.pieces}
            if owner not in owners and owner not in self.doubtful:
                self.mistakes.add(
                    "file-unknown-feed",
                    (*path, "feed"),
                    f"there is no piece or place {shown(owner)} that could have a switched feed",
                    why="A frog's feed is called after its rail (T1.F), a section's after its place.",
                    cure=did_you_mean(owner, sorted(owners)),
                )
        self._common(path, lamp)

    def _one_job(self, path: KeyPath, jobs: list[str], what: str, why: str, choices: str) -> bool:
        if len(jobs) == 1:
            return True
        if not self.mistakes.under(path):
            told = f"has {'two' if len(jobs) == 2 else len(jobs)} jobs: {listed(jobs)}" if jobs else "has no job"
            cure = f"Keep one of them; a second {what} can do the other." if jobs else f"Give it one of: {choices}."
            self.mistakes.add("file-panel-job", path, f"the {what} {path[1]} {told}", why=why, cure=cure)
        return False

    def _half(self, path: KeyPath, key: str | None, wants: str, there: object) -> None:
        """A key that means something only beside another one."""
        if key is not None and there is None:
            self.mistakes.add(
                "file-panel-job",
                (*path, key),
                f"{key} says nothing without {wants}",
                cure=f"Remove it, or give {path[1]} that job.",
                at_key=True,
            )

    def _common(self, path: KeyPath, thing: Button | PanelLamp) -> None:
        if thing.route is not None and thing.route not in self.file.route and thing.route not in self.doubtful:
            self.mistakes.add(
                "file-unknown-route",
                (*path, "route"),
                f"there is no stored route {shown(thing.route)}",
                cure=did_you_mean(thing.route, sorted(self.file.route), f"Declare it: [route.{thing.route}]."),
            )
        if thing.board is not None and thing.board not in self.file.board and thing.board not in self.doubtful:
            self.mistakes.add(
                "file-unknown-board",
                (*path, "board"),
                f"there is no board {shown(thing.board)}",
                cure=did_you_mean(thing.board, sorted(self.file.board), f"Declare it: [board.{thing.board}]."),
            )

    def _moves(self, path: KeyPath, moves: Mapping[str, str], *, throws: bool) -> None:
        for drive, setting in moves.items():
            if self._drive((*path, drive), drive, throws=throws):
                self._setting((*path, drive), drive, setting)

    def _drive(self, path: KeyPath, name: str, *, throws: bool) -> bool:
        """Whether there is such a drive, and one that a button can throw where it `throws`."""
        if name in self.doubtful or name in self.unclear:
            return False
        if name not in self.settings:
            self.mistakes.add(
                "file-unknown-drive",
                path,
                f"there is no drive {shown(name)}",
                why="Buttons, lamps and stored routes speak of drives; a turnout's own drive bears its name.",
                cure=self._near_drive(name),
                at_key=isinstance(path[-1], str) and path[-1] == name,
            )
            return False
        table = self.file.drive.get(name)
        if throws and table is not None and table.kind is DriveKind.HAND:
            self.mistakes.add(
                "file-panel-hand",
                path,
                f"{name} is thrown by hand: no button can throw it",
                cure="Leave it out; a lamp can show where it stands.",
                at_key=isinstance(path[-1], str) and path[-1] == name,
            )
            return False
        return True

    def _near_drive(self, name: str) -> str:
        users = [d for d in self.settings if d.startswith(f"{name}-")]
        if users:
            return f"The drives of {name} are {listed(users)}."
        if name in self.pieces:
            return f"{name} is a piece that another drive throws, or none; name the drive. " + did_you_mean(
                name, sorted(self.settings)
            )
        return did_you_mean(name, sorted(self.settings))

    def _setting(self, path: KeyPath, drive: str, setting: str) -> None:
        have = self.settings.get(drive)
        if have is None or drive in self.unclear or setting in have:
            return
        self.mistakes.add(
            "file-panel-setting",
            path,
            f"the drive {drive} has no setting {shown(setting)}",
            cure=did_you_mean(setting, have),
        )
