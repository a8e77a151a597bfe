"""The list of parts, by generic type and rating, as a Markdown page."""

from __future__ import annotations

from collections import defaultdict

from circuits.model import Circuit, Part

__all__ = ["parts_list"]


def parts_list(circuits: tuple[Circuit, ...]) -> str:
    """One table a circuit, like parts counted together."""
    out = [
        "# Parts",
        "",
        "For one of each circuit. Types are generic: any maker's part of that class will do, if its ratings are at",
        "least these. `python -m circuits` in `hardware/` writes this page from the circuits.",
        "",
    ]
    for circuit in circuits:
        out += [f"## {circuit.title}", "", "| count | part | ratings | where | note |", "|---|---|---|---|---|"]
        rows: dict[tuple[str, str, str], list[Part]] = defaultdict(list)
        for part in circuit.parts:
            rows[(part.kind, part.value, _ratings(part))].append(part)
        for (kind, value, ratings), parts in rows.items():
            notes = "; ".join(sorted({f"{part.ref}: {part.note}" for part in parts if part.note}))
            refs = ", ".join(part.ref for part in parts)
            name = value if kind not in ("resistor", "capacitor", "fuse", "diode") else f"{kind}, {value}"
            out.append(f"| {len(parts)} | {name} | {ratings} | {refs} | {notes} |")
        out.append("")
    return "\n".join(out)


def _ratings(part: Part) -> str:
    ratings = []
    if part.volts is not None:
        ratings.append(f"{part.volts:g} V")
    if part.watts is not None:
        ratings.append(f"{part.watts:g} W")
    return ", ".join(ratings)
