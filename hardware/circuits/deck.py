"""From a circuit to a SPICE deck, which anyone can run in ngspice: `ngspice -b FILE`."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping

from circuits.library import MODELS
from circuits.model import KINDS, Circuit, Part, number

__all__ = ["deck", "node"]


def node(net: str) -> str:
    """A net's name in a deck: ground is 0; only letters, digits and underscores."""
    return "0" if net == "GND" else re.sub(r"\W", "_", net.replace("+", "p").replace("-", "m")).lower()


def deck(circuit: Circuit, bench: str, *, title: str = "", about: str = "") -> str:
    """A whole deck: the circuit's parts, their models, and `bench`: sources, loads, analysis and measurements."""
    lines = [f"* {circuit.title}{': ' + title if title else ''}"]
    lines += [f"* {line}" for line in about.splitlines()]
    used: set[str] = set()
    for part in circuit.parts:
        text, models = _LINES[part.kind](part, {pin: node(net) for pin, net in part.nets.items()})
        lines += text
        used |= models
    lines += [MODELS[name] for name in sorted(used)]
    return "\n".join([*lines, bench.strip(), ".end", ""])


Lines = tuple[list[str], set[str]]


def _passive(letter: str) -> Callable[[Part, Mapping[str, str]], Lines]:
    def lines(part: Part, n: Mapping[str, str]) -> Lines:
        value = part.spice.get("value", number(part.value))
        out = [f"{letter}{part.ref} {n['1']} {n['2']} {value:g}"]
        esr = part.spice.get("esr")
        if esr is not None:
            out = [f"{letter}{part.ref} {n['1']} {part.ref}_i {value:g}", f"R{part.ref}e {part.ref}_i {n['2']} {esr:g}"]
        return out, set()

    return lines


def _fuse(part: Part, n: Mapping[str, str]) -> Lines:
    return [f"R{part.ref} {n['1']} {n['2']} {part.spice.get('ohm', 0.05):g}"], set()


def _coil(part: Part, n: Mapping[str, str]) -> Lines:
    ohm, henry = part.spice["ohm"], part.spice["henry"]
    return [f"R{part.ref} {n['1']} {part.ref}_l {ohm:g}", f"L{part.ref} {part.ref}_l {n['2']} {henry:g}"], set()


def _diode(part: Part, n: Mapping[str, str]) -> Lines:
    model = "dpower" if "3 A" in part.value else "dschottky" if "Schottky" in part.value else "dsig"
    return [f"D{part.ref} {n['a']} {n['k']} {model}"], {model}


def _contact(part: Part, n: Mapping[str, str]) -> Lines:
    return [f"R{part.ref}a {n['c']} {n['no']} 1g", f"R{part.ref}b {n['c']} {n['nc']} 0.1"], set()


def _monitor(part: Part, n: Mapping[str, str]) -> Lines:
    return [f"R{part.ref}i {n['in+']} {n['in-']} 800k", f"R{part.ref}o {n['alert']} {n['gnd']} 100meg"], set()


def _block(part: Part, n: Mapping[str, str]) -> Lines:
    pins = " ".join(n[pin.name] for pin in KINDS[part.kind].pins)
    values = " ".join(f"{key}={value:g}" for key, value in part.spice.items())
    return [f"X{part.ref} {pins} {part.kind} {values}".rstrip()], {part.kind}


_LINES: dict[str, Callable[[Part, Mapping[str, str]], Lines]] = {
    "resistor": _passive("R"),
    "capacitor": _passive("C"),
    "fuse": _fuse,
    "coil": _coil,
    "diode": _diode,
    "contact": _contact,
    "monitor": _monitor,
    "driver": _block,
    "photomos": _block,
    "hall": _block,
    "comparator": _block,
    "nand": _block,
}
