"""Electrical rules that every circuit here must keep. `check` returns what is broken, in words; empty is good."""

from __future__ import annotations

from collections.abc import Iterator

from circuits.model import KINDS, Circuit, Part, PinType, PortType, number

__all__ = ["HOLDING_OHM", "check"]

HOLDING_OHM = 10_000.0
"""The weakest resistor that holds a floating microcontroller pin (its own leakage may be 120 µA on early chips)."""
_RAILS = (PortType.SUPPLY, PortType.GROUND)


def check(circuit: Circuit) -> list[str]:
    """All broken rules, each a sentence with the parts and nets concerned."""
    return [
        *_references(circuit),
        *_pins(circuit),
        *_ends(circuit),
        *_drivers(circuit),
        *_floating(circuit),
        *_coils(circuit),
        *_ratings(circuit),
        *_isolation(circuit),
    ]


def _references(circuit: Circuit) -> Iterator[str]:
    seen: set[str] = set()
    for part in circuit.parts:
        if part.ref in seen:
            yield f"{part.ref} is used twice"
        seen.add(part.ref)


def _pins(circuit: Circuit) -> Iterator[str]:
    for part in circuit.parts:
        names = {pin.name for pin in KINDS[part.kind].pins}
        for missing in sorted(names - set(part.nets)):
            yield f"{part.ref}: pin {missing} is joined to nothing"
        for unknown in sorted(set(part.nets) - names):
            yield f"{part.ref}: a {part.kind} has no pin {unknown}"


def _ends(circuit: Circuit) -> Iterator[str]:
    ports = {port.net for port in circuit.ports}
    for net, pins in circuit.nets().items():
        if len(pins) + (net in ports) < 2 and not net.startswith("nc"):
            yield f"net {net} ends at one pin"


def _drivers(circuit: Circuit) -> Iterator[str]:
    types = {port.net: port.type for port in circuit.ports}
    for net, pins in circuit.nets().items():
        hard = [f"{part.ref}.{pin.name}" for part, pin in pins if pin.type is PinType.OUTPUT]
        if types.get(net) in (PortType.SUPPLY, PortType.GROUND, PortType.GPIO_OUT):
            hard.append(f"the port {net}")
        if len(hard) > 1:
            yield f"net {net} is driven by {' and '.join(hard)}"
        opens = [part.ref for part, pin in pins if pin.type is PinType.OPEN]
        inputs = [part.ref for part, pin in pins if pin.type is PinType.INPUT]
        reads = bool(inputs) or types.get(net) is PortType.GPIO_IN
        loaded = any(part.kind == "coil" for part, _ in pins)
        if opens and reads and not hard and not loaded and _pull_ohm(circuit, net) is None:
            yield f"net {net}: the open collector of {opens[0]} has no resistor to pull it up"
        if inputs and not hard and not opens and not any(pin.type is PinType.PASSIVE for _, pin in pins):
            yield f"net {net}: nothing drives {inputs[0]}"
        if any(pin.type is PinType.POWER for _, pin in pins) and types.get(net) not in _RAILS:
            yield f"net {net}: a supply pin on a net that is no supply"


def _pull_ohm(circuit: Circuit, net: str) -> float | None:
    """The smallest resistor from `net` to a supply or ground, or None."""
    rails = {port.net for port in circuit.ports if port.type in _RAILS}
    found = [
        number(part.value)
        for part in circuit.parts
        if part.kind == "resistor" and net in part.nets.values() and set(part.nets.values()) & rails - {net}
    ]
    return min(found, default=None)


def _floating(circuit: Circuit) -> Iterator[str]:
    """A pin that floats at reset must be held, unless all it meets are inputs that hold themselves."""
    for port in circuit.ports:
        if port.type is not PortType.GPIO_OUT:
            continue
        pins = circuit.nets()[port.net]
        if all(pin.type is PinType.HELD for _, pin in pins):
            continue
        ohm = _pull_ohm(circuit, port.net)
        if ohm is None or ohm > HOLDING_OHM:
            yield f"{port.net} floats at reset and no resistor of at most {HOLDING_OHM:.0f} Ω holds it"


def _coils(circuit: Circuit) -> Iterator[str]:
    for coil in (part for part in circuit.parts if part.kind == "coil"):
        ends = set(coil.nets.values())
        across = any(p.kind == "diode" and set(p.nets.values()) == ends for p in circuit.parts)
        clamped = any(p.kind == "driver" and {p.nets.get("out"), p.nets.get("com")} == ends for p in circuit.parts)
        if not across and not clamped:
            yield f"{coil.ref}: nothing takes the coil's current when it is switched off"


def _volts(circuit: Circuit, net: str) -> tuple[float, float] | None:
    for port in circuit.ports:
        if port.net == net:
            return port.volts
    return circuit.volts.get(net)


def _across(circuit: Circuit, part: Part) -> float | None:
    """The highest voltage that a two-ended part may see, or None if a net's range is not stated."""
    ranges = [_volts(circuit, net) for net in part.nets.values()]
    if len(ranges) != 2 or ranges[0] is None or ranges[1] is None:
        return None
    first, second = ranges[0], ranges[1]
    return max(abs(first[1] - second[0]), abs(second[1] - first[0]))


def _ratings(circuit: Circuit) -> Iterator[str]:
    for part in circuit.parts:
        if part.kind == "capacitor":
            volts = _across(circuit, part)
            if part.volts is None or volts is None:
                yield f"{part.ref}: its voltage rating, or that of its nets, is not stated"
            elif part.volts < 1.5 * volts:
                yield f"{part.ref}: rated {part.volts:g} V, {volts:g} V may be across it; half as much again is wanted"
        elif part.kind == "resistor" and part.watts is not None:
            volts = _across(circuit, part)
            if volts is None:
                yield f"{part.ref}: the voltage of its nets is not stated"
                continue
            watts = volts * volts / number(part.value)
            if watts > 0.6 * part.watts:
                yield f"{part.ref}: {watts:.3g} W may go into it, it is rated {part.watts:g} W"


def _isolation(circuit: Circuit) -> Iterator[str]:
    """Only parts that isolate may stand between the board and the track, or between two districts."""
    domain = {port.net: port.domain for port in circuit.ports}
    grew = True
    while grew:
        grew = False
        for part in circuit.parts:
            for side in {pin.side for pin in KINDS[part.kind].pins}:
                nets = [part.nets[p.name] for p in KINDS[part.kind].pins if p.side == side and p.name in part.nets]
                known = {domain[net] for net in nets if net in domain}
                if len(known) > 1:
                    yield f"{part.ref} joins {' and '.join(sorted(known))} without isolation"
                    return
                for net in nets:
                    if known and net not in domain:
                        domain[net] = next(iter(known))
                        grew = True
