"""A layout file with a proposal put in: changed lines and facts written, comments and order kept."""

from __future__ import annotations

from collections.abc import Mapping

from frogfeed.layout.items_text import item_values
from frogfeed.layout.model import Layout
from frogfeed.layout.positions import KeyPath
from frogfeed.layout.schema import Crossing, Piece
from frogfeed.layout.writing import Value, with_values


def proposed_text(before: Layout, after: Layout) -> str:
    """The text of `before` changed to say what `after` says of pieces, places and lines."""
    changes: dict[KeyPath, Value] = {}
    tables: dict[str, tuple[Mapping[str, Piece], Mapping[str, Piece]]] = {
        "turnout": (before.file.turnout, after.file.turnout),
        "three-way": (before.file.three_way, after.file.three_way),
        "slip": (before.file.slip, after.file.slip),
        "diamond": (before.file.diamond, after.file.diamond),
        "piece": (before.file.piece, after.file.piece),
    }
    for table, (was, now) in tables.items():
        for name, piece in now.items():
            if was[name].facts != piece.facts:
                links, blades, frog = piece.facts
                changes[table, name, "links"] = links.value
                changes[table, name, "blades"] = blades.value
                changes[table, name, "frog"] = frog.value
    for name, place in after.file.place.items():
        if before.file.place[name].feed != place.feed and place.feed is not None:
            changes["place", name, "feed"] = place.feed
        if before.file.place[name].selector != place.selector:
            changes["place", name, "selector"] = str(place.selector)
        if before.file.place[name].takes_in != place.takes_in:
            changes["place", name, "takes_in"] = list(place.takes_in)
    crossings: dict[str, tuple[Mapping[str, Crossing], Mapping[str, Crossing]]] = {
        "diamond": (before.file.diamond, after.file.diamond),
        "slip": (before.file.slip, after.file.slip),
    }
    for table, (old, new) in crossings.items():
        for name, crossing in new.items():
            if old[name].selector != crossing.selector:
                changes[table, name, "selector"] = str(crossing.selector)
    for name in after.file.drive.keys() - before.file.drive.keys():
        changes["drive", name, "kind"] = after.file.drive[name].kind.value
    for name, items in after.lines.items():
        if before.lines[name] != items:
            changes["lines", name] = list(item_values(items))
    if before.file.layout.feeds == "propose":
        changes["layout", "feeds"] = "stated"
    return with_values(before.text, changes)
