"""Which drive throws what: each piece's drive slots resolved, and the settings every drive has.

A piece that names no drive has one of its own: "T1" for a piece with one drive, "X1-a" and "X1-b" or "W-left" and
"W-right" for a piece with two. A drive's settings are those of the pieces that use it by their own names; a piece
whose settings bear other names says which is which: `drive = { name = "D1", left = "right", right = "left" }`.
A switched place, diamond or slip with a selector uses a drive for it as well, in a slot of that name.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import NamedTuple

from frogfeed.layout.ends import KindShape, built_in_shapes, kind_name
from frogfeed.layout.schema import Crossing, DriveRef, DriveUse, Hand, LayoutFile, OwnPiece, Piece, Place

SELECTOR = "selector"
"""The drive slot of what is told which side or which track is in use."""


class DriveUseResolved(NamedTuple):
    """The drive of one slot of a piece, and for each setting of the piece the drive's setting that throws it."""

    drive: str
    settings: Mapping[str, str]


def stated_drive(piece: Piece | Place, slot: str) -> DriveRef | None:
    """What the file says of a drive slot, or None where it leaves it out."""
    stated: DriveRef | None = piece.drives.get(slot) if isinstance(piece, OwnPiece) else getattr(piece, slot, None)
    return stated


def default_drive(piece: str, slot: str, slots: int) -> str:
    """The name of the drive a piece has of its own where the file names none."""
    return piece if slots == 1 else f"{piece}-{slot.removeprefix('drive_')}"


def resolve_use(name: str, piece: Piece | Place, slot: str, settings: tuple[str, ...], slots: int) -> DriveUseResolved:
    """One slot's drive with its mapping; settings that the file does not map keep their names."""
    stated = stated_drive(piece, slot)
    if isinstance(stated, DriveUse):
        mapped = {s: str((stated.model_extra or {}).get(s, s)) for s in settings}
        return DriveUseResolved(stated.name, mapped)
    return DriveUseResolved(stated or default_drive(name, slot, slots), {s: s for s in settings})


def drive_uses(
    file: LayoutFile, kinds: Mapping[str, KindShape] | None = None
) -> dict[tuple[str, str], DriveUseResolved]:
    """Every (piece, slot) of every piece of a known kind, built or not, with its drive; in the file's order.

    Places come last.
    """
    shapes = built_in_shapes() if kinds is None else kinds
    uses: dict[tuple[str, str], DriveUseResolved] = {}
    for name, member, slots in _slotted(file, shapes):
        for slot, settings in slots.items():
            uses[name, slot] = resolve_use(name, member, slot, settings, len(slots))
    return uses


def _slotted(
    file: LayoutFile, shapes: Mapping[str, KindShape]
) -> Iterator[tuple[str, Piece | Place, Mapping[str, tuple[str, ...]]]]:
    for name, piece in file.pieces().items():
        shape = shapes.get(kind_name(piece))
        if shape is not None:
            yield name, piece, slots_of(piece, shape)
    for name, place in file.place.items():
        yield name, place, slots_of(place)


def slots_of(member: Piece | Place, shape: KindShape | None = None) -> Mapping[str, tuple[str, ...]]:
    """The drive slots of a piece of this shape or of a place, with that of its selector."""
    own: Mapping[str, tuple[str, ...]] = {} if shape is None else shape.slots
    if not isinstance(member, Crossing | Place) or member.selector is None:
        return own
    return {**own, SELECTOR: (Hand.LEFT.value, Hand.RIGHT.value)}


def drive_settings(file: LayoutFile, kinds: Mapping[str, KindShape] | None = None) -> dict[str, tuple[str, ...]]:
    """Every drive with its settings, in the order of the piece that uses it first.

    A piece that uses the drive by its own settings' names decides; where all of them map, the mapped names do.
    """
    shapes = built_in_shapes() if kinds is None else kinds
    members = file.members()
    plain: dict[str, dict[str, None]] = {}
    mapped: dict[str, dict[str, None]] = {}
    uses = drive_uses(file, shapes)
    for (name, slot), use in uses.items():
        by_name = not isinstance(stated_drive(members[name], slot), DriveUse)
        if by_name:
            plain.setdefault(use.drive, dict.fromkeys(use.settings.values()))
        mapped.setdefault(use.drive, {}).update(dict.fromkeys(use.settings.values()))
    return {drive: tuple(plain.get(drive, names)) for drive, names in mapped.items()}
