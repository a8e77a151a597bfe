"""A simulated flash: 4096-byte blocks to erase, 256-byte pages to program, and power that may go at any of them.

Programming clears bits and never sets one; erasing takes tens of milliseconds in which the chip does nothing else
(interrupts wait). The contents live in a file of the host's, so they outlast the process.

A cut is asked for by the number of the operation (erase of a block or program of a page, counted from now): at it
the power goes before anything is done ("before"), half way ("torn": the first part of a page is programmed and the
byte where it stopped is anything; half of a block is erased, the rest anything), or just after ("after").
"""

if False:
    from collections.abc import Callable
    from typing import BinaryIO

    from frogfeed.bench.shapes import Data, Space
    from frogfeed.bench.sim.kernel import Kernel
    from frogfeed.bench.sim.physics.board import Board
    from frogfeed.bench.sim.physics.chance import Chance

PAGE = 256
BLOCK = 4096
ERASE_US = 45_000
"""Of a 4 KiB sector; data sheets of such chips say 45 typical, 400 at most (from memory)."""
PROGRAM_US = 400
"""Of a 256-byte page: 0.4 typical, 3 at most (from memory)."""


class Flash:
    """A block device as VfsLfs2 wants it, over `file` (binary, read and write, as big as the flash)."""

    def __init__(
        self, file: "BinaryIO", kernel: "Kernel", board: "Board", chance: "Chance", cut: "Callable[[], None]"
    ) -> None:
        self.file = file
        self.data = bytearray(file.read())
        self.kernel = kernel
        self.board = board
        self.chance = chance
        self.operations = 0
        self.erases = 0
        self.programs = 0
        self.over = 0  # programmed a bit that would have to be set: a file system never does
        self.cut_at = -1
        self.cut_how = "before"
        self.cut = cut  # called when the power goes; does not come back

    def arm(self, at: int, how: str) -> None:
        """Let the power go at the operation `at` from now (1 is the next)."""
        self.cut_at = self.operations + at if at > 0 else -1
        self.cut_how = how

    def readblocks(self, block: int, buffer: "Space", offset: int = 0) -> None:
        """Fill the buffer."""
        at = block * BLOCK + offset
        buffer[:] = self.data[at : at + len(buffer)]

    def writeblocks(self, block: int, buffer: "Data", offset: int = 0) -> None:
        """Program pages that were erased before."""
        at = block * BLOCK + offset
        for start in range(0, len(buffer), PAGE):
            self._program(at + start, buffer[start : start + PAGE])

    def ioctl(self, operation: int, argument: int) -> int:
        """4: blocks, 5: block size, 6: erase a block; anything else is fine."""
        if operation == 4:
            return len(self.data) // BLOCK
        if operation == 5:
            return BLOCK
        if operation == 6:
            self._erase(argument)
        return 0

    def _keep(self, at: int, count: int) -> None:
        self.file.seek(at)
        self.file.write(self.data[at : at + count])
        flush = getattr(self.file, "flush", None)
        if flush is not None:
            flush()

    def _busy(self, us: int) -> None:
        before = self.board.mask(1)
        self.kernel.spend(us)
        self.board.mask(before)

    def _turn(self) -> bool:
        """Count an operation; whether the power goes at it."""
        self.operations += 1
        return self.operations == self.cut_at

    def _erase(self, block: int) -> None:
        self.erases += 1
        at = block * BLOCK
        if self._turn():
            if self.cut_how == "torn":
                half = BLOCK // 2
                self.data[at : at + half] = b"\xff" * half
                for i in range(half, BLOCK, 7):
                    self.data[at + i] |= self.chance.below(256)
            elif self.cut_how == "after":
                self.data[at : at + BLOCK] = b"\xff" * BLOCK
            self._keep(at, BLOCK)
            self.cut()
        self.data[at : at + BLOCK] = b"\xff" * BLOCK
        self._keep(at, BLOCK)
        self._busy(ERASE_US)

    def _program(self, at: int, page: "Data") -> None:
        self.programs += 1
        count = len(page)
        last = self._turn()
        if last and self.cut_how == "before":
            self.cut()
        done = 1 + self.chance.below(count - 1) if last and self.cut_how == "torn" else count
        data = self.data
        for i in range(done):
            if page[i] & ~data[at + i] & 0xFF:
                self.over += 1
            data[at + i] &= page[i]
        if done < count:
            data[at + done] &= page[done] | self.chance.below(256)
        self._keep(at, count)
        if last:
            self.cut()
        self._busy(PROGRAM_US)


def mount(file: "BinaryIO", kernel: "Kernel", board: "Board", chance: "Chance", cut: "Callable[[], None]") -> "Flash":
    """Put a simulated flash in the place of the file system's root: the board sees its own files and no others."""
    import os

    import vfs

    flash = Flash(file, kernel, board, chance, cut)
    disk = vfs.VfsLfs2(flash, readsize=32, progsize=PAGE, lookahead=32)
    vfs.umount("/")
    vfs.mount(disk, "/")
    os.chdir("/")
    return flash
