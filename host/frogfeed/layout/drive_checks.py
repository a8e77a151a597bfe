"""Drives against the pieces that use them: names, settings, mappings, pulses and homes."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

from frogfeed.layout.checks import pieces_by_path
from frogfeed.layout.drives import DriveUseResolved, default_drive, resolve_use, slots_of, stated_drive
from frogfeed.layout.ends import KindShape
from frogfeed.layout.mistakes import Mistakes, did_you_mean, listed, nearest, shown
from frogfeed.layout.positions import KeyPath
from frogfeed.layout.schema import Drive, DriveKind, DriveUse, LayoutFile, OwnPiece, Piece, Place


def _slot_path(path: KeyPath, piece: Piece | Place, slot: str) -> KeyPath:
    return (*path, "drives", slot) if isinstance(piece, OwnPiece) else (*path, slot)


class DriveChecker:
    """Checks all drives; `settings` afterwards has every drive's settings, as far as they are certain."""

    def __init__(
        self,
        file: LayoutFile,
        shapes: Mapping[str, KindShape | None],
        doubtful: frozenset[str],
        mistakes: Mistakes,
    ) -> None:
        self.file = file
        self.shapes = shapes
        self.doubtful = doubtful
        self.mistakes = mistakes
        self.settings: dict[str, tuple[str, ...]] = {}
        self.unclear: set[str] = set()
        self.users: dict[str, list[tuple[str, KeyPath, DriveUseResolved, bool]]] = {}

    def check(self) -> None:
        """All checks, in the order in which one builds on another."""
        self._uses()
        self._settle()
        complete = not self.doubtful and all(s is not None for s in self.shapes.values())
        for name, drive in self.file.drive.items():
            if name not in self.doubtful:
                self._declared(name, drive, complete)

    def _uses(self) -> None:
        own: dict[str, tuple[str, KeyPath]] = {}
        stated: list[tuple[str, str, KeyPath]] = []
        for path, name, member, slots in self._slotted():
            for slot, settings in slots.items():
                at = _slot_path(path, member, slot)
                use = resolve_use(name, member, slot, settings, len(slots))
                said = stated_drive(member, slot)
                if said is None:
                    mine = default_drive(name, slot, len(slots))
                    if (first := own.setdefault(mine, (name, path))) != (name, path):
                        self._own_twice(mine, name, path, *first)
                else:
                    stated.append((name, use.drive, at))
                mapped = isinstance(said, DriveUse)
                if isinstance(said, DriveUse):
                    self._mapping(said, name, settings, at)
                self.users.setdefault(use.drive, []).append((name, at, use, mapped))
        known = {*self.file.drive, *own}
        for name, drive, at in stated:
            if drive not in known and drive not in self.doubtful:
                self.users.pop(drive, None)
                self.mistakes.add(
                    "file-unknown-drive",
                    at,
                    f"{name} is thrown by {shown(drive)}, but there is no such drive",
                    cure=did_you_mean(drive, sorted(known)) + f" Or declare it with a table [drive.{drive}]; it may be"
                    " empty.",
                )
        self.own = own

    def _slotted(self) -> Iterator[tuple[KeyPath, str, Piece | Place, Mapping[str, tuple[str, ...]]]]:
        """Every piece of a certain kind, and every place, with its drive slots."""
        for path, name, piece in pieces_by_path(self.file):
            shape = self.shapes.get(name)
            if shape is not None:
                if isinstance(piece, OwnPiece):
                    self._unknown_slots(path, piece, shape)
                yield path, name, piece, slots_of(piece, shape)
        for name, place in self.file.place.items():
            if name not in self.doubtful:
                yield ("place", name), name, place, slots_of(place)

    def _own_twice(self, drive: str, name: str, path: KeyPath, other: str, first: KeyPath) -> None:
        self.mistakes.add(
            "file-name-twice",
            path,
            f"{name} and {other} would both have a drive of their own called {drive}",
            why="A piece that names no drive has one that bears the piece's name.",
            cure="Name a drive for one of them, or give one of the pieces another name.",
            subject=drive,
            related=[(other, self.mistakes.where.nearest(first))],
        )

    def _unknown_slots(self, path: KeyPath, piece: OwnPiece, shape: KindShape) -> None:
        for slot in piece.drives:
            if slot not in shape.slots:
                self.mistakes.add(
                    "file-unknown-key",
                    (*path, "drives", slot),
                    f"a {shape.title} has no drive {shown(slot)}",
                    cure=did_you_mean(slot, shape.slots, "It has no drives."),
                    at_key=True,
                )

    def _mapping(self, said: DriveUse, piece: str, settings: tuple[str, ...], at: KeyPath) -> None:
        taken: dict[str, str] = {}
        clear = True
        for mine, theirs in (said.model_extra or {}).items():
            path = (*at, mine)
            if mine not in settings:
                clear = False
                self.mistakes.add(
                    "file-drive-mapping",
                    path,
                    f"{piece} has no setting {shown(mine)} to map",
                    why=f"A mapping says {piece}'s setting first and the drive's after it.",
                    cure=did_you_mean(mine, settings),
                    at_key=True,
                )
            elif not isinstance(theirs, str):
                clear = False
                self.mistakes.add(
                    "file-wrong-type",
                    path,
                    f"{shown(theirs)} stands where a setting of {said.name} is meant",
                    cure=f'Write {mine} = "...", with one of its settings.',
                )
        for mine in settings if clear else ():
            theirs = str((said.model_extra or {}).get(mine, mine))
            other = taken.setdefault(theirs, mine)
            if other != mine:
                clear = False
                self.mistakes.add(
                    "file-drive-mapping",
                    at,
                    f"{piece}'s settings {other} and {mine} are both thrown by {theirs}",
                    why="Then the drive could not throw one without the other.",
                    cure=f"Map {other} and {mine} to different settings of {said.name}.",
                )
        if not clear:
            self.unclear.add(said.name)

    def _settle(self) -> None:
        """Each drive's settings: those of the first piece that uses it by its own names, or else the mapped ones."""
        for drive, users in self.users.items():
            plain = next((u for u in users if not u[3]), None)
            if plain is not None:
                self.settings[drive] = tuple(plain[2].settings.values())
            else:
                self.settings[drive] = tuple(dict.fromkeys(s for u in users for s in u[2].settings.values()))
            have = self.settings[drive]
            for name, at, use, mapped in users if drive not in self.unclear else ():
                odd = [(mine, theirs) for mine, theirs in use.settings.items() if theirs not in have]
                if not odd:
                    continue
                self.unclear.add(drive)
                first = plain[0] if plain else users[0][0]
                mine = list(use.settings)
                if mapped:
                    mine_odd, theirs_odd = odd[0]
                    at = (*at, mine_odd)
                    what = f"{drive} has no setting {shown(theirs_odd)}"
                    cure = did_you_mean(theirs_odd, have)
                else:
                    what = f"{name} has settings {listed(mine)}, but its drive {drive} has {listed(have)}"
                    pairs = ", ".join(f'{a} = "{b}"' for a, b in zip(mine, have, strict=False))
                    cure = f'Say which is which, for example {at[-1]} = {{ name = "{drive}", {pairs} }}'
                self.mistakes.add(
                    "file-drive-mapping", at, what, why=f"{drive}'s settings are those of {first}.", cure=cure
                )

    def _declared(self, name: str, drive: Drive, complete: bool) -> None:
        path: KeyPath = ("drive", name)
        users = self.users.get(name)
        if name in self.file.place or (name in self.shapes and not any(u[0] == name for u in users or ())):
            other: KeyPath = ("place", name)
            if name in self.shapes:
                other = next(p for p, n, _ in pieces_by_path(self.file) if n == name)
            self.mistakes.add(
                "file-name-twice",
                path,
                f"{name} is a drive here and a {other[0]} elsewhere"
                + (", which it does not throw" if name in self.shapes else ""),
                why="Commands call a thing by its name alone: `throw` would not know which is meant.",
                cure="Give the drive another name.",
                subject=name,
                related=[(f"the {other[0]}", self.mistakes.where.nearest(other))],
            )
        if users is None:
            if complete:
                near = nearest(name, self.settings)
                self.mistakes.add(
                    "file-drive-unused",
                    path,
                    f"nothing is thrown by the drive {name}",
                    cure=(f"Did you mean [drive.{near}]? " if near else "")
                    + f'Name it in a piece (drive = "{name}"), or remove the table.',
                )
            return
        settings = self.settings[name]
        if name not in self.unclear:
            self._home(path, drive, settings)
        if drive.kind is DriveKind.HAND and drive.pulse_us is not None:
            self.mistakes.add(
                "file-pulse-setting",
                (*path, "pulse_us"),
                f"{name} is thrown by hand, and has no servo pulses",
                cure='Remove pulse_us, or write kind = "servo".',
                at_key=True,
            )
        elif drive.pulse_us is not None and name not in self.unclear:
            self._pulses(path, drive, drive.pulse_us, settings)
        low, high = drive.range_us
        if low >= high:
            self.mistakes.add(
                "file-pulse-range",
                (*path, "range_us"),
                f"the servo's range runs from {low} to {high} microseconds",
                why="The shorter pulse comes first.",
                cure=f"Write range_us = [{high}, {low}]"
                if low > high
                else "Write the servo's shortest and longest pulse.",
            )

    def _home(self, path: KeyPath, drive: Drive, settings: tuple[str, ...]) -> None:
        if drive.home is not None and drive.home not in settings:
            self.mistakes.add(
                "file-home-setting",
                (*path, "home"),
                f"{path[1]} has no setting {shown(drive.home)} to be its home",
                why="The home setting decides on which side a changeover rests without power.",
                cure=did_you_mean(drive.home, settings),
            )

    def _pulses(self, path: KeyPath, drive: Drive, pulses: Mapping[str, int], settings: tuple[str, ...]) -> None:
        low, high = drive.range_us
        seen: dict[int, str] = {}
        for setting, pulse in pulses.items():
            at = (*path, "pulse_us", setting)
            if setting not in settings:
                self.mistakes.add(
                    "file-pulse-setting",
                    at,
                    f"{path[1]} has no setting {shown(setting)}",
                    cure=did_you_mean(setting, settings),
                    at_key=True,
                )
            elif low < high and not low <= pulse <= high:
                self.mistakes.add(
                    "file-pulse-range",
                    at,
                    f"the pulse for {setting} is {pulse} microseconds, outside the servo's range of {low} to {high}",
                    why="Beyond its range a servo runs against its stop, draws its stall current and burns out.",
                    cure="Choose a pulse inside the range; if this servo takes more, state its own range_us.",
                )
            elif (other := seen.setdefault(pulse, setting)) != setting:
                self.mistakes.add(
                    "file-pulse-same",
                    at,
                    f"{other} and {setting} have the same pulse, {pulse} microseconds",
                    why="Then the servo does not move between them.",
                    cure="Give each setting a pulse of its own; `frogfeed trim` finds them at the servo.",
                )
        missing = [s for s in settings if s not in pulses]
        if missing and not self.mistakes.under((*path, "pulse_us")):
            self.mistakes.add(
                "file-pulse-missing",
                (*path, "pulse_us"),
                f"no pulse is given for {listed(missing)}",
                why=f"The settings of {path[1]} are {listed(settings)}: give a pulse for each, or leave pulse_us out.",
            )
