"""Getting a railway's file back from its board, and moving a board's work to a new board."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from frogboard import settings
from frogfeed.board.client import Client
from frogfeed.board.errors import BoardRefused, PushFailed, WrongBoard
from frogfeed.board.messages import Hello, Trim
from frogfeed.board.ports import same_serial
from frogfeed.board.transfer import Progress, Pulled, pull, pulled_layout_fits
from frogfeed.layout.positions import KeyPath
from frogfeed.layout.writing import Value, with_values

__all__ = ["Recovered", "check_replacement", "recover", "serial_number_value", "trim_values", "with_trims"]


@dataclass(frozen=True, slots=True)
class Recovered:
    """What a board held. `text` is the layout file as it was pushed, `trimmed` with the trims made since.

    `fits`: the text is the very one from which the settings in force were built.
    """

    text: str
    trimmed: str
    document: bytes
    trims: tuple[Trim, ...]
    fits: bool


def recover(client: Client, *, progress: Progress | None = None) -> Recovered:
    """The layout file's text from a board, trims included.

    Raises PushFailed where it holds none or what comes back is damaged, and as `Client.request`.
    """
    text = pull(client, "layout", progress=progress)
    document = pull(client, "settings", progress=progress)
    if text is None:
        raise PushFailed(
            "the board holds no layout file",
            where=client.where,
            why="none was ever pushed to it",
            cure="take the layout file from your backups; `frogfeed push` keeps a copy of it on the board",
        )
    try:
        words = text.data.decode("utf-8")
    except UnicodeDecodeError as problem:
        raise PushFailed(
            f"the layout file on the board is no text: {problem}",
            where=client.where,
            cure="take the layout file from your backups, and push it anew",
        ) from problem
    return _recovered(words, document, _trims(client))


def _recovered(text: str, document: Pulled | None, trims: tuple[Trim, ...]) -> Recovered:
    held = document.data if document is not None else b""
    return Recovered(
        text=text,
        trimmed=with_trims(text, held, trims),
        document=held,
        trims=trims,
        fits=pulled_layout_fits(held, text.encode("utf-8")),
    )


def _trims(client: Client) -> tuple[Trim, ...]:
    try:
        return client.state().trims
    except BoardRefused:
        return ()  # a board without settings in force has none


def trim_values(document: bytes, trims: Iterable[Trim]) -> dict[KeyPath, Value]:
    """Trims as values of the layout file: both pulse ends of each trimmed drive, in microseconds.

    The other end comes from the settings, since a file need not state the pulses at all.
    """
    content, _ = settings.load(document)
    drives = {drive["name"]: drive for drive in content["drives"]} if content is not None else {}
    values: dict[KeyPath, Value] = {}
    for trim in trims:
        drive = drives.get(trim.drive)
        if drive is not None and len(drive["pulse_us"]) == len(drive["settings"]):
            for name, pulse_us in zip(drive["settings"], drive["pulse_us"], strict=True):
                values.setdefault(("drive", trim.drive, "pulse_us", name), pulse_us)
        values[("drive", trim.drive, "pulse_us", trim.setting)] = trim.pulse_us
    return values


def with_trims(text: str, document: bytes, trims: Iterable[Trim]) -> str:
    """The layout file's text with the trims written in, comments and order kept."""
    values = trim_values(document, trims)
    return with_values(text, values) if values else text


def serial_number_value(board: str, chip_id: str) -> dict[KeyPath, Value]:
    """The value of the layout file that says that `board` is now the chip with this id."""
    return {("board", board, "serial"): chip_id}


def check_replacement(hello: Hello, board: str, old_chip_id: str | None, where: str) -> None:
    """Raise WrongBoard where the board that answers should not become `board`.

    One that is another board of a railway would be lost; the old board itself needs no replacing.
    """
    if old_chip_id is not None and same_serial(hello.id, old_chip_id):
        raise WrongBoard(
            f"this is {board} itself (id {hello.id}), not a new board",
            where=where,
            cure=f"plug in the new board, or push to {board} as it is: `frogfeed push`",
        )
    if hello.board is not None and hello.board != board:
        raise WrongBoard(
            f"this board is {hello.board} of {hello.layout}",
            where=where,
            why=f"as {board} its settings would be gone",
            cure="plug in a board without settings; to give up this one's, erase it with `frogfeed image`",
        )
