"""The bootloader drive: a new board, or one started with its button held, shows as a small USB drive.

A file INFO_UF2.TXT on it says which chip it is. Copying a UF2 file onto it programs the board, which then
leaves the drive by itself.
"""

from __future__ import annotations

import os
import string
import sys
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from pathlib import Path

from frogfeed.board.errors import AmbiguousPort, ImageError, NoPort, PortVanished
from frogfeed.board.image.geometry import CODE_FAMILIES
from frogfeed.board.image.uf2 import read_uf2

__all__ = ["BootDrive", "choose_drive", "drop", "find_drives", "read_drive"]

_INFO = "INFO_UF2.TXT"
_CHIPS = {"RPI-RP2": "RP2040", "RP2350": "RP2350"}
_CHUNK = 64 * 1024


@dataclass(frozen=True, slots=True)
class BootDrive:
    """A mounted bootloader drive. `chip` is None where its board is none that is known here."""

    path: Path
    board_id: str
    chip: str | None


def find_drives(mounts: Iterable[Path] | None = None) -> tuple[BootDrive, ...]:
    """The bootloader drives that the system has mounted. `mounts` replaces the places to look in."""
    found = (read_drive(path) for path in (_mounts() if mounts is None else mounts))
    return tuple(drive for drive in found if drive is not None)


def read_drive(path: Path) -> BootDrive | None:
    """The bootloader drive at `path`, or None if there is none."""
    try:
        text = (path / _INFO).read_text("utf-8", "replace")
    except OSError:
        return None
    if "UF2 Bootloader" not in text:
        return None
    facts = dict(line.split(":", 1) for line in text.splitlines() if ":" in line)
    board_id = facts.get("Board-ID", "").strip()
    return BootDrive(path, board_id, _CHIPS.get(board_id))


def choose_drive(drives: Iterable[BootDrive], chip: str) -> BootDrive:
    """The one drive with that `chip`. Raises NoPort, ImageError (another chip only) or AmbiguousPort."""
    all_drives = tuple(drives)
    fitting = [drive for drive in all_drives if drive.chip == chip]
    if len(fitting) == 1:
        return fitting[0]
    if fitting:
        raise AmbiguousPort(
            f"{len(fitting)} boards with an {chip} show as drives",
            candidates=[str(drive.path) for drive in fitting],
            cure="unplug all but the one that is meant, or name its drive",
        )
    if all_drives:
        other = all_drives[0]
        raise _wrong_chip(other, chip)
    raise NoPort(
        "no board shows as a bootloader drive",
        why="a board with a program in it starts that program instead, or your system has not mounted it",
        cure="hold the board's boot button while you plug it in, then let go; open the drive once in your "
        "file manager if it is not mounted by itself",
    )


def drop(data: bytes, drive: BootDrive, *, progress: Callable[[int, int], None] | None = None) -> None:
    """Put a UF2 file onto `drive`. `progress(done, total)` counts bytes.

    Family and chip are compared before a byte is written. The drive goes away when the last block is in:
    that is success. Raises ImageError, or PortVanished if it went away too early.
    """
    blocks = read_uf2(data)
    chips = {CODE_FAMILIES[block.family] for block in blocks if block.family in CODE_FAMILIES}
    if chips != {drive.chip}:
        raise _wrong_chip(drive, " and ".join(sorted(chips)) or "no chip known here")
    written = 0
    try:
        with (drive.path / "frogfeed.uf2").open("wb", buffering=0) as file:
            while written < len(data):
                written += file.write(data[written : written + _CHUNK])
                if progress:
                    progress(written, len(data))
            os.fsync(file.fileno())
    except OSError as problem:
        gone = not (drive.path / _INFO).exists()
        if not (gone and written == len(data)):
            raise PortVanished(
                f"the drive took {written} of {len(data)} bytes: {problem}",
                where=str(drive.path),
                why="the board was unplugged, or the drive is full or write-protected",
                cure="hold the boot button, plug the board in again and repeat the command",
            ) from problem


def _wrong_chip(drive: BootDrive, chip: str) -> ImageError:
    return ImageError(
        f"this board has an {drive.chip or drive.board_id or 'unknown chip'}; the image is for {chip}",
        where=str(drive.path),
        why="the bootloader would ignore it, or start code that cannot run",
        cure="make the image from the runtime for that board",
    )


def _mounts() -> list[Path]:
    """Where removable drives appear on this system."""
    if sys.platform == "win32":
        return [Path(f"{letter}:/") for letter in string.ascii_uppercase]
    if sys.platform == "darwin":
        return _folders(Path("/Volumes"))
    places: list[Path] = []
    try:
        for line in Path("/proc/self/mounts").read_text("utf-8", "replace").splitlines():
            fields = line.split(" ")
            if len(fields) > 2 and fields[2] in ("vfat", "msdos"):
                places.append(Path(fields[1].replace("\\040", " ")))
    except OSError:
        pass
    return places


def _folders(parent: Path) -> list[Path]:
    try:
        return sorted(path for path in parent.iterdir() if path.is_dir())
    except OSError:
        return []
