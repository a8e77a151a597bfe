"""The drawing's measures, in its own units (about a pixel at full size). Tracks are drawn wide, lengths are shortened."""

LANE = 66.0
"""From one track to the next."""
GAUGE = 15.0
"""Between the rails of a track."""
LEAN = LANE / 2
"""How far a leg has moved aside at the end of its piece."""
PIECE = 150.0
SLIP = 250.0
SLOPE = 2 * LEAN / PIECE
"""Slope of a leg at the end of its piece."""
JOINT = 30.0
"""Shortest joint."""
STUB = 46.0
"""Track drawn beyond an end that goes on elsewhere."""
MARGIN = 60.0


def place_width(length_mm: float | None) -> float:
    """A place's least width: its length, shortened."""
    return 150.0 if length_mm is None else min(max(length_mm / 5.0, 90.0), 260.0)
