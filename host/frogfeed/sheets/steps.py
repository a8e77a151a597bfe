"""A step of a card in words."""

from __future__ import annotations

from collections.abc import Mapping

from frogfeed.plan.makeup import BondRails, FitDropper, FitJoiner, FitSwitched, KeepLink, RemoveLink
from frogfeed.sheets.lists import size_text
from frogfeed.sheets.model import CardStep, Wire
from frogfeed.sheets.words import Words
from frogfeed.track.network.model import BondKind

_BONDS = {
    BondKind.BLADE: "step.bond.blade",
    BondKind.FROG: "step.bond.frog",
    BondKind.SECTION: "step.bond.section",
}


def step_text(step: CardStep, wires: Mapping[str, Wire], words: Words) -> str:
    """What to do, in one or two sentences."""
    does = step.does[0]
    match does:
        case RemoveLink(a, b):
            return words("step.remove", a=a, b=b)
        case KeepLink(a, b):
            return words("step.keep", a=a, b=b)
        case BondRails(a, b, why):
            return words(_BONDS[why], a=a, b=b)
        case FitJoiner():
            return _joiner(step, does, words)
        case FitDropper(rail, wire, size):
            near = words("step.near", end=step.end) if step.end else ""
            return words(
                "step.dropper",
                rail=rail,
                near=near,
                wire=wire,
                colour=_colour(wires.get(step.mark), words),
                size=size_text(size),
            )
        case FitSwitched(rail):
            w = wires.get(step.mark)
            colour, size = _colour(w, words), size_text(w.size) if w is not None else ""
            if w is None or w.board is None:
                return words("step.feed.none", rail=rail, colour=colour, size=size)
            name = w.end.partition(":")[2]
            return words("step.feed", rail=rail, board=w.board, terminal=name, colour=colour, size=size)


def _colour(wire: Wire | None, words: Words) -> str:
    return f"{words.colour(wire.colour)}, " if wire is not None and wire.colour else ""


def _joiner(step: CardStep, does: FitJoiner, words: Words) -> str:
    key = "step.insulate" if not does.conducts else "step.metal" if does.trusted else "step.untrusted"
    if len(step.does) == 2:
        other = step.does[1]
        assert isinstance(other, FitJoiner)
        return words(key + ".both", end=does.end, a=does.rail, b=does.beyond, c=other.rail, d=other.beyond)
    return words(key, end=does.end, hand=words(f"hand.{does.hand}"), a=does.rail, b=does.beyond)
