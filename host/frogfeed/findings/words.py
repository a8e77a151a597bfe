"""Findings whose words are put together from parts: each said as a sentence."""

from __future__ import annotations

from collections.abc import Mapping

from frogfeed.findings.finding import Finding, Location, Severity


def sentence(text: str, name: str = "") -> str:
    """A text with a capital and a full stop; a text that begins with a thing's own name keeps it as it is."""
    if not text:
        return text
    first = text.split(" ", 1)[0].rstrip(",:;")
    if first.isalpha() and first.islower() and first != name:
        text = text[0].upper() + text[1:]
    return text if text.endswith((".", "?", "!")) else text + "."


def said(
    code: str,
    severity: Severity,
    subject: str,
    what: str,
    why: str = "",
    cure: str = "",
    where: Location | None = None,
    witness: Mapping[str, str] | None = None,
    path: tuple[str, ...] = (),
    related: tuple[tuple[str, Location], ...] = (),
) -> Finding:
    """A finding with its three texts as sentences."""
    return Finding(
        code,
        severity,
        subject,
        sentence(what, subject),
        sentence(why, subject),
        sentence(cure, subject),
        where,
        witness=witness,
        path=path,
        related=related,
    )
