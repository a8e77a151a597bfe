"""What a MicroPython runtime's UF2 file says about itself.

These chips' programs carry a table of facts ("binary info", as published with the chips' open development
kit): a marker within the first 256 bytes of the code, the bounds of a list of pointers, and typed entries.
MicroPython's rp2 port enters its file system there as a block device named MicroPython, so its offset and
size need not be guessed.
"""

from __future__ import annotations

import struct
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from frogfeed.board.errors import ImageError
from frogfeed.board.image.geometry import CODE_FAMILIES, FLASH_BASE, FLASH_LIMIT, GEOMETRIES, Geometry
from frogfeed.board.image.memory import Run
from frogfeed.board.image.uf2 import Family, Uf2Block, family_name, runs_of

__all__ = ["RuntimeInfo", "read_runtime"]

_MARKER_START = 0x7188EBF2
_MARKER_END = 0xE71AA390
_TAG_RP = 0x5052
_TAG_MICROPYTHON = 0x504D
_ID_AND_STRING = 6
_BLOCK_DEVICE = 7
_ID_PROGRAM_NAME = 0x02031C86
_ID_PROGRAM_VERSION = 0x11A9BC3A
_ID_BOARD = 0xB63CFFBB
_SEARCHED = 4096
_MAX_ENTRIES = 1024


@dataclass(frozen=True, slots=True)
class RuntimeInfo:
    """A runtime: its chip and code family, its memory, and what it says of itself (None: it does not say).

    `storage` is the file system's (address, size in bytes). `before` are blocks of other families that
    belong to the file and are kept (RP2350 files begin with one that works round an erratum).
    """

    chip: str
    family: int
    runs: tuple[Run, ...]
    before: tuple[Uf2Block, ...]
    program: str | None
    version: str | None
    board: str | None
    storage: tuple[int, int] | None

    @property
    def is_micropython(self) -> bool:
        """Whether it calls itself MicroPython."""
        return (self.program or "").lower() == "micropython"


def read_runtime(blocks: Sequence[Uf2Block], *, name: str) -> RuntimeInfo:
    """Take a runtime apart. Raises ImageError if it is for no chip known here, for two, or not in flash."""
    families = {block.family for block in blocks if block.family in CODE_FAMILIES}
    if not families:
        others = ", ".join(sorted({family_name(block.family) for block in blocks}))
        raise ImageError(
            f"this file is for {others}; boards here have an RP2040 or an RP2350",
            where=name,
            why="its code cannot run on these chips",
            cure="take the MicroPython UF2 file that is made for your board",
        )
    if len(families) > 1:
        raise ImageError(
            "this file holds code for more than one chip: "
            + ", ".join(sorted(family_name(family) for family in families)),
            where=name,
            cure="take the MicroPython UF2 file that is made for your board alone",
        )
    (family,) = families
    assert family is not None
    unknown = {b.family for b in blocks} - {family, Family.ABSOLUTE, Family.DATA}
    if unknown:
        raise ImageError(
            "this file also holds blocks of " + ", ".join(sorted(family_name(f) for f in unknown)),
            where=name,
            cure="take the MicroPython UF2 file that is made for your board alone",
        )
    runs = runs_of((block for block in blocks if block.family == family), name=name)
    if runs[0].address < FLASH_BASE or runs[-1].end > FLASH_LIMIT:
        raise ImageError(
            f"its code lies at {runs[0].address:#010x} to {runs[-1].end:#010x}, outside the flash",
            where=name,
            why="a program that lives in RAM is gone after a reset",
            cure="take the MicroPython UF2 file that is made for your board",
        )
    facts = _Facts(runs)
    return RuntimeInfo(
        chip=CODE_FAMILIES[family],
        family=family,
        runs=runs,
        before=tuple(block for block in blocks if block.family != family),
        program=facts.string(_ID_PROGRAM_NAME),
        version=facts.string(_ID_PROGRAM_VERSION),
        board=facts.string(_ID_BOARD),
        storage=facts.storage(),
    )


