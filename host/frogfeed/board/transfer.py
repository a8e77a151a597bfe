"""Settings and layout text to a board and back: in chunks, resumed after a pulled cable, proved by CRC-32.

What is sent waits in the board's memory until it is committed; whatever goes wrong before that, the board
keeps what it had.
"""

from __future__ import annotations

import base64
import binascii
import hashlib
import json
import zlib
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any, Literal

from frogboard import methods, packing, settings
from frogfeed.board.client import Client, Expected
from frogfeed.board.errors import BoardRefused, NoAnswer, PushFailed, WrongBoard
from frogfeed.board.trouble import settings_differ

__all__ = [
    "Progress",
    "Pulled",
    "Pushed",
    "expected_from",
    "pull",
    "pulled_layout_fits",
    "push",
    "push_board",
]

What = Literal["settings", "layout"]

Progress = Callable[[What, int, int], None]
"""Called with what is under way, the bytes done and the bytes in all."""

MAX_BYTES = {"settings": settings.MAX_BYTES, "layout": 65536}
_VAIN_TRIES = 4
"""So often in a row a push is taken up again without having come any further."""

AHEAD = 4
"""Chunks sent before the first of them is answered: the board takes one apart while the next is on its way.

One at a time where that got no further: on a line that loses bytes what is sent ahead is in vain.
"""


@dataclass(frozen=True, slots=True)
class Pushed:
    """What a push did. `resumed` counts how often it took up where it had been cut off."""

    what: What
    size: int
    crc32: str
    resumed: int
    unchanged: bool = False


@dataclass(frozen=True, slots=True)
class Pulled:
    """What a board held, proved by its CRC-32."""

    what: What
    data: bytes
    crc32: str


def crc32_hex(data: bytes | bytearray) -> str:
    """CRC-32/ISO-HDLC as 8 lower hex digits."""
    return f"{zlib.crc32(data) & 0xFFFFFFFF:08x}"


def expected_from(document: bytes, chip_id: str | None = None) -> Expected:
    """Who must answer before a board with this settings document is driven. Raises PushFailed if it is invalid.

    `chip_id`: the USB serial number that the layout file states for the board, if it does.
    """
    content, reason = settings.load(document)
    if content is None:
        raise _invalid(reason)
    return Expected(
        board=str(content["board"]),
        chip_id=chip_id,
        settings=settings.crc_of(document),
        layout_hash=str(content["layout_hash"]) or None,
    )


def push_board(
    client: Client,
    document: bytes,
    layout_text: bytes,
    *,
    replace: bool = False,
    progress: Progress | None = None,
) -> tuple[Pushed, Pushed]:
    """Put a settings document and the layout file's text on the board, and make sure that both are there.

    The document is checked here as the board will check it; a document for another board than the one
    that answers is refused unless `replace`. The text goes first: the settings, once in force, say that
    all is there. Raises PushFailed, WrongBoard, and as `Client.request`.
    """
    content, reason = settings.load(document)
    if content is None:
        raise _invalid(reason)
    _check_size("layout", len(layout_text))
    hello = client.hello or client.connect()
    if hello.board is not None and hello.board != content["board"] and not replace:
        raise WrongBoard(
            f"the board here is {hello.board}; these settings are for {content['board']}",
            where=client.where,
            why="its outputs are wired for other drives and frogs",
            cure=f"name the port of {content['board']}; to make this board {content['board']}, use "
            f"`frogfeed replace {content['board']}`",
        )
    text_done = push(client, "layout", layout_text, progress=progress)
    settings_done = push(client, "settings", document, progress=progress)
    problem = settings_differ(client.connect(), settings.crc_of(document), None, client.where)
    if problem:
        raise problem
    return text_done, settings_done


def push(client: Client, what: What, data: bytes, *, progress: Progress | None = None) -> Pushed:
    """Send `data` and put it in force. A board that holds the very same already is left alone.

    After a pulled cable (the client comes back by itself) or a lost chunk the board is asked how much it
    holds, and the push goes on there. Raises PushFailed, BoardRefused, and as `Client.request`.
    """
    _check_size(what, len(data))
    crc = crc32_hex(data)
    if _held(client, what) == crc:
        _tell(progress, what, len(data), len(data))
        return Pushed(what, len(data), crc, 0, unchanged=True)
    packed = _packed(client, data)
    resumed = 0
    returns = client.counters.reconnects
    best = -1
    vain = 0
    while vain < _VAIN_TRIES:
        try:
            at = _send_chunks(client, what, data, packed, crc, 1 if vain else AHEAD, progress)
            resumed += client.counters.reconnects - returns
            return _commit(client, what, data, crc, resumed)
        except _Again as again:
            at = again.at
            resumed += 1
            returns = client.counters.reconnects
        except BoardRefused as refusal:
            if refusal.number == methods.BAD_SETTINGS:
                raise _not_taken(client, refusal) from refusal
            raise
        vain = 0 if at > best else vain + 1
        best = max(best, at)
    raise PushFailed(
        f"{what} could not be sent: the board keeps losing what it was given ({best} of {len(data)} bytes)",
        where=client.where,
        why="it restarts, or the line loses bytes; the board still holds what it had before",
        cure="try another cable and USB socket, then push again",
    )


class _Again(Exception):  # noqa: N818 - not an error: the push goes on from the place that the board names
    def __init__(self, at: int) -> None:
        super().__init__(at)
        self.at = at


