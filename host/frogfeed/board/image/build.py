"""Putting a runtime and a board's files together into one image, and writing it as UF2 or Intel HEX."""

from __future__ import annotations

import io
from collections.abc import Mapping
from dataclasses import dataclass

from frogfeed.board.errors import ImageError
from frogfeed.board.image.filesystem import FileSystemImage, build_file_system
from frogfeed.board.image.geometry import Geometry
from frogfeed.board.image.memory import Run, join_runs
from frogfeed.board.image.runtime import RuntimeInfo, choose_geometry, read_runtime
from frogfeed.board.image.uf2 import read_uf2, write_uf2

__all__ = ["BoardImage", "build_image", "hex_bytes", "image_bytes", "uf2_bytes"]


@dataclass(frozen=True, slots=True)
class BoardImage:
    """A runtime and a file system that fit one kind of board and each other."""

    runtime: RuntimeInfo
    geometry: Geometry
    file_system: FileSystemImage

    @property
    def runs(self) -> tuple[Run, ...]:
        """All memory of the image, lowest address first."""
        return join_runs((*self.runtime.runs, *self.file_system.runs()), name="image")


def build_image(
    runtime: bytes, files: Mapping[str, bytes], *, geometry: str | None = None, name: str = "runtime"
) -> BoardImage:
    """Put `files` ({path on the board: content}) behind the `runtime` (a UF2 file's bytes).

    `geometry` names a board kind where the runtime does not say itself where its files lie. Everything is
    checked here: family, chip, address ranges, overlap. Raises ImageError.
    """
    info = read_runtime(read_uf2(runtime, name=name), name=name)
    board = choose_geometry(info, geometry=geometry, name=name)
    end = info.runs[-1].end
    if end > board.storage_address:
        raise ImageError(
            f"the runtime reaches to {end:#010x}, the file system begins at {board.storage_address:#010x}",
            where=name,
            why="each would overwrite the other",
            cure="take the runtime that is made for this kind of board",
        )
    return BoardImage(info, board, build_file_system(files, board))


def uf2_bytes(image: BoardImage) -> bytes:
    """The image as a UF2 file, to be dropped on the board's bootloader drive."""
    return write_uf2(image.runs, image.runtime.family, before=image.runtime.before)


def hex_bytes(image: BoardImage) -> bytes:
    """The image as Intel HEX, for a debug probe or a programmer. It carries no chip family."""
    from intelhex import IntelHex

    out = IntelHex()
    for run in image.runs:
        out.frombytes(run.data, offset=run.address)
    text = io.StringIO()
    out.write_hex_file(text, write_start_addr=False)
    return text.getvalue().encode("ascii")


def image_bytes(image: BoardImage, kind: str) -> bytes:
    """The image in the format that a file's ending asks for: "uf2" or "hex". Raises ImageError otherwise."""
    if kind.lower().lstrip(".") == "uf2":
        return uf2_bytes(image)
    if kind.lower().lstrip(".") == "hex":
        return hex_bytes(image)
    raise ImageError(
        f"an image cannot be written as {kind!r}",
        cure="end the output file's name in .uf2 (for the bootloader drive) or .hex (for a debug probe)",
    )
