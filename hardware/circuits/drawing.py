"""Schematics as SVG. Pins that line up are joined by a wire; where they do not, both ends bear the net's name."""

from __future__ import annotations

from collections.abc import Iterable
from html import escape
from itertools import pairwise

from circuits.model import KINDS, Circuit, Part, Pin, Port, PortType

__all__ = ["draw"]

STEP = 11
_Point = tuple[int, int]

_STYLE = (
    "text{font:11px sans-serif;fill:currentColor}.n{font-size:10px;font-style:italic}"
    ".w{stroke:currentColor;stroke-width:1.2;fill:none}.s{stroke:currentColor;stroke-width:1.6;fill:none}"
    ".t{font-size:15px;font-weight:bold}.d{fill:currentColor}"
)


def draw(circuit: Circuit) -> str:
    """The whole drawing, in the colour of the text around it, with the parts' values and the ports' meanings."""
    pins = _pin_places(circuit)
    width = (max(x for places in pins.values() for _, (x, _) in places) + 12) * STEP
    depth = max(y for places in pins.values() for _, (_, y) in places) + 7
    notes = [f"{port.net}: {port.meaning} ({port.type.value})" for port in circuit.ports]
    notes += [f"{part.ref} {part.value}{': ' + part.note if part.note else ''}" for part in circuit.parts]
    height = depth * STEP + 30 + 15 * len(notes)
    out = [
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {width} {height}" width="{width}" height="{height}" '
        f'role="img" aria-label="{escape(circuit.title)}" color="black">',
        f"<style>{_STYLE}</style>",
        f'<text class="t" x="10" y="18">{escape(circuit.title)}</text>',
    ]
    out.append(f'<g transform="translate(0 {2 * STEP})">')
    for part in circuit.parts:
        out += _part(part)
    for port in circuit.ports:
        out += _port(port)
    taken: dict[tuple[_Point, _Point], str] = {}
    for net, places in pins.items():
        out += _wires(net, [place for _, place in places], _obstacles(circuit, net), taken, circuit)
    out.append("</g>")
    out += [f'<text x="10" y="{depth * STEP + 20 + 15 * i}">{escape(note)}</text>' for i, note in enumerate(notes)]
    return "\n".join([*out, "</svg>", ""])


def _turned(x: int, y: int, turn: int) -> _Point:
    for _ in range(turn % 4):
        x, y = -y, x
    return x, y


def _pin_place(part: Part, pin: Pin) -> _Point:
    x, y = _turned(pin.x, pin.y, part.turn)
    return part.at[0] + x, part.at[1] + y


def _pin_places(circuit: Circuit) -> dict[str, list[tuple[str, _Point]]]:
    places: dict[str, list[tuple[str, _Point]]] = {}
    for port in circuit.ports:
        places.setdefault(port.net, []).append((port.net, port.at))
    for net, pins in circuit.nets().items():
        places.setdefault(net, [])
        places[net] += [(part.ref, _pin_place(part, pin)) for part, pin in pins]
    return places


def _obstacles(circuit: Circuit, net: str) -> set[_Point]:
    """Grid points that a wire of this net must not cross: bodies of parts and pins of other nets."""
    blocked: set[_Point] = set()
    for part in circuit.parts:
        half_x, half_y = KINDS[part.kind].box
        if part.turn % 2:
            half_x, half_y = half_y, half_x
        blocked |= {
            (part.at[0] + dx, part.at[1] + dy) for dx in range(-half_x, half_x + 1) for dy in range(-half_y, half_y + 1)
        }
        for pin in KINDS[part.kind].pins:
            if part.nets.get(pin.name) != net:
                blocked.add(_pin_place(part, pin))
    blocked |= {port.at for port in circuit.ports if port.net != net}
    return blocked


def _grounds(circuit: Circuit) -> set[str]:
    return {port.net for port in circuit.ports if port.type is PortType.GROUND}


def _path(
    start: _Point, end: _Point, blocked: set[_Point], taken: dict[tuple[_Point, _Point], str], net: str
) -> list[_Point] | None:
    """A straight or once-bent way between two points that meets nothing; None if there is none.

    Wires of different nets may cross, but never run along each other.
    """
    for corner in ((end[0], start[1]), (start[0], end[1])):
        ways = (_line(start, corner), _line(corner, end))
        steps = [tuple(sorted(step)) for way in ways for step in pairwise(way)]
        hit = any(point in blocked for way in ways for point in way if point not in (start, end))
        if not hit and all(taken.get(step, net) == net for step in steps):  # type: ignore[arg-type]
            taken.update((step, net) for step in steps)  # type: ignore[misc]
            return [start, corner, end]
    return None


def _line(start: _Point, end: _Point) -> list[_Point]:
    (x1, y1), (x2, y2) = start, end
    if x1 == x2:
        return [(x1, y) for y in range(min(y1, y2), max(y1, y2) + 1)]
    return [(x, y1) for x in range(min(x1, x2), max(x1, x2) + 1)]


