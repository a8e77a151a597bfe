"""UF2 files: 512-byte blocks that a board's bootloader drive takes one by one, in any order.

Format as published by the UF2 specification (magic numbers, flags, family numbers). In: bytes. Out:
`Uf2Block` records, and runs of memory; or the other way round. Pure: nothing here touches a disk.
"""

from __future__ import annotations

import struct
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from enum import IntEnum, IntFlag

from frogfeed.board.errors import ImageError
from frogfeed.board.image.memory import Run, join_runs

__all__ = [
    "BLOCK",
    "PAYLOAD",
    "Family",
    "Flag",
    "Uf2Block",
    "family_name",
    "read_uf2",
    "runs_of",
    "write_uf2",
]

BLOCK = 512
"""Bytes of one block of the file."""
PAYLOAD = 256
"""Bytes of memory carried by one block as these bootloaders want it: a flash page."""
MAX_PAYLOAD = 476

_MAGIC_0 = 0x0A324655
_MAGIC_1 = 0x9E5D5157
_MAGIC_END = 0x0AB16F30
_HEADER = struct.Struct("<8I")


class Flag(IntFlag):
    """Bits of a block's flag word."""

    NOT_MAIN_FLASH = 0x1
    CONTAINER = 0x1000
    FAMILY = 0x2000
    MD5 = 0x4000
    EXTENSION = 0x8000


class Family(IntEnum):
    """Family numbers of the chips this tool knows."""

    RP2040 = 0xE48BFF56
    ABSOLUTE = 0xE48BFF57
    DATA = 0xE48BFF58
    RP2350_ARM_S = 0xE48BFF59
    RP2350_RISCV = 0xE48BFF5A
    RP2350_ARM_NS = 0xE48BFF5B


def family_name(number: int | None) -> str:
    """What to call a family in a message: its chip, or its number."""
    names = {
        Family.RP2040: "RP2040",
        Family.ABSOLUTE: "absolute (any of these chips)",
        Family.DATA: "data (RP2350)",
        Family.RP2350_ARM_S: "RP2350, Arm, secure",
        Family.RP2350_RISCV: "RP2350, RISC-V",
        Family.RP2350_ARM_NS: "RP2350, Arm, non-secure",
    }
    if number is None:
        return "no family"
    return names.get(number, f"unknown family {number:#010x}")  # type: ignore[call-overload,no-any-return]


@dataclass(frozen=True, slots=True)
class Uf2Block:
    """One block. `number` of `total` counts within its family; `rest` is what follows the payload.

    `rest` (up to 220 bytes with a 256-byte payload) carries extension tags and is kept as it is.
    """

    address: int
    payload: bytes
    family: int | None
    number: int
    total: int
    flags: int = 0
    rest: bytes = b""


