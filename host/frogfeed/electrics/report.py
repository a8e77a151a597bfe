"""The electrics of a layout in numbers: for each district its weakest and strongest places."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import asdict, dataclass

from frogfeed.electrics.circuit import supply_volts
from frogfeed.electrics.heating import let_through
from frogfeed.electrics.survey import Spot, Survey, supplied_a
from frogfeed.layout.model import Layout


@dataclass(frozen=True, slots=True)
class DistrictReport:
    """One district: its supply, and the places that decide. `trip_margin` is the weakest short over the trip current.

    `lowest_*`: where a train has the fewest volts; `weakest_*`: where a short draws the least; `strongest_a` and
    `let_through_a2s`: the most that flows into a short, and what it lets through until the supply has tripped.
    """

    district: str
    volts: float
    load_a: float
    trip_a: float
    places: int
    lowest_at: tuple[str, str]
    lowest_v: float
    weakest_at: tuple[str, str]
    weakest_a: float
    trip_margin: float
    strongest_at: tuple[str, str]
    strongest_a: float
    let_through_a2s: float


def report(layout: Layout, seen: Survey) -> tuple[DistrictReport, ...]:
    """Every district that feeds a place on which an axle can stand."""
    found: list[DistrictReport] = []
    for name, d in layout.file.district.items():
        spots = seen.of_district(name)
        if not spots:
            continue
        lowest = min(spots, key=lambda s: s.load_v)
        weakest = min(spots, key=lambda s: s.least_a)
        strongest = max(spots, key=lambda s: s.most_a)
        through = let_through(layout, name, strongest.most_a)
        least = supplied_a(layout, name, weakest.least_a)
        found.append(
            DistrictReport(
                name,
                supply_volts(layout, d),
                d.load_a,
                d.trip_a,
                len(spots),
                _place(lowest),
                lowest.load_v,
                _place(weakest),
                least,
                least / d.trip_a,
                _place(strongest),
                through.amps,
                through.a2s,
            )
        )
    return tuple(found)


def report_json(reports: Iterable[DistrictReport]) -> list[dict[str, object]]:
    """The reports as plain data, numbers rounded to what they are good for."""
    return [{k: round(v, 3) if isinstance(v, float) else v for k, v in asdict(r).items()} for r in reports]


def report_text(reports: Iterable[DistrictReport]) -> str:
    """The reports in words."""
    lines: list[str] = []
    for r in reports:
        lines += [
            f"District {r.district}: {r.volts:g} V, load {r.load_a:g} A, trips at {r.trip_a:g} A; {r.places} places",
            f"  fewest volts under load  {r.lowest_v:6.2f} V  at {' and '.join(r.lowest_at)}",
            f"  weakest short            {r.weakest_a:6.1f} A  at {' and '.join(r.weakest_at)}"
            f" ({r.trip_margin:.1f} times the trip)",
            f"  strongest short          {r.strongest_a:6.1f} A  at {' and '.join(r.strongest_at)}"
            f" ({r.let_through_a2s:.0f} A²s until the supply trips)",
        ]
    return "\n".join([*lines, ""])


def _place(s: Spot) -> tuple[str, str]:
    return s.left, s.right
