"""Where a board's runtime keeps its file system: the port's own offset and geometry, as data.

Sizes as in the board definitions of MicroPython's rp2 port (the same from v1.22 on; the RP2350 rows from
v1.24 and v1.25); the offset is the flash size less the storage size. A runtime file that says otherwise
about itself is believed before this table.
"""

from __future__ import annotations

from dataclasses import dataclass

from frogfeed.board.image.uf2 import Family

__all__ = ["CHIP_FAMILIES", "CODE_FAMILIES", "FLASH_BASE", "GEOMETRIES", "LITTLEFS", "Geometry", "Littlefs"]

FLASH_BASE = 0x1000_0000
"""Address at which both chips see the first byte of the flash."""
FLASH_LIMIT = 0x1100_0000
"""First address after the 16 MiB window of the flash."""
KIB = 1024


@dataclass(frozen=True, slots=True)
class Littlefs:
    """littlefs parameters of MicroPython's VfsLfs2 with its defaults. Sizes in bytes.

    The disk version 2.0 is read by every library since; a runtime brings it up to date when it writes.
    """

    block: int = 4096
    prog: int = 256
    read: int = 32
    lookahead: int = 32
    cache: int = 1024
    block_cycles: int = 100
    name_max: int = 255
    disk_version: int = 0x0002_0000


LITTLEFS = Littlefs()


@dataclass(frozen=True, slots=True)
class Geometry:
    """One kind of board: its chip, and its flash and storage in bytes."""

    name: str
    chip: str
    flash_size: int
    storage_size: int
    meaning: str

    @property
    def storage_offset(self) -> int:
        """Bytes from the start of the flash to the file system."""
        return self.flash_size - self.storage_size

    @property
    def storage_address(self) -> int:
        """Address at which the chip sees the file system's first byte."""
        return FLASH_BASE + self.storage_offset

    @property
    def blocks(self) -> int:
        """Number of littlefs blocks."""
        return self.storage_size // LITTLEFS.block


GEOMETRIES: dict[str, Geometry] = {
    row.name: row
    for row in (
        Geometry("rp2040-2m", "RP2040", 2048 * KIB, 1408 * KIB, "RP2040, 2 MiB flash"),
        Geometry("rp2040-2m-radio", "RP2040", 2048 * KIB, 848 * KIB, "RP2040, 2 MiB flash, with radio"),
        Geometry("rp2350-4m", "RP2350", 4096 * KIB, 3072 * KIB, "RP2350, 4 MiB flash"),
        Geometry("rp2350-4m-radio", "RP2350", 4096 * KIB, 2560 * KIB, "RP2350, 4 MiB flash, with radio"),
    )
}

CODE_FAMILIES: dict[int, str] = {
    Family.RP2040: "RP2040",
    Family.RP2350_ARM_S: "RP2350",
    Family.RP2350_RISCV: "RP2350",
    Family.RP2350_ARM_NS: "RP2350",
}
"""The chip that runs each family of code."""

CHIP_FAMILIES: dict[str, int] = {"RP2040": Family.RP2040, "RP2350": Family.RP2350_ARM_S}
"""The usual family of each chip, for an image that holds no runtime."""
