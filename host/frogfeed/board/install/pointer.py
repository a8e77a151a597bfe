"""The pointer file `firmware.at`, as the firmware's main.py reads it: folder in force, the one before, a mark."""

from __future__ import annotations

from dataclasses import dataclass

__all__ = ["BESIDE", "POINTER", "Pointer"]

POINTER = "firmware.at"
BESIDE = "."
"""The package beside main.py, where there is no pointer yet."""


@dataclass(frozen=True, slots=True)
class Pointer:
    """`before` is what main.py falls back to; `is_new` while `folder` has not proved itself."""

    folder: str
    before: str = ""
    is_new: bool = False

    def text(self) -> str:
        """The file's contents."""
        return f"{self.folder}\n{self.before}\n" + ("new\n" if self.is_new else "")

    @staticmethod
    def of(text: str) -> Pointer | None:
        """From a file's contents; None where it names no folder."""
        lines = [*text.split("\n"), "", "", ""]
        return Pointer(lines[0], lines[1], lines[2] == "new") if lines[0] else None
