"""The board's littlefs file system as bytes: made from files, and read back.

In: file names and contents, and a geometry. Out: the image, and which of its blocks hold anything.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import PurePosixPath

from littlefs import LittleFS, LittleFSError, UserContext
from littlefs.lfs import LFSConfig

from frogfeed.board.errors import ImageError
from frogfeed.board.image.geometry import LITTLEFS, Geometry
from frogfeed.board.image.memory import Run

__all__ = ["FileSystemImage", "build_file_system", "read_file_system"]


@dataclass(frozen=True, slots=True)
class FileSystemImage:
    """`data` is the whole file system; `used` the numbers of the blocks that must be written.

    Blocks 0 and 1 are always among them: an older superblock left in one would win over the new one.
    The others need not be: littlefs erases a block before it uses it.
    """

    geometry: Geometry
    data: bytes
    used: tuple[int, ...]

    def runs(self) -> tuple[Run, ...]:
        """The used blocks as memory, whole blocks, at the addresses where the chip sees them."""
        size = LITTLEFS.block
        return tuple(
            Run(self.geometry.storage_address + number * size, self.data[number * size : (number + 1) * size])
            for number in self.used
        )


class _Recording(UserContext):
    """Memory that remembers which blocks were erased, hence written."""

    def __init__(self, size: int) -> None:
        super().__init__(size)
        self.erased: set[int] = set()

    def erase(self, cfg: LFSConfig, block: int) -> int:
        self.erased.add(block)
        return super().erase(cfg, block)


def build_file_system(files: Mapping[str, bytes], geometry: Geometry) -> FileSystemImage:
    """A file system that holds `files` ({path: content}; folders are made as needed).

    Raises ImageError where they do not fit or a name is too long.
    """
    context = _Recording(geometry.storage_size)
    try:
        fs = _open(context, geometry)
        for path, content in sorted(files.items()):
            folder = PurePosixPath("/", path).parent
            if str(folder) != "/":
                fs.makedirs(str(folder), exist_ok=True)
            with fs.open(str(PurePosixPath("/", path)), "wb") as file:
                file.write(content)
        fs.unmount()
    except LittleFSError as problem:
        total = sum(len(content) for content in files.values())
        raise ImageError(
            f"the files ({total} bytes in {len(files)} files) cannot be put into the board's "
            f"{geometry.storage_size} bytes: {problem}",
            where=geometry.name,
            cure="take a board with more flash, or a smaller layout file",
        ) from problem
    return FileSystemImage(geometry, bytes(context.buffer), tuple(sorted(context.erased | {0, 1})))


def read_file_system(data: bytes, geometry: Geometry, *, name: str = "image") -> dict[str, bytes]:
    """All files of an image, by path without the leading slash. Raises ImageError if it does not mount."""
    context = UserContext(buffer=bytearray(data))
    files: dict[str, bytes] = {}
    try:
        fs = _open(context, geometry, make=False)
        for folder, _, names in fs.walk("/"):
            for file_name in names:
                path = str(PurePosixPath(folder) / file_name)
                with fs.open(path, "rb") as file:
                    files[path.lstrip("/")] = bytes(file.read())
        fs.unmount()
    except LittleFSError as problem:
        raise ImageError(
            f"there is no readable littlefs file system in it: {problem}",
            where=name,
            why=f"looked for {geometry.blocks} blocks of {LITTLEFS.block} bytes",
            cure="is this the image for that kind of board?",
        ) from problem
    return files


def _open(context: UserContext, geometry: Geometry, *, make: bool = True) -> LittleFS:
    fs = LittleFS(
        context=context,
        mount=False,
        block_size=LITTLEFS.block,
        block_count=geometry.blocks,
        read_size=LITTLEFS.read,
        prog_size=LITTLEFS.prog,
        cache_size=LITTLEFS.cache,
        lookahead_size=LITTLEFS.lookahead,
        block_cycles=LITTLEFS.block_cycles,
        name_max=LITTLEFS.name_max,
        disk_version=LITTLEFS.disk_version if make else 0,
    )
    if make:
        fs.format()
    fs.mount()
    return fs
