"""What to tell a person when a link goes wrong: from facts to an error with its cause and its cure."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any

from frogboard import methods
from frogfeed.board.errors import (
    BoardError,
    BoardRefused,
    BoardVanished,
    LinkNoise,
    NoAnswer,
    OtherFirmware,
    OtherSettings,
    WrongBoard,
)
from frogfeed.board.messages import Hello
from frogfeed.board.ports import same_serial

__all__ = [
    "did_not_return",
    "no_answer",
    "not_the_same",
    "refusal",
    "settings_differ",
    "wrong_partner",
]

_CURES = {
    methods.NO_SETTINGS: "send the board its settings with `frogfeed push`",
    methods.UNKNOWN_NAME: "`frogfeed state` lists the names that the board knows; after a change of the "
    "layout file, `frogfeed push` brings the board up to date",
    methods.BUSY: "wait until the drives have come to rest, then give the command again",
    methods.BAD_SETTINGS: "run `frogfeed check` and `frogfeed build` again; if they are content, the board's "
    "firmware may be older than this frogfeed: `frogfeed install`",
    methods.STORE: "the old contents are still in force; try again, and replace the board if it goes on",
    methods.NO_METHOD: "the board's firmware is another version: `frogfeed install` brings it up to date",
}


def refusal(method: str, error: Mapping[str, Any], where: str) -> BoardRefused:
    """A board's error answer as an exception. The cure hangs on the number, never on the words."""
    code = error.get("code")
    number = code if isinstance(code, int) else methods.INTERNAL
    reason = str(error.get("message") or dict(methods.ERRORS).get(number, "no reason given"))
    return BoardRefused(method, number, reason, where=where, cure=_CURES.get(number, ""))


def no_answer(method: str, waited_s: float, noise: Iterable[str], where: str) -> NoAnswer:
    """No answer came: say what came instead, and what that usually means."""
    heard = [line for line in noise if line]
    if not heard:
        return NoAnswer(
            f"no answer to {method} within {waited_s:g} s",
            where=where,
            why="the port is open, but nothing comes out of it",
            cure="is this the board's port, and does the board run frogfeed's firmware? `frogfeed boards` "
            "tells; pressing the board's reset may help",
        )
    prompt = any(">>>" in line or "MicroPython" in line for line in heard)
    return LinkNoise(
        f"no answer to {method} within {waited_s:g} s; heard instead: {heard[-1]!r}",
        is_prompt=prompt,
        where=where,
        why="a MicroPython prompt answers: the firmware is not running"
        if prompt
        else "what arrives is not this link: another program runs on the board, or the line is disturbed",
        cure="`frogfeed install` puts the firmware on the board; if it is there, press the board's reset"
        if prompt
        else "check the port's name and the cable; keep the USB cable away from the track's wires",
    )


def did_not_return(waited_s: float, last: BoardError | None) -> BoardVanished:
    """The port stayed away."""
    return BoardVanished(
        f"the board went away and did not come back within {waited_s:g} s",
        where=last.where if last else "",
        why=last.what if last else "",
        cure="plug it in again and repeat the command; what was sent already need not be sent again",
    )


def wrong_partner(hello: Hello, board: str | None, chip_id: str | None, where: str) -> BoardError | None:
    """Why we must not go on with the board that said `hello`; None if we may."""
    if hello.protocol != methods.PROTOCOL or hello.methods != methods.fingerprint():
        older = hello.protocol < methods.PROTOCOL
        if hello.protocol != methods.PROTOCOL:
            what = f"link version {hello.protocol}; this frogfeed speaks version {methods.PROTOCOL}"
        else:
            what = f"another set of methods (fingerprint {hello.methods}, here {methods.fingerprint()})"
        return OtherFirmware(
            f"the board's firmware {hello.firmware} has {what}",
            where=where,
            why="a command could mean something else to each of them",
            cure="`frogfeed install` puts this frogfeed's firmware on the board"
            if older or hello.protocol == methods.PROTOCOL
            else "bring frogfeed on this computer up to date, or `frogfeed install` its older firmware",
        )
    if chip_id is not None and not same_serial(hello.id, chip_id):
        return WrongBoard(
            f"the board here has the id {hello.id}; {board or 'the board that is meant'} is {chip_id}",
            where=where,
            why="the wrong board would move other drives and switch other frogs",
            cure="name the right port, or leave --port out and let the serial number find it; for a new "
            "board in the old one's place use `frogfeed replace`",
        )
    if board is not None and hello.board is not None and hello.board != board:
        return WrongBoard(
            f"the board here is {hello.board}, not {board}",
            where=where,
            why="the wrong board would move other drives and switch other frogs",
            cure=f"name the port of {board}; to make this one {board}, use `frogfeed replace {board}`",
        )
    return None


def not_the_same(before: Hello | None, now: Hello, where: str) -> WrongBoard | None:
    """An error if another board answers than before the port went away."""
    if before is None or same_serial(before.id, now.id):
        return None
    return WrongBoard(
        f"another board was plugged in: its id is {now.id}, before it was {before.id}",
        where=where,
        why="the command was meant for the first one",
        cure="plug the first board in again, or start the command anew for this one",
    )


def settings_differ(hello: Hello, settings: str | None, layout_hash: str | None, where: str) -> OtherSettings | None:
    """An error if the board does not hold the settings built from the layout file at hand."""
    if hello.settings is None:
        return OtherSettings(
            "the board holds no valid settings",
            where=where,
            why=hello.reason or "none were ever sent to it",
            cure="`frogfeed push` sends them",
        )
    if (settings is not None and hello.settings != settings) or (
        layout_hash is not None and hello.layout_hash != layout_hash
    ):
        return OtherSettings(
            f"the board holds other settings ({hello.settings}, of the layout {hello.layout}) than this "
            f"layout file gives ({settings or layout_hash})",
            where=where,
            why="the layout file was changed since the last push, or it is another railway's",
            cure="`frogfeed push` brings the board up to date; `frogfeed pull` shows what it holds",
        )
    return None
