"""What can go wrong between the laptop and a board, each told as: what, where, why, what to do.

Every error here ends a command with exit code 3 (board or link). `code` is a stable kebab-case word for
programs; the sentences are for the person at the workbench.
"""

# ruff: noqa: N818 - the names say what happened; they are read in `except` clauses and reports

from __future__ import annotations

from collections.abc import Sequence

__all__ = [
    "EXIT_BOARD",
    "AmbiguousPort",
    "BoardError",
    "BoardRefused",
    "BoardVanished",
    "ImageError",
    "InstallFailed",
    "LinkNoise",
    "NoAnswer",
    "NoPort",
    "OtherFirmware",
    "OtherSettings",
    "PortBusy",
    "PortStalled",
    "PortVanished",
    "PushFailed",
    "RuntimeRefused",
    "WrongBoard",
]

EXIT_BOARD = 3
"""Exit code of a command that ended in one of these errors."""


class BoardError(Exception):
    """Base of all errors of the link, the ports and the installation.

    `what` happened, `where` (a port, a board, a file; may be empty), `why` it is so or matters, and the
    `cure`: what to do next. `code` names the kind.
    """

    code = "board-error"
    exit_code = EXIT_BOARD

    def __init__(self, what: str, *, where: str = "", why: str = "", cure: str = "") -> None:
        super().__init__(what)
        self.what = what
        self.where = where
        self.why = why
        self.cure = cure

    def __str__(self) -> str:
        head = f"{self.where}: {self.what}" if self.where else self.what
        parts = [head]
        if self.why:
            parts.append(f"  why: {self.why}")
        if self.cure:
            parts.append(f"  do:  {self.cure}")
        return "\n".join(parts)

    def as_dict(self) -> dict[str, str]:
        """The error for `--json` output."""
        return {
            "code": self.code,
            "what": self.what,
            "where": self.where,
            "why": self.why,
            "cure": self.cure,
        }


class NoPort(BoardError):
    """There is no such port, or no board with that serial number is plugged in."""

    code = "no-port"


class PortBusy(BoardError):
    """The port exists but may not be opened: another program holds it, or access is denied."""

    code = "port-busy"


class AmbiguousPort(BoardError):
    """More than one port fits what was asked for; none is opened, since the wrong board would move."""

    code = "ambiguous-port"

    def __init__(self, what: str, *, candidates: Sequence[str], where: str = "", cure: str = "") -> None:
        super().__init__(
            what,
            where=where,
            why="device names change from one plugging to the next; a wrong guess would drive another board",
            cure=cure or "name one with --port, or by its USB serial number in the layout file",
        )
        self.candidates = tuple(candidates)


class PortVanished(BoardError):
    """The port went away while it was open: cable pulled, board reset, or the other end closed."""

    code = "port-vanished"


class BoardVanished(PortVanished):
    """The port went away and did not come back within the time allowed."""

    code = "board-vanished"


class PortStalled(BoardError):
    """The port takes no more bytes: nobody reads at the other end."""

    code = "port-stalled"


class NoAnswer(BoardError):
    """A request was sent and no answer came within its time limit."""

    code = "no-answer"


class LinkNoise(NoAnswer):
    """No answer came, but other bytes did: another program, MicroPython's prompt, or noise on the line."""

    code = "link-noise"

    def __init__(self, what: str, *, is_prompt: bool = False, where: str = "", why: str = "", cure: str = "") -> None:
        super().__init__(what, where=where, why=why, cure=cure)
        self.is_prompt = is_prompt


PUT_RIGHT = "put right what the reason names, then give the command again"
BY_HAND = "throw it by its lever or switch: the board reads its contacts and follows"


class BoardRefused(BoardError):
    """The board understood the request and refused it, with its reason."""

    code = "refused"

    def __init__(self, method: str, number: int, reason: str, *, where: str = "", cure: str = "") -> None:
        super().__init__(
            f"the board refused {method}: {reason}",
            where=where,
            cure=cure or (BY_HAND if reason.endswith("moved by hand") else PUT_RIGHT),
        )
        self.method = method
        self.number = number
        self.reason = reason


class WrongBoard(BoardError):
    """The board that answered is not the one that was meant."""

    code = "wrong-board"


class OtherSettings(BoardError):
    """The board holds settings other than those built from this layout file."""

    code = "other-settings"


class OtherFirmware(BoardError):
    """The board's firmware speaks another version of the link."""

    code = "other-firmware"


class PushFailed(BoardError):
    """Settings were sent and the board would not take them, or what arrived is not what was sent."""

    code = "push-failed"


class RuntimeRefused(BoardError):
    """The board's MicroPython or chip cannot run the firmware."""

    code = "runtime-refused"


class InstallFailed(BoardError):
    """Files could not be put on the board; what ran before still runs."""

    code = "install-failed"


class ImageError(BoardError):
    """An image file is damaged, or for another chip, or would not fit. Nothing has been written."""

    code = "bad-image"
    exit_code = 2
