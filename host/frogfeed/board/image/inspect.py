"""What an image file holds: chip, memory, runtime, files. Reads UF2 and Intel HEX."""

from __future__ import annotations

import hashlib
import io
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass

from frogfeed.board.errors import ImageError
from frogfeed.board.image.filesystem import read_file_system
from frogfeed.board.image.geometry import CODE_FAMILIES, FLASH_BASE, GEOMETRIES, LITTLEFS, Geometry
from frogfeed.board.image.memory import Run, cut, join_runs
from frogfeed.board.image.runtime import RuntimeInfo, read_runtime
from frogfeed.board.image.uf2 import family_name, read_uf2, runs_of

__all__ = ["HeldFile", "Inspection", "inspect_image", "read_hex"]


@dataclass(frozen=True, slots=True)
class HeldFile:
    """A file of an image's file system. `sha256` in hex."""

    path: str
    size: int
    sha256: str


@dataclass(frozen=True, slots=True)
class Inspection:
    """What was found. `families`: (name, blocks) of a UF2 file. None: not there, or it does not say."""

    kind: str
    size: int
    families: tuple[tuple[str, int], ...]
    runs: tuple[tuple[int, int], ...]
    chip: str | None
    program: str | None
    version: str | None
    board: str | None
    geometry: Geometry | None
    files: tuple[HeldFile, ...] | None

    def as_dict(self) -> dict[str, object]:
        """For `--json`: addresses and sizes as numbers."""
        return {
            "kind": self.kind,
            "size": self.size,
            "families": [{"family": name, "blocks": count} for name, count in self.families],
            "memory": [{"address": start, "bytes": count} for start, count in self.runs],
            "chip": self.chip,
            "program": self.program,
            "version": self.version,
            "board": self.board,
            "file_system": None
            if self.geometry is None
            else {"address": self.geometry.storage_address, "blocks": self.geometry.blocks},
            "files": None
            if self.files is None
            else [{"path": f.path, "size": f.size, "sha256": f.sha256} for f in self.files],
        }


def inspect_image(data: bytes, *, name: str) -> Inspection:
    """Look into a UF2 or Intel HEX file. Raises ImageError where it is neither, or damaged."""
    if data[:4] == b"UF2\n":
        blocks = read_uf2(data, name=name)
        families = Counter(block.family for block in blocks)
        has_code = any(family in CODE_FAMILIES for family in families)
        code = [block for block in blocks if block.family in CODE_FAMILIES] if has_code else blocks
        runs = runs_of(code, name=name)
        info = read_runtime(blocks, name=name) if has_code else None
        named = tuple((family_name(family), count) for family, count in families.items())
        return _report("uf2", len(data), named, runs, info, name)
    if data[:1] == b":":
        runs = read_hex(data, name=name)
        return _report("hex", len(data), (), runs, None, name)
    raise ImageError(
        "this is neither a UF2 nor an Intel HEX file",
        where=name,
        why="a UF2 file begins with the letters UF2, an Intel HEX file with a colon",
        cure="name an image made by `frogfeed image`, or a runtime's UF2 file",
    )


def read_hex(data: bytes, *, name: str) -> tuple[Run, ...]:
    """The memory an Intel HEX file fills. Raises ImageError with the line where it is wrong."""
    from intelhex import IntelHex, IntelHexError

    try:
        held = IntelHex(io.StringIO(data.decode("ascii")))
    except (IntelHexError, UnicodeDecodeError) as problem:
        raise ImageError(
            f"this Intel HEX file is damaged: {problem}", where=name, cure="make or download it again"
        ) from problem
    return join_runs(
        (Run(start, bytes(held.tobinarray(start=start, end=end - 1))) for start, end in held.segments()),
        name=name,
    )


def _report(
    kind: str,
    size: int,
    families: tuple[tuple[str, int], ...],
    runs: Sequence[Run],
    info: RuntimeInfo | None,
    name: str,
) -> Inspection:
    geometry = _find_file_system(runs, info)
    files = None
    if geometry is not None:
        start = geometry.storage_address
        content = read_file_system(cut(runs, start, start + geometry.storage_size), geometry, name=name)
        files = tuple(
            HeldFile(path, len(body), hashlib.sha256(body).hexdigest()) for path, body in sorted(content.items())
        )
    return Inspection(
        kind=kind,
        size=size,
        families=families,
        runs=tuple((run.address, len(run.data)) for run in runs),
        chip=info.chip if info else (geometry.chip if geometry else None),
        program=info.program if info else None,
        version=info.version if info else None,
        board=info.board if info else None,
        geometry=geometry,
        files=files,
    )


def _find_file_system(runs: Sequence[Run], info: RuntimeInfo | None) -> Geometry | None:
    """The geometry whose storage begins with a littlefs superblock, sized as that superblock says."""
    if info is not None and info.storage is not None:
        address, size = info.storage
        if _has_superblock(runs, address):
            offset = address - FLASH_BASE
            return Geometry("as-stated", info.chip, offset + size, size, "as the runtime says of itself")
        return None
    for geometry in GEOMETRIES.values():
        if (info is None or info.chip == geometry.chip) and _has_superblock(runs, geometry.storage_address):
            return geometry
    return None


def _has_superblock(runs: Sequence[Run], address: int) -> bool:
    pair = cut(runs, address, address + 2 * LITTLEFS.block)
    return any(pair[at + 8 : at + 16] == b"littlefs" for at in (0, LITTLEFS.block))