def _wires(
    net: str,
    places: list[_Point],
    blocked: set[_Point],
    taken: dict[tuple[_Point, _Point], str],
    circuit: Circuit,
) -> list[str]:
    """Wires between places near each other; a label at each group that they do not reach.

    Ground is not wired: each of its pins has the symbol.
    """
    if net in _grounds(circuit):
        return [_ground(place) for place in dict.fromkeys(places[1:])]
    out: list[str] = []
    groups = [{place} for place in dict.fromkeys(places)]
    pairs = sorted(
        ((a, b) for i, a in enumerate(places) for b in places[i + 1 :]),
        key=lambda pair: abs(pair[0][0] - pair[1][0]) + abs(pair[0][1] - pair[1][1]),
    )
    degree: dict[_Point, int] = {}
    for a, b in pairs:
        group_a = next(group for group in groups if a in group)
        group_b = next(group for group in groups if b in group)
        far = abs(a[0] - b[0]) + abs(a[1] - b[1]) > 26
        way = None if group_a is group_b or far else _path(a, b, blocked, taken, net)
        if way is None:
            continue
        group_a |= group_b
        groups.remove(group_b)
        points = " ".join(f"{x * STEP},{y * STEP}" for x, y in way)
        out.append(f'<polyline class="w" points="{points}"/>')
        for end in (a, b):
            degree[end] = degree.get(end, 0) + 1
    out += [f'<circle class="d" cx="{x * STEP}" cy="{y * STEP}" r="2.6"/>' for (x, y), n in degree.items() if n > 1]
    if len(groups) > 1:
        ports = {port.at for port in circuit.ports}
        for group in (group for group in groups if not group & ports):
            x, y = min(group)
            out.append(f'<text class="n" x="{x * STEP + 3}" y="{y * STEP - 4}">{escape(net)}</text>')
    return out


def _ground(place: _Point) -> str:
    x, y = place[0] * STEP, place[1] * STEP
    return f'<path class="s" d="M{x} {y}v5M{x - 8} {y + 5}h16M{x - 5} {y + 9}h10M{x - 2} {y + 13}h4"/>'


def _port(port: Port) -> list[str]:
    x, y = port.at[0] * STEP, port.at[1] * STEP
    if port.type is PortType.GROUND:
        return []
    if port.type is PortType.SUPPLY:
        return [f'<path class="s" d="M{x - 6} {y}h12"/>', f'<text x="{x + 8}" y="{y + 4}">{escape(port.net)}</text>']
    return [
        f'<circle class="s" cx="{x}" cy="{y}" r="4"/>',
        f'<text x="{x - 4}" y="{y - 8}">{escape(port.net)}</text>',
    ]


def _part(part: Part) -> list[str]:
    kind = KINDS[part.kind]
    x, y = part.at[0] * STEP, part.at[1] * STEP
    shape = _SHAPES.get(kind.symbol, "") or _box(kind.box)
    leads = "".join(
        f"M{pin.x * STEP} {pin.y * STEP}"
        + (f"H{(kind.box[0] if pin.x > 0 else -kind.box[0]) * STEP}" if abs(pin.x) > kind.box[0] else "")
        for pin in kind.pins
    )
    out = [f'<g transform="translate({x} {y}) rotate({90 * part.turn})">']
    out.append(f'<path class="s" d="{leads}"/>{shape}')
    out.append("</g>")
    if len(kind.pins) > 2:
        out += _pin_names(part, kind.pins, kind.box[0])
        label_x, label_y = x - kind.box[0] * STEP, y - kind.box[1] * STEP - 5
    elif part.turn % 2:
        label_x, label_y = x + 14, y - 2
    else:
        label_x, label_y = x - 16, y - 14
    short = part.value.split(",")[0].split("(")[0].strip()
    out.append(f'<text x="{label_x}" y="{label_y}">{escape(part.ref)} {escape(short)}</text>')
    return out


def _pin_names(part: Part, pins: Iterable[Pin], half: int) -> list[str]:
    if part.kind in ("contact", "photomos"):
        return []
    out = []
    for pin in pins:
        x, y = (part.at[0] + (half if pin.x > 0 else -half)) * STEP, (part.at[1] + pin.y) * STEP
        anchor, dx = ("end", -4) if pin.x > 0 else ("start", 4)
        out.append(f'<text class="n" x="{x + dx}" y="{y + 4}" text-anchor="{anchor}">{escape(pin.name)}</text>')
    return out


def _box(half: tuple[int, int]) -> str:
    w, h = half[0] * STEP, half[1] * STEP
    return f'<rect class="s" x="{-w}" y="{-h}" width="{2 * w}" height="{2 * h}"/>'


_SHAPES = {
    "resistor": '<rect class="s" x="-22" y="-6" width="44" height="12"/>',
    "fuse": '<rect class="s" x="-22" y="-6" width="44" height="12"/><path class="s" d="M-22 0H22"/>',
    "coil": '<rect class="s" x="-22" y="-9" width="44" height="18"/><path class="s" d="M-8 9L8 -9"/>',
    "capacitor": '<path class="s" d="M-22 0H-4M4 0H22M-4 -11V11M4 -11V11"/>',
    "diode": '<path class="s" d="M-22 0H-8M8 0H22M-8 -9L8 0L-8 9ZM8 -9V9"/>',
    "contact": '<path class="s" d="M-22 0H-14L16 -9M22 -11H14M22 11H14"/><circle class="d" cx="-14" cy="0" r="2.6"/>',
    "photomos": _box((3, 2))
    + '<path class="s" d="M-33 -11H-20V-6M-20 11V5M-33 11H-20M-26 -6H-14L-20 5ZM-26 5H-14"/>'
    + '<path class="s" d="M-10 -4L-2 -4M-5 -7L-2 -4L-5 -1M-10 3L-2 3M-5 0L-2 3L-5 6"/>'
    + '<path class="s" d="M33 -11H16V-4M16 4V11H33M10 -4H20M10 4H20M6 -8V8"/>',
    "comparator": '<path class="s" d="M-33 -33L33 0L-33 33Z"/>',
    "nand": '<path class="s" d="M-33 -22H4A22 22 0 0 1 4 22H-33Z"/><circle class="s" cx="30" cy="0" r="3.5"/>',
}
