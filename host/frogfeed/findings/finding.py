"""The one finding type: what every check, reader and planner of frogfeed reports."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import StrEnum


class Severity(StrEnum):
    """How much a finding matters. Errors and warnings end a check with exit code 1; notes do not."""

    ERROR = "error"
    WARNING = "warning"
    NOTE = "note"


@dataclass(frozen=True, slots=True)
class Location:
    """A place in a file a person wrote. `line` and `column` count from 1; columns count characters."""

    file: str
    line: int
    column: int

    def __str__(self) -> str:
        return f"{self.file}:{self.line}:{self.column}"


@dataclass(frozen=True, slots=True)
class Finding:
    """One thing a person should know, in the order a person asks: what, where, why it matters, the cure.

    `code` is a stable kebab-case word of `findings.codes`; `subject` the piece, rail, drive or key it is
    about; `witness` the smallest set of drive settings that shows it (None: no settings matter; empty:
    always); `path` the rails and wires in order, from one end of the fault to the other; `accepted` the
    modeller's reason where an `accept` entry turned the finding into a note.
    """

    code: str
    severity: Severity
    subject: str
    what: str
    why: str = ""
    cure: str = ""
    where: Location | None = None
    witness: Mapping[str, str] | None = None
    path: tuple[str, ...] = ()
    accepted: str | None = None
    related: tuple[tuple[str, Location], ...] = field(default=())
