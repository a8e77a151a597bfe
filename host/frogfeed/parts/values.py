"""A number with its source, so that a check never rests harder on a figure than the figure deserves."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum


class Confidence(StrEnum):
    """How a figure came to be known, best first."""

    SEEN = "seen"
    """Read in a published text."""
    CALC = "calc"
    """Computed from figures or a rule that were read."""
    INFERRED = "inferred"
    """Follows from a pattern in figures that were read; not read itself. Never the ground of an error."""
    MEMORY = "memory"
    """Common practice or from memory. Never the ground of an error by itself."""

    @property
    def firm(self) -> bool:
        """Whether an error may rest on the figure; otherwise the worst it can give is a warning."""
        return self in (Confidence.SEEN, Confidence.CALC)


@dataclass(frozen=True, slots=True)
class Figure:
    """A number (its unit is in the name of the field that holds it), how sure it is, and where it is from."""

    value: float
    confidence: Confidence
    source: str

    def __float__(self) -> float:
        return self.value
