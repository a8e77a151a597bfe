"""What answers are about, as a person says it: pieces with where the file names them, roads, and sections."""

from __future__ import annotations

from collections.abc import Iterable

from frogfeed.findings.finding import Location
from frogfeed.layout.model import Layout
from frogfeed.track.network.model import RailNetwork, Road


class Subjects:
    """One layout and its network, as a person speaks of them."""

    def __init__(self, layout: Layout, network: RailNetwork) -> None:
        self.layout = layout
        self.network = network
        self._section: dict[str, str] = {
            rail: s.place for end, s in network.section_of.items() for rail in network.pieces[end[0]].ends[end[1]]
        }

    def at(self, rail_or_piece: str) -> Location | None:
        """Where the file speaks of a piece, or of the piece of a rail."""
        piece = self.network.pieces.get(rail_or_piece.split(".", 1)[0])
        return piece.at if piece is not None else None

    def section_at(self, rail: str) -> str | None:
        """The place whose switched section has this rail, which shows at an end of its piece."""
        return self._section.get(rail)

    def section_with(self, rails: Iterable[str]) -> str | None:
        """The place whose switched section has one of these rails."""
        for rail in rails:
            piece = self.network.piece_of[rail]
            inside = [self.network.section_of.get((piece, end)) for end in self.network.pieces[piece].ends]
            # A rail that shows at no end is the section's where the whole piece is.
            place = self._section.get(rail) or (inside[0].place if all(inside) and inside[0] is not None else None)
            if place is not None:
                return place
        return None

    def road(self, road: Road) -> str:
        """A road as a person says it; that of plain track needs no ends."""
        if road.piece in self.layout.file.place:
            return road.piece
        return f"the road of {road.piece} from {road.start} to {road.end}"