def _send_chunks(
    client: Client, what: What, data: bytes, packed: bytes | None, crc: str, ahead: int, progress: Progress | None
) -> int:
    """Send what is to come, packed or as it is; how many of those bytes the board has."""
    announced = {"what": what, "size": len(data), "crc32": crc}
    whole = len(data)
    if packed is not None:
        announced["packed"] = len(packed)
        data = packed
    begun = client.request("push.begin", announced, busy_s=client.limits.busy_s)
    at = _place(begun, len(data))
    chunk = min(max(1, int(begun.get("chunk", methods.CHUNK_BYTES))), methods.CHUNK_BYTES)
    _tell(progress, what, at * whole // len(data), whole)
    pieces = (
        {"at": start, "data": base64.b64encode(data[start : start + chunk]).decode("ascii")}
        for start in range(at, len(data), chunk)
    )
    try:
        for answer in client.request_ahead("push.chunk", pieces, ahead=ahead):
            following = _place(answer, len(data))
            if following <= at:
                raise _Again(at)
            at = following
            _tell(progress, what, at * whole // len(data), whole)
    except BoardRefused as refusal:
        if refusal.number == methods.OUT_OF_ORDER:
            raise _Again(at) from refusal
        raise
    if at < len(data):
        raise _Again(at)
    return at


def _packed(client: Client, data: bytes) -> bytes | None:
    """`data` as a zlib stream, if the board unpacks and it is shorter."""
    if client.hello is None or not client.hello.packs:
        return None
    packer = zlib.compressobj(9, zlib.DEFLATED, packing.WINDOW_BITS)
    stream = packer.compress(data) + packer.flush()
    return stream if len(stream) < len(data) else None


def _commit(client: Client, what: What, data: bytes, crc: str, resumed: int) -> Pushed:
    try:
        done = client.request(
            "push.commit",
            {"crc32": crc},
            timeout_s=client.limits.commit_s,
            busy_s=client.limits.busy_s,
        )
    except BoardRefused as refusal:
        # The answer to a first commit may have been lost with the cable: then the bytes are in force already.
        if refusal.number in (methods.OUT_OF_ORDER, methods.BAD_CRC):
            if _held(client, what) == crc:
                return Pushed(what, len(data), crc, resumed)
            raise _Again(len(data)) from refusal
        raise
    except NoAnswer:
        if _held(client, what) == crc:
            return Pushed(what, len(data), crc, resumed)
        raise
    if done.get("crc32") not in (crc, settings.crc_of(data) if what == "settings" else crc):
        raise PushFailed(
            f"the board read back {what} with the CRC {done.get('crc32')}; {crc} was sent",
            where=client.where,
            why="its flash did not keep what was written",
            cure="push again; if it goes on, the board is worn out: replace it",
        )
    return Pushed(what, len(data), crc, resumed)


def _held(client: Client, what: What) -> str | None:
    """The CRC-32 of all bytes that the board holds of `what`; None if it holds none."""
    beyond = max(MAX_BYTES.values())
    answer = client.request("pull", {"what": what, "at": beyond})
    return str(answer.get("crc32")) if answer.get("size") else None


def pull(client: Client, what: What, *, progress: Progress | None = None) -> Pulled | None:
    """What the board holds, whole and proved by its CRC-32; None if it holds none.

    Raises PushFailed where what comes back does not fit its CRC, and as `Client.request`.
    """
    data = bytearray()
    crc: str | None = None
    while True:
        answer = client.request("pull", {"what": what, "at": len(data)})
        size = int(answer.get("size", 0))
        if size == 0:
            return None
        stated = str(answer.get("crc32"))
        if crc is not None and stated != crc:
            data.clear()
        crc = stated
        piece = _bytes(answer)
        data += piece
        _tell(progress, what, len(data), size)
        if len(data) >= size or not piece:
            break
    if len(data) != size or crc32_hex(data) != crc:
        raise PushFailed(
            f"what came back ({len(data)} of {size} bytes) does not fit its CRC {crc}",
            where=client.where,
            why="the board's flash or the line changed it",
            cure="pull again; if it goes on, push the layout file anew",
        )
    return Pulled(what, bytes(data), crc)


def pulled_layout_fits(settings_document: bytes, layout_text: bytes) -> bool:
    """Whether a pulled layout text is the one that the pulled settings were built from."""
    try:
        stated = json.loads(settings_document).get("layout_hash", "")
    except ValueError:
        return False
    return bool(stated) and hashlib.sha256(layout_text).hexdigest().startswith(stated)


def _bytes(answer: dict[str, Any]) -> bytes:
    try:
        return base64.b64decode(str(answer.get("data", "")), validate=True)
    except binascii.Error:
        return b""


def _place(answer: dict[str, Any], size: int) -> int:
    at = answer.get("at")
    return at if isinstance(at, int) and 0 <= at <= size else 0


def _tell(progress: Progress | None, what: What, done: int, size: int) -> None:
    if progress is not None:
        progress(what, done, size)


def _check_size(what: What, size: int) -> None:
    if not 0 < size <= MAX_BYTES[what]:
        raise PushFailed(
            f"{what} has {size} bytes; a board takes 1 to {MAX_BYTES[what]}",
            why="that is what its memory holds at once",
            cure="spread the drives over more boards" if what == "settings" else "shorten the layout file's comments",
        )


def _invalid(reason: str | None) -> PushFailed:
    return PushFailed(
        f"these settings are not valid: {reason}",
        why="the board would refuse them",
        cure="run `frogfeed check` and `frogfeed build` again",
    )


def _not_taken(client: Client, refusal: BoardRefused) -> PushFailed:
    return PushFailed(
        f"the board refused these settings: {refusal.reason}",
        where=client.where,
        why="they break a rule of its firmware; what it held before is still in force",
        cure="run `frogfeed check` and `frogfeed build` again; `frogfeed install` if the firmware is older",
    )
