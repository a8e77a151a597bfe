"""What a page or a terminal may ask: each command with its parameters, checked before anything is done."""

from __future__ import annotations

import json
from collections.abc import Awaitable, Callable
from dataclasses import dataclass
from typing import Annotated, Any, Literal, TypeVar

from pydantic import BaseModel, ConfigDict, Field, ValidationError

from frogfeed.console.desk import Desk
from frogfeed.console.guard import Role
from frogfeed.console.refusals import RefusedError

MOST_BYTES = 16_384
"""Longest message from a page."""

Word = Annotated[str, Field(min_length=1, max_length=80)]
P = TypeVar("P", bound="Params")


class Params(BaseModel):
    """Parameters of a command: nothing unknown, nothing converted."""

    model_config = ConfigDict(extra="forbid", frozen=True, strict=True)


class Nothing(Params):
    """No parameters."""


class Throw(Params):
    """A drive and the setting it goes to."""

    drive: Word
    to: Word


class Lay(Params):
    """Two places."""

    start: Word
    goal: Word


class FeedReset(Params):
    """A feed; None: all."""

    feed: Word | None = None


class BoardOnly(Params):
    """A board."""

    board: Word


class Trim(Params):
    """A pulse for an end, in microseconds."""

    drive: Word
    setting: Word
    pulse_us: Annotated[int, Field(ge=300, le=2700)]


class Speed(Params):
    """A time for a throw from end to end."""

    drive: Word
    travel_ms: Annotated[int, Field(ge=100, le=20_000)]


class DriveOnly(Params):
    """A drive."""

    drive: Word


class ProveStart(Params):
    """`meter`: with the meter's readings as well; `by`: who proves it."""

    meter: bool = True
    by: Annotated[str, Field(max_length=60)] = ""


class ProveAnswer(Params):
    """What a person answers to a step of the proof."""

    step: Word
    answer: Literal["closed", "open", "yes", "no", "skip"]
    note: Annotated[str, Field(max_length=200)] = ""


class HuntStart(Params):
    """A rail, what is wrong with it, and at which settings (missing ones: as reported)."""

    rail: Word
    trouble: Literal["dead", "short", "crossing"]
    settings: Annotated[dict[Word, Word], Field(max_length=400)] = {}


class HuntAnswer(Params):
    """What the meter read at the place that was asked for last."""

    number: Annotated[int, Field(ge=0, le=1000)]
    reads: Literal["closed", "open", "unsure"]


class EditPiece(Params):
    """One fact about a piece."""

    piece: Word
    key: Literal["make", "state", "links", "blades", "frog", "normal", "output"]
    value: Word | None


class EditJoint(Params):
    """Insulation of a joint by its number in the network."""

    joint: Annotated[int, Field(ge=0, le=100_000)]
    gap: Literal["none", "both", "left", "right"]


class EditFeed(Params):
    """Droppers at a joint's end: `district` None takes them away."""

    joint: Annotated[int, Field(ge=0, le=100_000)]
    side: Literal["before", "after"]
    district: Word | None
    left: Literal["A", "B"] = "A"
    rail: Literal["both", "left", "right"] = "both"


class LinkRequest(Params):
    """A request of the link, for a board whose port the console has."""

    board: Word
    method: Word
    params: Annotated[dict[Word, Any], Field(max_length=8)] = {}


class LinkHeard(Params):
    """News of a board from number `after` on; -1: only where the count stands."""

    board: Word
    after: Annotated[int, Field(ge=-1, lt=1 << 53)]


Handler = Callable[[Desk, Any], Awaitable[Any]]


@dataclass(frozen=True, slots=True)
class Command:
    """A command: its parameters, whether visitors may give it, and what it does."""

    params: type[Params]
    visitor: bool
    run: Handler


