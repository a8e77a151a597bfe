"""What feeds do after a trip: what the file says, where flipping would make a short, and where nothing trips."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace

from frogfeed.findings.finding import Finding, Severity
from frogfeed.findings.words import said
from frogfeed.layout.model import Layout
from frogfeed.layout.schema import OnTrip
from frogfeed.plan.model import AfterTrip, BoardPlan, FeedNeed


def with_after_trips(layout: Layout, feeds: Iterable[FeedNeed]) -> tuple[FeedNeed, ...]:
    """The feeds with what each does after a trip: as its piece or place says, or its district, or else as usual.

    Usual are two retries, and on DCC a flip first for a section that takes either polarity.
    """
    return tuple(replace(need, after_trip=_after_trip(layout, need)) for need in feeds)


def _after_trip(layout: Layout, need: FeedNeed) -> AfterTrip:
    file = layout.file
    own = file.pieces().get(need.piece) or file.place.get(need.piece)
    district = file.district.get(need.district)
    both = {side for _, side in need.rows} == {"A", "B"}
    reverses = need.piece in file.place and both and need.control == "dcc" and need.bonded
    usual = AfterTrip(try_other=reverses)
    tables = [t for t in (own, district) if t is not None]
    says = next((t for t in tables if t.on_trip is not None), None)
    on_trip, at = None, None
    if says is not None:
        on_trip = says.on_trip
        path = ("district", need.district) if says is district else (_table_of(layout, need.piece), need.piece)
        at = layout.at(*path, "on_trip")
    retries = next((t.retries for t in tables if t.retries is not None), usual.retries)
    retry_ms = next((t.retry_ms for t in tables if t.retry_ms is not None), usual.retry_ms)
    if on_trip is OnTrip.LATCH:
        return AfterTrip(False, 0, usual.retry_ms, stated=True, at=at)
    flips = on_trip is OnTrip.TRY_OTHER or (on_trip is None and reverses)
    return AfterTrip(flips, retries, retry_ms, stated=on_trip is not None, at=at)


def _table_of(layout: Layout, name: str) -> str:
    """The kind of table that a piece or place stands in."""
    tables = ("turnout", "three-way", "slip", "diamond", "piece", "place")
    return next((t for t in tables if (t, name) in layout.locations), "turnout")


def after_trip_findings(layout: Layout, feeds: Sequence[FeedNeed]) -> list[Finding]:
    """Feeds that are told to flip and must not: an error each, where the file says so."""
    found: list[Finding] = []
    for need in feeds:
        if not need.after_trip.stated or not need.after_trip.try_other:
            continue
        refused = _refused(layout, need)
        if refused is not None:
            what, why, cure = refused
            found.append(
                said("plan-try-other", Severity.ERROR, need.output, what, why, cure, need.after_trip.at or need.at)
            )
    return found


def _refused(layout: Layout, need: FeedNeed) -> tuple[str, str, str] | None:
    place = need.piece in layout.file.place
    retry = f'write on_trip = "retry" at {need.piece}'
    if not need.bonded:
        return (
            f"{need.output} must not try the other bus wire: the blades of {need.piece} are not bonded",
            "the frog is joined to the blade that lies against its stock rail, so the other wire would short the bus "
            "through that blade, after every trip",
            f'{retry}; or make it state = "isolated-frog": cut the links and bond the blades',
        )
    sides = {side for _, side in need.rows}
    if len(sides) < 2:
        return (
            f"{need.output} must not try the other bus wire: it only ever carries {' '.join(sides) or 'none'}",
            "the rails beyond its gaps would then carry the other one, and a wheel across would short",
            retry,
        )
    if place and need.control == "dc":
        return (
            f"{need.output} must not try the other bus wire: it is a reversing section on DC",
            "there the train in it would turn back; the main's controller is reversed instead",
            retry,
        )
    return None


def after_trip_notes(boards: Sequence[BoardPlan]) -> list[Finding]:
    """Feeds of which the file says what they do after a trip, on outputs that no sensor or trip input watches."""
    return [
        said(
            "plan-trip-unwatched",
            Severity.WARNING,
            f.need.output,
            f"nothing on board {b.name} watches the current of {f.need.output}, so it never trips by itself",
            "what the file says of it after a trip has no effect: the district's supply must clear a short",
            "use an output with a sensor or a trip input, or remove on_trip",
            f.need.after_trip.at or f.need.at,
        )
        for b in boards
        for f in b.feeds
        if f.need.after_trip.stated and f.sensor is None and f.trip is None
    ]
