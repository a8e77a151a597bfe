"""What is collected while a layout file is read: findings by place, and the words they share."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from datetime import date, datetime, time
from difflib import get_close_matches
from typing import Any

from frogfeed.findings.codes import info
from frogfeed.findings.finding import Finding, Location
from frogfeed.layout.positions import KeyPath, Positions

MOST_SHOWN = 100
"""More findings than this are counted, not listed: a person mends the first ones and asks again."""


MOST_KEPT = 500
"""More findings than this are only counted, so that a file of nothing but mistakes is answered quickly too."""


class BadLayout(Exception):  # noqa: N818
    """A layout file with mistakes: all of them, sorted by place. None of the file has been used."""

    def __init__(self, findings: tuple[Finding, ...]) -> None:
        super().__init__(findings)
        self.findings = findings

    def __str__(self) -> str:
        return "\n".join(f"{f.where or f.subject}: {f.what}" for f in self.findings)


class Mistakes:
    """Collects findings. One path gets one finding: the first, so that no mistake is answered twice."""

    def __init__(self, where: Positions) -> None:
        self.where = where
        self._found: list[Finding] = []
        self._paths: set[KeyPath] = set()
        self._missing: set[KeyPath] = set()
        self._uncounted = 0

    def __bool__(self) -> bool:
        return bool(self._found)

    @property
    def full(self) -> bool:
        """Whether so many are kept that more are only counted."""
        return len(self._found) >= MOST_KEPT

    def count_one_more(self) -> None:
        """Count a mistake without a finding, where `full` says so."""
        self._uncounted += 1

    def under(self, path: KeyPath) -> bool:
        """Whether a finding stands at this path or inside it."""
        return any(p[: len(path)] == path for p in self._paths)

    def add(
        self,
        code: str,
        path: KeyPath,
        what: str,
        *,
        why: str = "",
        cure: str = "",
        subject: str | None = None,
        at_key: bool = False,
        related: Iterable[tuple[str, Location]] = (),
    ) -> None:
        """Add a finding at a key path (at the key itself where `at_key`), unless the path has one.

        Nothing is said of what stands in for a missing key or table.
        """
        if path in self._paths or (self._missing and any(path[:n] in self._missing for n in range(1, len(path)))):
            return
        if self.full:
            self.count_one_more()
            return
        self._paths.add(path)
        if code == "file-missing-key":
            self._missing.add(path)
        where = (self.where.key(path) if at_key else None) or self.where.nearest(path)
        self._found.append(
            Finding(
                code=code,
                severity=info(code).severity,
                subject=subject or dotted(path),
                what=what,
                why=why,
                cure=cure,
                where=where,
                related=tuple(related),
            )
        )

    def findings(self) -> tuple[Finding, ...]:
        """All findings by place; where there are too many, the first ones and how many more there are."""
        ordered = sorted(self._found, key=place_order)
        if len(ordered) <= MOST_SHOWN:
            return tuple(ordered)
        left_out = len(ordered) - MOST_SHOWN + self._uncounted
        more = Finding(
            code="file-more",
            severity=info("file-more").severity,
            subject="file",
            what=f"{left_out} more mistakes were found and are not listed",
            cure="Mend the ones above, then check again.",
            where=ordered[MOST_SHOWN].where,
        )
        return (*ordered[:MOST_SHOWN], more)

    def refuse(self) -> None:
        """Raise BadLayout if there are any findings."""
        if self._found:
            raise BadLayout(self.findings())


def place_order(finding: Finding) -> tuple[int, int, str]:
    """Sort key: by line and column, then by code."""
    where = finding.where
    return (where.line, where.column, finding.code) if where else (0, 0, finding.code)


def dotted(path: KeyPath) -> str:
    """A key path as a person says it: `turnout.T1.drive`, `lines.up[3]`."""
    text = ""
    for part in path:
        if isinstance(part, int):
            text += f"[{part + 1}]"
        else:
            text += f".{part}" if text else part
    return text or "file"


def nearest(word: str, words: Iterable[str]) -> str | None:
    """The nearest of the allowed words, or None where none is near. Case alone never matters."""
    pool = list(words)
    folded = {w.lower(): w for w in reversed(pool)}
    if word.lower() in folded:
        return folded[word.lower()]
    word = word.lower()
    one_off = [w for w in folded if len(w) == len(word) > 1 and sum(a != b for a, b in zip(w, word, strict=True)) == 1]
    found = one_off or get_close_matches(word, folded, n=1, cutoff=0.6)
    return folded[found[0]] if found else None


def did_you_mean(word: str, words: Iterable[str], none: str = "") -> str:
    """A sentence that suggests the nearest word, or lists what there is, or says `none` where there is nothing."""
    pool = list(words)
    near = nearest(word, pool)
    if near is not None:
        return f'Did you mean "{near}"?'
    if not pool:
        return none
    return f"There {'is' if len(pool) == 1 else 'are'}: {listed(pool)}."


def listed(words: Iterable[str], most: int = 12, last: str = "and") -> str:
    """Words in a row as in a sentence, cut short where there are many; never for the sake of two."""
    pool = list(words)
    if len(pool) > most + 2:
        return ", ".join(pool[:most]) + f" {last} {len(pool) - most} more"
    if len(pool) < 2:
        return "".join(pool)
    return ", ".join(pool[:-1]) + f" {last} {pool[-1]}"


def shown(value: Any) -> str:
    """A value as found in the file, short enough for one line."""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        text = value if len(value) <= 40 else value[:37] + "..."
        return '"' + text.replace("\\", "\\\\").replace('"', '\\"').replace("\n", "\\n") + '"'
    if isinstance(value, int | float):
        return "a huge number" if isinstance(value, int) and abs(value) >= 10**18 else repr(value)
    if isinstance(value, list | tuple):
        return "a list" if value else "an empty list"
    if isinstance(value, Mapping):
        return "a table"
    if isinstance(value, datetime | date | time):
        return f"the date or time {value.isoformat()}"
    return type(value).__name__