COMMANDS: dict[str, Command] = {
    "throw": Command(Throw, False, lambda desk, p: desk.session.throw(p.drive, p.to)),
    "lay": Command(Lay, False, lambda desk, p: desk.layer.lay(p.start, p.goal)),
    "lay.stop": Command(Nothing, False, lambda desk, p: desk.layer.stop()),
    "all_off": Command(Nothing, False, lambda desk, p: desk.session.all_off()),
    "feed_reset": Command(FeedReset, False, lambda desk, p: desk.session.feed_reset(p.feed)),
    "push": Command(BoardOnly, False, lambda desk, p: desk.session.push(p.board)),
    "trim": Command(Trim, False, lambda desk, p: desk.trimmer.trim(p.drive, p.setting, p.pulse_us)),
    "trim.speed": Command(Speed, False, lambda desk, p: desk.trimmer.speed(p.drive, p.travel_ms)),
    "trim.show": Command(DriveOnly, True, lambda desk, p: desk.trimmer.show(p.drive)),
    "trim.save": Command(DriveOnly, False, lambda desk, p: desk.trimmer.save(p.drive)),
    "prove.start": Command(ProveStart, False, lambda desk, p: desk.prover.start(p.meter, p.by)),
    "prove.answer": Command(ProveAnswer, False, lambda desk, p: desk.prover.answer(p.step, p.answer, p.note)),
    "prove.stop": Command(Nothing, False, lambda desk, p: desk.prover.stop()),
    "hunt.start": Command(HuntStart, False, lambda desk, p: desk.hunter.start(p.rail, p.trouble, p.settings)),
    "hunt.answer": Command(HuntAnswer, False, lambda desk, p: desk.hunter.answer(p.number, p.reads)),
    "hunt.stop": Command(Nothing, False, lambda desk, p: desk.hunter.stop()),
    "edit.piece": Command(EditPiece, False, lambda desk, p: desk.drafter.piece(p.piece, p.key, p.value)),
    "edit.joint": Command(EditJoint, False, lambda desk, p: desk.drafter.joint(p.joint, p.gap)),
    "edit.feed": Command(
        EditFeed, False, lambda desk, p: desk.drafter.feed(p.joint, p.side, p.district, p.left, p.rail)
    ),
    "edit.undo": Command(Nothing, False, lambda desk, p: desk.drafter.undo()),
    "edit.drop": Command(Nothing, False, lambda desk, p: desk.drafter.drop()),
    "edit.save": Command(Nothing, False, lambda desk, p: desk.drafter.save()),
    "link": Command(LinkRequest, False, lambda desk, p: desk.relay.request(p.board, p.method, p.params)),
    "link.heard": Command(LinkHeard, False, lambda desk, p: desk.relay.heard(p.board, p.after)),
    "layout": Command(Nothing, True, lambda desk, p: desk.layout()),
}


@dataclass(frozen=True, slots=True)
class Request:
    """A message that could be read: its number and what it asks for."""

    number: int
    name: str
    params: dict[str, Any]


def read_request(text: str) -> Request:
    """Read a message. Raises RefusedError where it is none."""
    if len(text.encode("utf-8", "surrogatepass")) > MOST_BYTES:
        raise RefusedError("the message is too long", f"at most {MOST_BYTES} bytes are taken")
    try:
        message = json.loads(text)
    except (ValueError, RecursionError) as problem:
        raise RefusedError("the message is not JSON") from problem
    if not isinstance(message, dict) or set(message) - {"id", "do", "with"}:
        raise RefusedError("the message is not a command", "it has the keys id, do and with")
    number, name, params = message.get("id"), message.get("do"), message.get("with", {})
    if (
        type(number) is not int
        or not 0 <= number < 1 << 53
        or not isinstance(name, str)
        or not isinstance(params, dict)
    ):
        raise RefusedError("the message is not a command", "id is a whole number, do a word, with an object")
    return Request(number, name, params)


_OTHER = "what asked is of another version than this console, or was given something odd"
_ANEW = "in a browser reload the page; in a terminal look at what you gave, or start the console anew"


async def run(desk: Desk, role: Role, request: Request) -> Any:
    """Do what is asked. Raises RefusedError."""
    command = COMMANDS.get(request.name)
    if command is None:
        raise RefusedError(f"this console knows no command {request.name[:40]!r}", _OTHER, _ANEW)
    if role is not Role.OPERATOR and not command.visitor:
        raise RefusedError(
            "visitors may look, but not touch",
            "this page was opened with the visitors' address",
            "ask the operator, whose address has another key",
        )
    try:
        params = command.params.model_validate(request.params)
    except ValidationError as problem:
        first = problem.errors()[0]
        place = ".".join(str(p) for p in first["loc"]) or "with"
        raise RefusedError(f"{request.name}: {place}: {first['msg']}", _OTHER, _ANEW) from problem
    return await command.run(desk, params)