def read_uf2(data: bytes, *, name: str = "UF2 file") -> tuple[Uf2Block, ...]:
    """All blocks of a file, in its order. Raises ImageError, with the block's number, on any damage.

    Checked: length, magic numbers, payload sizes, and that the blocks of each family are all there, once.
    """
    if not data:
        raise ImageError("the file is empty", where=name, cure="download or make it again")
    if len(data) % BLOCK:
        raise ImageError(
            f"{len(data)} bytes are not a whole number of 512-byte blocks",
            where=name,
            why="the file was cut short, or is no UF2 file",
            cure="download or make it again",
        )
    blocks = tuple(_read_block(data[at : at + BLOCK], at // BLOCK, name) for at in range(0, len(data), BLOCK))
    _check_numbers(blocks, name)
    return blocks


def _read_block(raw: bytes, index: int, name: str) -> Uf2Block:
    magic0, magic1, flags, address, size, number, total, family = _HEADER.unpack_from(raw)
    (end,) = struct.unpack_from("<I", raw, BLOCK - 4)
    if (magic0, magic1, end) != (_MAGIC_0, _MAGIC_1, _MAGIC_END):
        raise ImageError(
            f"block {index} has not the marks of a UF2 block",
            where=name,
            why="the file is damaged, or of another kind",
            cure="download or make it again",
        )
    if size > MAX_PAYLOAD or size == 0:
        raise ImageError(f"block {index} says it carries {size} bytes; 1 to {MAX_PAYLOAD} are possible", where=name)
    body = raw[_HEADER.size : BLOCK - 4]
    return Uf2Block(
        address=address,
        payload=body[:size],
        family=family if flags & Flag.FAMILY else None,
        number=number,
        total=total,
        flags=flags,
        rest=body[size:].rstrip(b"\0"),
    )


def _check_numbers(blocks: Sequence[Uf2Block], name: str) -> None:
    seen: dict[int | None, set[int]] = {}
    totals: dict[int | None, int] = {}
    for index, block in enumerate(blocks):
        total = totals.setdefault(block.family, block.total)
        numbers = seen.setdefault(block.family, set())
        if block.total != total or block.number >= total or block.number in numbers:
            raise ImageError(
                f"block {index} is numbered {block.number} of {block.total}, which does not fit the others "
                f"of its family ({family_name(block.family)})",
                where=name,
                why="the bootloader counts the blocks to know when all have come",
                cure="download or make it again",
            )
        numbers.add(block.number)
    for family, numbers in seen.items():
        if len(numbers) != totals[family]:
            raise ImageError(
                f"{totals[family] - len(numbers)} of {totals[family]} blocks are missing ({family_name(family)})",
                where=name,
                why="the bootloader would wait for them for ever",
                cure="download or make it again",
            )


def runs_of(blocks: Iterable[Uf2Block], *, name: str = "UF2 file") -> tuple[Run, ...]:
    """The memory that `blocks` fill, as runs without gaps, lowest address first.

    Blocks that are not for the main flash are left out. Raises ImageError where two blocks overlap.
    """
    return join_runs(
        (Run(block.address, block.payload) for block in blocks if not block.flags & Flag.NOT_MAIN_FLASH),
        name=name,
    )


def write_uf2(runs: Iterable[Run], family: int, *, before: Sequence[Uf2Block] = ()) -> bytes:
    """A UF2 file of `runs`, all of one `family`, behind the blocks `before`, which are kept as they are.

    Runs are cut into 256-byte pages, filled up with 0xFF where they begin or end within one.
    Raises ImageError where runs overlap.
    """
    pages: list[tuple[int, bytes]] = []
    for run in join_runs(_whole_pages(runs), name="UF2 output"):
        pages += [(run.address + at, run.data[at : at + PAYLOAD]) for at in range(0, len(run.data), PAYLOAD)]
    out = [_block_bytes(block) for block in before]
    out += [
        _block_bytes(Uf2Block(address, payload, family, number, len(pages), int(Flag.FAMILY)))
        for number, (address, payload) in enumerate(pages)
    ]
    return b"".join(out)


def _whole_pages(runs: Iterable[Run]) -> list[Run]:
    whole: dict[int, bytearray] = {}
    for run in join_runs(runs, name="UF2 output"):
        for at, byte_run in _by_page(run):
            page = whole.setdefault(at - at % PAYLOAD, bytearray(b"\xff" * PAYLOAD))
            page[at % PAYLOAD : at % PAYLOAD + len(byte_run)] = byte_run
    return [Run(address, bytes(page)) for address, page in sorted(whole.items())]


def _by_page(run: Run) -> list[tuple[int, bytes]]:
    pieces = []
    at = run.address
    while at < run.end:
        stop = min(run.end, at - at % PAYLOAD + PAYLOAD)
        pieces.append((at, run.data[at - run.address : stop - run.address]))
        at = stop
    return pieces


def _block_bytes(block: Uf2Block) -> bytes:
    flags = block.flags | (Flag.FAMILY if block.family is not None else 0)
    head = _HEADER.pack(
        _MAGIC_0,
        _MAGIC_1,
        flags,
        block.address,
        len(block.payload),
        block.number,
        block.total,
        block.family or 0,
    )
    body = (block.payload + block.rest).ljust(BLOCK - 4 - _HEADER.size, b"\0")
    return head + body + struct.pack("<I", _MAGIC_END)
