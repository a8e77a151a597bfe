"""The drawing's measures, in its own units (a pixel at full size). Tracks are drawn wide, lengths shortened."""

LANE = 60.0
"""From one track to the next."""
GAUGE = 15.0
"""Between the rails of a track."""
LEAN = LANE / 2
"""How far a leg has moved aside at the end of its piece."""
PIECE = 132.0
SLIP = 220.0
SLOPE = 2 * LEAN / PIECE
"""Slope of a leg at the end of its piece."""
STEEP = 0.85
"""Steepest slope of a joint that crosses several lanes."""
JOINT = 26.0
"""Shortest joint."""
STUB = 46.0
"""Track drawn beyond an end that goes on elsewhere."""
MARGIN = 60.0


def place_width(length_mm: float | None) -> float:
    """A place's least width: its length, shortened."""
    return 120.0 if length_mm is None else min(max(length_mm / 6.0, 78.0), 170.0)
