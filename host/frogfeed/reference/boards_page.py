# ruff: noqa: E501 -- a row of a table is one line
"""The page of board profiles and kinds of output: counts and figures from the profiles themselves."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable

from frogfeed.parts import profiles
from frogfeed.parts.boards import BoardProfile, Rated, SensorType, SwitchType

_INTRO = """\
# Boards

<!-- Made by `python -m frogfeed.reference`; do not edit. -->

A *profile* says what one kind of board can drive, switch, read and sense, and what its outputs stand. You name one in
the layout file, `frogfeed boards --profiles` lists them, and the plan assigns channels within it. How to build the
circuits stands in [the build guide](../../hardware/build-guide.md); what they need in
[the list of parts](../../hardware/parts.md).

## Kinds of output

What an output is made of decides what *off* means, and so what happens to a frog without power, on a short, and while blades
move.

| kind | off | choose it by this |
|---|---|---|
| `pair` | real: both legs open | Take a pair wherever blades are not bonded, where a section must go dead, or if in doubt: off is off. |
| `changeover` | none: released, the relay rests on one bus wire | The cheapest, and good for an isolated frog with bonded blades; without power the frog is right only while the drive stands at its `home`. |
| `latching` | none: it keeps its last side without power | As a changeover, but it keeps its side over a power cut, as the blades do; after a start its side is unknown until its drive is thrown. |
| any behind an `enable` | real: one contact ahead of a whole group opens it | The group gets an off, and one trip opens all of it; in return the group belongs to one district. |

What follows from that:

- A bare changeover never moves on a trip, since that could make the very fault: the district's supply has to clear it. The
  board reports it.
- Unbonded blades with a bare changeover are refused (`plan-bare-changeover`): without power and away from home, the relay
  would short the bus through the blade.
- A bare changeover or latching output makes both edges at once, so it needs a stretch of the throw in which neither blade
  touches; where that is too short the plan says by how much to slow the servo (`plan-changeover-window`).
- A layout file insists on a kind with `output = "pair"` at the piece.

## Profiles

"""

_SHARED = """
Inputs serve position contacts and panel buttons. Where servos, inputs and lamps share pins, a pin is one of these: the
plan takes each pin once, and says which terminal is what.

"""

_OUTRO = """\
## What the columns mean

- *Own trip*: the board turns a feed off by itself. *In hardware* means without the program, through a trip input; *sampled*
  within the time that sensor and control tick take. Both are set below the district's own trip.
- *Carry* is the current for good, *break* what it may interrupt at the track's voltage. A short is limited by your supply
  alone: state `limit_a` of the district, and `frogfeed check` holds it against these figures.
- *Isolated* outputs may serve any district. Parts that share the board's ground serve one.
- *Release* and *operate* are the longest times from command to contact, without bounce; the plan reckons with them.
- How sure a figure is stands beside it: *seen* in a typical datasheet of the class, *calc*ulated, or from *memory*. The
  datasheet of the part that you fit is right where it differs.

Expanders and servo chips are held off by resistors while the microcontroller starts; a profile without these is refused.
"""


def boards_page() -> str:
    """The page as Markdown."""
    found = [profiles.profile(name) for name in profiles.names()]
    head = (
        "| profile | servos | outputs | inputs | lamps | current sensors | own trip |\n|---|---|---|---|---|---|---|\n"
    )
    parts = [_INTRO + head + "".join(_row(p) for p in found) + _SHARED]
    for p in found:
        about = "\n".join(line.strip() for line in p.about.strip().splitlines())
        parts.append(f"### {p.title}\n\nProfile `{p.name}`, for the {p.chip}.\n\n{about}\n\n{_switches(p)}")
    return "\n".join([*parts, _OUTRO])


def _row(p: BoardProfile) -> str:
    trip = "in hardware and sampled" if p.trip and p.sensor else "in hardware" if p.trip else "sampled"
    cells = (
        f"`{p.name}`",
        f"{len(p.servo)}, {p.servos.max_moving} moving at once",
        _outputs(p),
        str(len(p.input)),
        str(len(p.lamp)) + _sharing(p),
        str(len(p.sensor)) if p.sensor else "none",
        trip if p.trip or p.sensor else "none",
    )
    return "| " + " | ".join(cells) + " |\n"


def _sharing(p: BoardProfile) -> str:
    """How many inputs and lamps there are at most together with each other, and with all servos, if pins are shared."""
    servos = {s.resource for s in p.servo}
    panel = {i.pin.resource for i in p.input} | {lamp.pin.resource for lamp in p.lamp}
    if len(panel) == len(p.input) + len(p.lamp):
        return ""
    shared = len(panel & servos)
    return f"; inputs and lamps {len(panel)} together, {len(panel) - shared} with all servos"


def _outputs(p: BoardProfile) -> str:
    """How many outputs of each kind; those that share pins are alternatives."""
    counts = Counter((p.switch(f).kind, f.enable is not None) for f in p.feed)
    words = [f"{n} {kind}" + (" behind an enable" if enabled else "") for (kind, enabled), n in counts.items()]
    pins = [r for f in p.feed for r in f.resources]
    return (" or " if len(set(pins)) < len(pins) else " and ").join(words)


def _switches(p: BoardProfile) -> str:
    rows = "".join(_switch(name, s) for name, s in p.switch_types.items())
    notes = "".join(f"- `{name}`: {s.note}\n" for name, s in p.switch_types.items())
    notes += "".join(f"- enable `{name}`: {e.note}\n" for name, e in p.enable_types.items())
    if p.lamps is not None:
        notes += f"- lamps: {p.lamps.note} It takes {1000 * p.lamps.lamp_a.value:g} mA: {p.lamps.lamp_a.source}. "
        notes += f"Resistors: {p.lamps.resistor_ohm.source}.\n"
    notes += "".join(f"- sensor `{name}`: {t.note} It measures {_MEASURES[t.measures]}.\n" for name, t in _sensors(p))
    return (
        "| output | kind | isolated | carry | break | release | operate |\n|---|---|---|---|---|---|---|\n"
        f"{rows}\n{notes}"
    )


_MEASURES = {
    "instantaneous": "the current as it is, of which the board takes the root mean square: good for DC and DCC",
    "average": "the mean, which is zero on DCC: not used there",
    "rectified-average": "the mean of the rectified current: good for DC and DCC",
}


def _sensors(p: BoardProfile) -> Iterable[tuple[str, SensorType]]:
    return p.sensor_types.items()


def _switch(name: str, s: SwitchType) -> str:
    cells = (
        f"`{name}`",
        f"`{s.kind}`",
        "yes" if s.isolated else "no",
        _rated(s.carry_a, "A"),
        _rated(s.break_a, "A"),
        _rated(s.release_ms, "ms"),
        _rated(s.operate_ms, "ms"),
    )
    return "| " + " | ".join(cells) + " |\n"


def _rated(r: Rated, unit: str) -> str:
    return f"{r.value:g} {unit} ({r.confidence})"
