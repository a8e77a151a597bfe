"""Makes a stand-in for a MicroPython runtime's UF2 file: code of no meaning, with a true table of facts.

The table's layout follows the chips' open development kit (binary_info/structure.h); the UF2 blocks are
written by another package, not by ours.
"""

from __future__ import annotations

import struct

from adafruit_uf2 import uf2conv

FLASH = 0x10000000
FAMILY = {"RP2040": 0xE48BFF56, "RP2350": 0xE48BFF59}
STORAGE = {
    "rp2040-2m": ("RP2040", 0x100A0000, 1408 * 1024),
    "rp2040-2m-radio": ("RP2040", 0x1012C000, 848 * 1024),
    "rp2350-4m": ("RP2350", 0x10100000, 3072 * 1024),
    "rp2350-4m-radio": ("RP2350", 0x10180000, 2560 * 1024),
}


def code(
    *,
    storage: tuple[int, int] | None,
    program: str = "MicroPython",
    version: str = "v1.29.0",
    board: str = "test-board",
    size: int = 40_000,
) -> bytes:
    """The bytes of flash from its start on."""
    memory = bytearray((i * 31 + i // 256) & 0xFF for i in range(size))
    entries: list[int] = []
    free = 0x1000

    def put(data: bytes) -> int:
        nonlocal free
        at = free
        memory[at : at + len(data)] = data
        free += (len(data) + 3) // 4 * 4
        return FLASH + at

    for number, text in ((0x02031C86, program), (0x11A9BC3A, version), (0xB63CFFBB, board)):
        entries.append(put(struct.pack("<HHII", 6, 0x5052, number, put(text.encode() + b"\0"))))
    if storage is not None:
        name = put(b"MicroPython\0")
        entries.append(put(struct.pack("<HHIIIIH", 7, 0x504D, name, storage[0], storage[1], 0, 3)))
    table = put(struct.pack(f"<{len(entries)}I", *entries))
    memory[0x1D0 : 0x1D0 + 20] = struct.pack("<5I", 0x7188EBF2, table, table + 4 * len(entries), 0, 0xE71AA390)
    return bytes(memory)


def uf2(content: bytes, family: int, address: int = FLASH) -> bytes:
    """`content` as UF2 blocks of `family` (0: none), by the outside package."""
    uf2conv.appstartaddr, uf2conv.familyid = address, family
    try:
        return uf2conv.convert_to_uf2(content)
    finally:
        uf2conv.appstartaddr, uf2conv.familyid = 0x2000, 0


def runtime(kind: str, *, states_storage: bool = True, size: int = 40_000) -> bytes:
    """A runtime for a kind of board. RP2350 files begin with one absolute block, as real ones do."""
    chip, address, length = STORAGE[kind]
    body = code(storage=(address, length) if states_storage else None, size=size)
    blocks = uf2(body, FAMILY[chip])
    if chip == "RP2350":
        blocks = uf2(b"\xef" * 256, 0xE48BFF57, 0x10FFFF00) + blocks
    return blocks
