"""What must hold within one board profile: names that exist, pins claimed once, outputs held off at reset."""

from __future__ import annotations

from collections.abc import Iterable
from typing import TypeVar

from frogfeed.parts.boards import BoardProfile

EXPANDER_PINS = 16
SENSOR_CHIPS = ("ina219", "ina226", "ina3221")

Key = TypeVar("Key", str, tuple[str, int])


def problems(board: BoardProfile) -> list[str]:
    """Every way in which the profile does not hold together, in words; empty where it does."""
    return [*_dangling(board), *_doubles(board), *_lamps(board), *_unsafe(board)]


def _repeated(keys: Iterable[Key]) -> list[Key]:
    listed = list(keys)
    return sorted({k for k in listed if listed.count(k) > 1})


def _dangling(board: BoardProfile) -> list[str]:
    chips = {c.name: c.kind for c in board.chips}
    buses = {b.name for b in board.buses}
    found = [f"chip {c.name}: no bus {c.bus}" for c in board.chips if c.bus not in buses]
    refs = [p for f in board.feed for p in f.pins]
    refs += [x.pin for part in (board.input, board.trip, board.lamp, board.enable) for x in part]
    for p in refs:
        if p.chip and chips.get(p.chip) != "mcp23017":
            found.append(f"{p.resource}: no expander {p.chip}")
        elif p.chip and p.pin >= EXPANDER_PINS:
            found.append(f"{p.resource}: an expander has pins 0 to {EXPANDER_PINS - 1}")
    for c in board.sensor:
        if (c.pin is None) == (c.chip is None) or (c.chip is not None and chips.get(c.chip) not in SENSOR_CHIPS):
            found.append(f"sensor {c.name}: needs an analogue pin, or a sensor chip")
    for s in board.servo:
        if (s.pin is None) == (s.chip is None) or (s.chip is not None and chips.get(s.chip) != "pca9685"):
            found.append(f"servo {s.name}: needs a pin, or the output of a servo chip")
    for f in board.feed:
        kind = board.switch_types[f.type].kind if f.type in board.switch_types else None
        if kind is None:
            found.append(f"feed {f.name}: no switch type {f.type}")
        elif (bool(f.a and f.b), bool(f.coil), bool(f.set and f.reset)) != (
            kind == "pair",
            kind == "changeover",
            kind == "latching",
        ):
            found.append(f"feed {f.name}: its pins do not suit the kind {kind}")
        if f.enable is not None and f.enable not in {e.name for e in board.enable}:
            found.append(f"feed {f.name}: no enable {f.enable}")
    if board.hold_input is not None and board.hold_input not in {i.name for i in board.input}:
        found.append(f"no input {board.hold_input} to hold down at reset")
    names = {f.name for f in board.feed}
    watchers = [(c.name, c.watches) for c in board.sensor] + [(t.name, t.watches) for t in board.trip]
    for what, watched in watchers:
        found += [f"{what}: no feed {w}" for w in watched if w not in names]
    found += [f"enable {e.name}: no type {e.type}" for e in board.enable if e.type not in board.enable_types]
    found += [f"sensor {c.name}: no type {c.type}" for c in board.sensor if c.type not in board.sensor_types]
    return found


def _doubles(board: BoardProfile) -> list[str]:
    """Pins that more than one part claims.

    Two feeds may be two uses of the same pins, and a pin may be one of a servo, an input and a lamp.
    """
    claims: dict[str, list[str]] = {}
    any_of = [(s.resource, f"servo {s.name}") for s in board.servo]
    any_of += [(i.pin.resource, f"input {i.name}") for i in board.input]
    any_of += [(lamp.pin.resource, f"lamp {lamp.name}") for lamp in board.lamp]
    uses: dict[str, list[str]] = {}
    for resource, use in any_of:
        uses.setdefault(resource, []).append(use)
    for resource, of in uses.items():
        claims.setdefault(resource, []).append(" or ".join(of))
    found = [
        f"{resource} is claimed twice as {use.partition(' ')[0]}"
        for resource, of in uses.items()
        for use in of
        if sum(u.partition(" ")[0] == use.partition(" ")[0] for u in of) > 1
    ]
    for resource in {r for f in board.feed for r in f.resources}:
        claims.setdefault(resource, []).append("a feed")
    for e in board.enable:
        claims.setdefault(e.pin.resource, []).append(f"enable {e.name}")
    for t in board.trip:
        claims.setdefault(t.pin.resource, []).append(f"trip {t.name}")
    for b in board.buses:
        claims.setdefault(f"GP{b.sda}", []).append(f"bus {b.name}")
        claims.setdefault(f"GP{b.scl}", []).append(f"bus {b.name}")
    for chip in board.chips:
        for pin in (chip.oe_pin, chip.reset_pin):
            if pin is not None:
                claims.setdefault(f"GP{pin}", []).append(f"chip {chip.name}")
    for c in board.sensor:
        if c.pin is not None:
            claims.setdefault(f"GP{c.pin}", []).append(f"sensor {c.name}")
    if board.led_pin is not None:
        claims.setdefault(f"GP{board.led_pin}", []).append("the lamp")
    found += [f"{pin} is claimed by {' and by '.join(w)}" for pin, w in sorted(claims.items()) if len(w) > 1]
    parts = (board.servo, board.feed, board.input, board.lamp, board.sensor, board.enable, board.trip)
    channels = [c.name for group in parts for c in group]
    found += [f"two channels are called {n}" for n in _repeated(channels)]
    addresses = [(c.bus, c.address) for c in board.chips]
    found += [f"two chips at {a:#04x} on {b}" for b, a in _repeated(addresses)]
    return found


def _lamps(board: BoardProfile) -> list[str]:
    """Lamps that would take more than their pins give, or whose resistor nobody states."""
    if not board.lamp:
        return []
    if board.lamps is None:
        return ["lamps: their current and resistor are not stated"]
    found = []
    if board.lamps.lamp_a.value > board.lamps.pin_a.value:
        found.append("lamps: one takes more than a pin gives")
    if len(board.lamp) * board.lamps.lamp_a.value > board.lamps.all_a.value:
        found.append(f"lamps: {len(board.lamp)} of them take more than all pins together give")
    return found


def _unsafe(board: BoardProfile) -> list[str]:
    """Expander outputs that nothing holds off while the microcontroller's pins float."""
    found = []
    for c in board.chips:
        pin = c.oe_pin if c.kind == "pca9685" else c.reset_pin
        if c.drives_outputs and (pin is None or not c.held_off):
            line = "OE" if c.kind == "pca9685" else "RESET"
            found.append(f"chip {c.name}: {line} needs a GPIO and a resistor that holds outputs off at reset")
    return found
