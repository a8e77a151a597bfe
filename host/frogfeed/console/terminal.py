"""Trimming and proving in a terminal. What is asked and shown is passed in; nothing here prints or ends the program."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial
from typing import Any

from frogfeed.console.refusals import RefusedError
from frogfeed.console.seat import Seat, wait_for

Say = Callable[[str], None]
Hear = Callable[[str], str]

HELP = (
    "  left / right (or another setting): throw there and trim that end\n"
    "  +5, -20 ...: move this end by so many microseconds\n"
    "  speed 1500: milliseconds from end to end, tried at once (feeds off for a moment)\n"
    "  save: into the layout file, its comments kept;  quit: leave\n"
)


def wait_ready(seat: Seat, board: str, limit_s: float) -> None:
    """Wait until a board answers. Raises RefusedError with what is wrong."""
    if wait_for(seat, lambda: bool((seat.get("boards", board) or {}).get("up")), limit_s):
        return
    fault = seat.get("faults", f"link {board}") or {}
    raise RefusedError(
        fault.get("what") or f"{board} does not answer",
        fault.get("why", ""),
        fault.get("cure", "look at its cable, or name its port with --port"),
    )


def settle(seat: Seat, drive: str, to: str, limit_s: float = 60.0) -> None:
    """Wait until a drive is at rest at a setting. Raises RefusedError."""

    def there() -> bool:
        d = seat.get("drives", drive) or {}
        return d.get("at") == to and not d.get("moving") and d.get("to") is None

    if not wait_for(seat, there, limit_s):
        raise RefusedError(f"{drive} has not come to rest at {to}", cure="see what the board says of it")


def trim_drive(seat: Seat, drive: str, say: Say, hear: Hear) -> bool:
    """Trim a drive by hand; True where it was saved."""
    shown = seat.ask("trim.show", drive=drive)
    end, saved = shown["settings"][0], False
    say(f"Trimming {drive}. Commands:\n{HELP}")
    while True:
        shown = seat.ask("trim.show", drive=drive)
        say(_line(shown, end))
        word = hear(f"{end} > ").strip()
        try:
            if word in ("quit", "q", ""):
                return saved
            if word == "save":
                seat.ask("trim.save", drive=drive)
                saved = True
                say("Saved into the layout file. Send the settings to the board when no train moves.")
            elif word in shown["settings"]:
                end = word
                seat.ask("throw", drive=drive, to=end)
                settle(seat, drive, end)
            elif word.startswith("speed "):
                seat.ask("trim.speed", drive=drive, travel_ms=int(word.split()[1]))
            elif word[0] in "+-" and word[1:].isdigit():
                now = shown["ends"][shown["settings"].index(end)]
                seat.ask("trim", drive=drive, setting=end, pulse_us=now + int(word))
            else:
                say(HELP)
        except RefusedError as refused:
            say("\n".join(t for t in (refused.what, refused.why, refused.cure) if t))
        except ValueError:
            say(HELP)


def set_ends(seat: Seat, drive: str, ends: dict[str, int]) -> None:
    """Trim ends to stated pulses, without questions."""
    for setting, pulse in ends.items():
        seat.ask("throw", drive=drive, to=setting)
        settle(seat, drive, setting)
        seat.ask("trim", drive=drive, setting=setting, pulse_us=pulse)


def _line(shown: dict[str, Any], end: str) -> str:
    ends = "   ".join(
        f"{'*' if s == end else ' '}{s} {e} µs" for s, e in zip(shown["settings"], shown["ends"], strict=True)
    )
    window = shown["windows"].get(end)
    free = f"   free of both rails for {window['ms']} ms" if window and window["ms"] > 0 else ""
    faults = "".join(f"\n  ! {f['what']}: {f['cure']}" for f in shown["faults"])
    return f"{ends}   {shown['travel_ms']} ms{free}{faults}"


def prove_layout(seat: Seat, say: Say, hear: Hear | None, *, meter: bool, by: str) -> dict[str, Any]:
    """Run a proof, asking the person where one must answer (`hear` None: such steps are left out); its last state."""
    seat.ask("prove.start", meter=meter, by=by)
    told = 0
    asked = ""
    while True:
        wait_for(seat, partial(_news, seat, told, asked), 1.0)
        proof = seat.get("proof", "now") or {}
        ended = [s for s in proof.get("steps", ()) if s[4] != "open"]
        for s in ended[told:]:
            say(f"[{_SIGN[s[4]]}] {s[2]}: {s[5]}")
        told = len(ended)
        if proof.get("state") == "ended":
            return dict(proof)
        if proof.get("state") == "asking" and _question(proof) != asked:
            asked = _question(proof)
            _answer(seat, proof, hear, say)


_SIGN = {"pass": "x", "fail": "FAILED", "skip": "left out"}
_WORDS = {"c": "closed", "closed": "closed", "o": "open", "open": "open"}


def _news(seat: Seat, told: int, asked: str) -> bool:
    proof = seat.get("proof", "now") or {}
    done = sum(1 for s in proof.get("steps", ()) if s[4] != "open")
    return (
        done > told or proof.get("state") == "ended" or (proof.get("state") == "asking" and _question(proof) != asked)
    )


def _question(proof: dict[str, Any]) -> str:
    return f"{proof['step']}/{proof['by_hand']}"


def _answer(seat: Seat, proof: dict[str, Any], hear: Hear | None, say: Say) -> None:
    step = next(s for s in proof["steps"] if s[0] == proof["step"])
    answer = "skip"
    if proof["by_hand"]:
        if hear is not None:
            say(f"Now {proof['by_hand']}; the proof goes on when its contacts say so.")
            return
    elif hear is not None:
        answer = _WORDS.get(hear(f"{step[2]}: closed, open, or nothing to leave it out? ").strip().lower(), "skip")
    seat.ask("prove.answer", step=step[0], answer=answer, note="")
