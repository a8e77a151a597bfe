"""The fault finder of one session: one hunt at a time, seen by all pages."""

from __future__ import annotations

import asyncio
from typing import Any

from frogfeed.console.refusals import RefusedError
from frogfeed.console.session import Session
from frogfeed.console.suspects import HIDDEN, Hunt, Reading, Suspect, Trouble, cure


class Hunter:
    """Runs hunts and shows them in the store's section `hunt`."""

    def __init__(self, session: Session) -> None:
        self._session = session
        self._hunt: Hunt | None = None
        self._next: Reading | None = None

    async def start(self, rail: str, trouble: Trouble, settings: dict[str, str]) -> dict[str, Any]:
        """Begin a hunt; drives that `settings` leaves out stand as reported."""
        network = self._session.railway.network
        if rail not in network.piece_of:
            raise RefusedError(
                f"there is no rail called {rail}", cure="choose one on the drawing; rails are named as T1.VL"
            )
        for d, s in settings.items():
            if s not in network.drives.get(d, ()):
                raise RefusedError(
                    f"{d} has no setting {s}", cure=f"it has {' and '.join(network.drives.get(d, ())) or 'none'}"
                )
        at = {d: s.at for d, s in self._session.reporter.standing().items() if s.at is not None} | settings
        hunt = await asyncio.to_thread(Hunt, network, rail, trouble, at)
        if not hunt.sound:
            raise _by_itself(rail, trouble)
        if not hunt.suspects:
            raise _by_none(rail, trouble)
        self._hunt = hunt
        return await self._show()

    async def answer(self, number: int, reads: str) -> dict[str, Any]:
        """The meter's answer to the reading that was asked for last."""
        hunt, reading = self._hunt, self._next
        if hunt is None or reading is None or number != len(hunt.readings):
            raise RefusedError(
                "this reading is not asked for any more", "another page has answered it", "see what is asked now"
            )
        closed = None if reads == "unsure" else reads == "closed"
        await asyncio.to_thread(hunt.take, reading, closed)
        return await self._show()

    async def stop(self) -> None:
        """Put the hunt away."""
        self._hunt = self._next = None
        self._session.store.put("hunt", "now", None)

    async def _show(self) -> dict[str, Any]:
        hunt = self._hunt
        assert hunt is not None
        self._next = await asyncio.to_thread(hunt.next)
        view = {
            "rail": hunt.rail,
            "trouble": hunt.trouble,
            "settings": hunt.settings,
            "suspects": [_suspect(s) for s in hunt.suspects],
            "way": [{"a": s.a, "b": s.b, "what": s.what} for s in hunt.way],
            "readings": [{**self._reading(r), "reads": _word(c)} for r, c in hunt.readings],
            "next": None if self._next is None else {**self._reading(self._next), "number": len(hunt.readings)},
            "none_left": not hunt.suspects,
        }
        self._session.store.put("hunt", "now", view)
        return {"suspects": len(hunt.suspects)}

    def _reading(self, r: Reading) -> dict[str, Any]:
        hunt = self._hunt
        assert hunt is not None
        return {
            "a": r.a,
            "b": r.b,
            "lift": r.lifted_text,
            "throw": {d: s for d, s in r.settings if hunt.settings[d] != s},
            "sound": "closed" if hunt.expected(r) else "open",
        }


def _suspect(s: Suspect) -> dict[str, str]:
    return {"kind": s.kind, "place": s.place, "cure": cure(s), "note": HIDDEN if s.doubtful else ""}


def _by_itself(rail: str, trouble: Trouble) -> RefusedError:
    """The layout as drawn has the trouble, so that there is nothing to hunt for."""
    if trouble == "crossing":
        return RefusedError(
            f"no wheel joins {rail} to another rail at these settings",
            "a train trips the supply where it joins two rails, at a gap or a frog",
            "choose a rail at the gap where it trips, with the turnouts set as they are then",
        )
    what = "fed by nothing" if trouble == "dead" else "shorted"
    return RefusedError(
        f"{rail} is {what} at these settings, by the layout itself",
        "no wiring fault is needed for that",
        "`frogfeed check` says what to change, and why",
    )


def _by_none(rail: str, trouble: Trouble) -> RefusedError:
    """No single fault has the trouble."""
    if trouble == "short":
        return RefusedError(
            f"no single wiring fault makes {rail} short at these settings while nothing stands on it",
            "there are several faults at once, or a tool or a vehicle lies across the rails",
            "take all vehicles off; if it trips only as a train crosses, choose that instead; else try another rail",
        )
    what = "dead" if trouble == "dead" else "trip under a train"
    return RefusedError(
        f"no single wiring fault makes {rail} {what} at these settings",
        "there are several faults at once, the supply is off, or it is the vehicle that is at fault",
        "look at the supply and at what stands on the track, then try a rail nearer to the supply",
    )


def _word(closed: bool | None) -> str:
    return "not read" if closed is None else "closed" if closed else "open"
