"""Paper and label sheets by size, in mm. Sizes of sheets: ISO 216 and ANSI/ASME Y14.1; of labels: from memory."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

PaperName = Literal["a4", "letter"]


@dataclass(frozen=True, slots=True)
class Labels:
    """A sheet of labels: columns and rows, the size of one, where the first begins, and from one to the next."""

    title: str
    columns: int
    rows: int
    width: float
    height: float
    left: float
    top: float
    pitch_x: float
    pitch_y: float

    @property
    def count(self) -> int:
        return self.columns * self.rows


@dataclass(frozen=True, slots=True)
class Paper:
    """A size of paper, upright, with the margin on every side and the label sheet that goes with it."""

    name: PaperName
    width: float
    height: float
    margin: float
    labels: Labels

    @property
    def inner_width(self) -> float:
        return self.width - 2 * self.margin


A4 = Paper(
    "a4", 210.0, 297.0, 14.0, Labels("38.1 × 21.2 mm, 65 to an A4 sheet", 5, 13, 38.1, 21.2, 4.75, 10.7, 40.6, 21.2)
)
LETTER = Paper(
    "letter",
    215.9,
    279.4,
    14.0,
    Labels("2⅝ × 1 in (66.7 × 25.4 mm), 30 to a Letter sheet", 3, 10, 66.7, 25.4, 4.8, 12.7, 69.85, 25.4),
)
PAPERS: dict[str, Paper] = {p.name: p for p in (A4, LETTER)}


def paper(name: str) -> Paper:
    """The paper of this name. Raises KeyError where there is none."""
    return PAPERS[name]