def choose_geometry(info: RuntimeInfo, *, geometry: str | None, name: str) -> Geometry:
    """The board that fits a runtime: as it says itself, else as named in `geometry`.

    Raises ImageError where the two disagree, the chip is another, or neither says anything.
    """
    stated = _stated_geometry(info, name)
    if geometry is None:
        if stated is None:
            raise ImageError(
                "this runtime does not say where its file system lies",
                where=name,
                why="written to a wrong place, the files would overwrite the runtime or never be found",
                cure="name the kind of board with --geometry: " + ", ".join(GEOMETRIES),
            )
        return stated
    if geometry not in GEOMETRIES:
        raise ImageError(f"there is no board kind {geometry!r}", cure="the kinds are: " + ", ".join(GEOMETRIES))
    named = GEOMETRIES[geometry]
    if named.chip != info.chip:
        raise ImageError(
            f"this runtime is for the {info.chip}; {geometry} has an {named.chip}",
            where=name,
            cure="take the runtime for your board, or name the board kind that fits it",
        )
    if stated is not None and (stated.storage_address, stated.storage_size) != (
        named.storage_address,
        named.storage_size,
    ):
        raise ImageError(
            f"this runtime keeps its files at {stated.storage_address:#010x} ({stated.blocks} blocks); "
            f"{geometry} has them at {named.storage_address:#010x} ({named.blocks} blocks)",
            where=name,
            why="the runtime would not find the files, or the files would overwrite it",
            cure="take the runtime for your board, or leave the board kind out",
        )
    return named


def _stated_geometry(info: RuntimeInfo, name: str) -> Geometry | None:
    if info.storage is None:
        return None
    address, size = info.storage
    whole_blocks = size > 0 and size % 4096 == 0 and address % 4096 == 0
    if not whole_blocks or address < FLASH_BASE or address + size > FLASH_LIMIT:
        raise ImageError(
            f"this runtime says its file system is {size} bytes at {address:#010x}, which cannot be",
            where=name,
            why="it must be whole 4096-byte blocks within the flash",
            cure="the file is damaged: download it again",
        )
    for row in GEOMETRIES.values():
        if (row.chip, row.storage_address, row.storage_size) == (info.chip, address, size):
            return row
    return Geometry("as-stated", info.chip, address - FLASH_BASE + size, size, "as the runtime says of itself")


class _Facts:
    """The binary info table of a program."""

    def __init__(self, runs: Sequence[Run]) -> None:
        self._runs = runs
        self._entries = tuple(self._find_entries())

    def _bytes(self, address: int, count: int) -> bytes | None:
        for run in self._runs:
            if run.address <= address and address + count <= run.end:
                return run.data[address - run.address : address - run.address + count]
        return None

    def _text(self, address: int) -> str | None:
        for run in self._runs:
            if run.address <= address < run.end:
                start = address - run.address
                end = run.data.find(b"\0", start, start + 256)
                return run.data[start:end].decode("utf-8", "replace") if end >= 0 else None
        return None

    def _find_entries(self) -> Iterator[tuple[int, int, int]]:
        head = self._runs[0].data[:_SEARCHED]
        for at in range(0, len(head) - 19, 4):
            marker, start, end, _, closing = struct.unpack_from("<5I", head, at)
            if marker == _MARKER_START and closing == _MARKER_END:
                break
        else:
            return
        for pointer_at in range(start, min(end, start + 4 * _MAX_ENTRIES), 4):
            pointer = self._bytes(pointer_at, 4)
            if pointer is None:
                return
            (address,) = struct.unpack("<I", pointer)
            core = self._bytes(address, 4)
            if core is not None:
                kind, tag = struct.unpack("<HH", core)
                yield kind, tag, address

    def string(self, number: int) -> str | None:
        for kind, tag, address in self._entries:
            body = self._bytes(address + 4, 8)
            if kind == _ID_AND_STRING and tag == _TAG_RP and body is not None:
                found, text_at = struct.unpack("<II", body)
                if found == number:
                    return self._text(text_at)
        return None

    def storage(self) -> tuple[int, int] | None:
        for kind, tag, address in self._entries:
            body = self._bytes(address + 4, 12)
            if kind == _BLOCK_DEVICE and tag == _TAG_MICROPYTHON and body is not None:
                _, start, size = struct.unpack("<III", body)
                return start, size
        return None
