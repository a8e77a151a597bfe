"""How findings are shown: text for a person, JSON and SARIF for programs.

Text is laid out for 80 columns and needs no colour: each finding opens with its place, so that an editor can jump to
it, and goes on in the order in which a person asks: what, why, when, along which rails, what to do.
"""

from __future__ import annotations

import json
import textwrap
from collections.abc import Iterable, Mapping
from pathlib import Path
from typing import Any
from urllib.parse import quote

from frogfeed import __version__
from frogfeed.findings.codes import CODES
from frogfeed.findings.finding import Finding, Location, Severity

_INDENT = 10
_PAINT = {Severity.ERROR: "1;31", Severity.WARNING: "1;35", Severity.NOTE: "1;36"}
_LEVELS = {Severity.ERROR: "error", Severity.WARNING: "warning", Severity.NOTE: "note"}
SARIF_SCHEMA = "https://docs.oasis-open.org/sarif/sarif/v2.1.0/errata01/os/schemas/sarif-schema-2.1.0.json"


def show_text(findings: Iterable[Finding], width: int = 80, colour: bool = False, notes: bool = True) -> str:
    """Findings as text, in the order given, with a line that sums them up; `width` in columns, at least 40.

    Without `notes` these are counted and not shown.
    """
    findings = tuple(findings)
    width = max(width, 40)
    blocks = [_block(f, width, colour) for f in findings if notes or f.severity is not Severity.NOTE]
    return "\n\n".join([*blocks, summary(findings)])


def worst_first(findings: Iterable[Finding]) -> tuple[Finding, ...]:
    """Errors, then warnings, then notes, each in the order given."""
    rank = {severity: n for n, severity in enumerate(Severity)}
    return tuple(sorted(findings, key=lambda f: rank[f.severity]))


def summary(findings: Iterable[Finding]) -> str:
    """One line: how many errors, warnings and notes."""
    counts = count(findings)
    words = [
        f"{n} {severity}{'' if n == 1 else 's'}" for severity, n in counts.items() if n or severity is Severity.ERROR
    ]
    if not any(counts.values()):
        return "Nothing to report."
    return ("No errors, " + " and ".join(words[1:]) if not counts[Severity.ERROR] else ", ".join(words)) + "."


def count(findings: Iterable[Finding]) -> dict[Severity, int]:
    """How many findings of each severity, errors first."""
    counts = dict.fromkeys(Severity, 0)
    for f in findings:
        counts[f.severity] += 1
    return counts


def when(witness: Mapping[str, str] | None) -> str:
    """A witness in words: "T1 is left and T2 is right"; "always" where no setting matters; "" for None."""
    if witness is None:
        return ""
    if not witness:
        return "always, whatever is set"
    parts = [f"{drive} is {setting}" for drive, setting in sorted(witness.items())]
    return parts[0] if len(parts) == 1 else ", ".join(parts[:-1]) + " and " + parts[-1]


def _block(f: Finding, width: int, colour: bool) -> str:
    subject = "" if f.subject in ("", "file") else f": {f.subject}"
    place = f"{f.where}: " if f.where else ""
    label = f"{f.severity} {f.code}"
    title = _fill(f"{place}{label}{subject}", width, "    ")
    if colour:
        title = title.replace(label, f"\x1b[{_PAINT[f.severity]}m{label}\x1b[0m", 1)
    lines = [title, *_wrapped("", f.what, width, indent=2)]
    for name, value in (("why", f.why), ("when", when(f.witness)), ("accepted", f.accepted or "")):
        lines += _wrapped(name, value, width)
    if f.path:
        lines += _wrapped("path", " > ".join(f.path), width)
    for words, at in f.related:
        lines += _wrapped("see", f"{at} ({words})", width)
    lines += _wrapped("to do", f.cure, width)
    return "\n".join(lines)


def _fill(text: str, width: int, indent: str) -> str:
    rows = textwrap.wrap(text, width, break_long_words=False, break_on_hyphens=False, subsequent_indent=indent)
    return "\n".join(rows)


def _wrapped(name: str, value: str, width: int, indent: int = _INDENT + 2) -> list[str]:
    if not value:
        return []
    rows: list[str] = []
    for paragraph in value.splitlines():
        rows += textwrap.wrap(paragraph, width - indent, break_long_words=False, break_on_hyphens=False) or [""]
    first = f"  {name:<{indent - 2}}{rows[0]}"
    return [first, *(f"{'':<{indent}}{row}".rstrip() for row in rows[1:])]


def as_dict(f: Finding) -> dict[str, Any]:
    """A finding as JSON has it; keys with nothing to say are left out, except `witness`, which may be empty."""
    found: dict[str, Any] = {
        "code": f.code,
        "severity": str(f.severity),
        "subject": f.subject,
        "what": f.what,
    }
    found |= {key: value for key, value in (("why", f.why), ("cure", f.cure), ("accepted", f.accepted)) if value}
    if f.where:
        found["where"] = _place(f.where)
    if f.witness is not None:
        found["witness"] = dict(f.witness)
    if f.path:
        found["path"] = list(f.path)
    if f.related:
        found["related"] = [{"text": words, "where": _place(at)} for words, at in f.related]
    return found


def _place(at: Location) -> dict[str, Any]:
    return {"file": at.file, "line": at.line, "column": at.column}


def show_json(findings: Iterable[Finding]) -> str:
    """`{"findings": [...], "summary": {"error": n, "warning": n, "note": n}}`, in the order given."""
    findings = tuple(findings)
    counts = {str(severity): n for severity, n in count(findings).items()}
    return json.dumps({"findings": [as_dict(f) for f in findings], "summary": counts}, indent=2, ensure_ascii=False)


def show_sarif(findings: Iterable[Finding]) -> str:
    """SARIF 2.1.0 (OASIS): one run; a rule for every code that occurs; accepted findings as suppressed in source."""
    findings = tuple(findings)
    codes = sorted({f.code for f in findings})
    index = {code: i for i, code in enumerate(codes)}
    run = {
        "tool": {"driver": {"name": "frogfeed", "version": __version__, "rules": [_rule(c) for c in codes]}},
        "columnKind": "unicodeCodePoints",
        "results": [_result(f, index) for f in findings],
    }
    return json.dumps({"$schema": SARIF_SCHEMA, "version": "2.1.0", "runs": [run]}, indent=2, ensure_ascii=False)


def _rule(code: str) -> dict[str, Any]:
    rule: dict[str, Any] = {"id": code}
    known = CODES.get(code)
    if known is not None:
        text = known.meaning[0].upper() + known.meaning[1:] + "."
        rule["shortDescription"] = {"text": text}
        rule["defaultConfiguration"] = {"level": _LEVELS[known.severity]}
    return rule


def _result(f: Finding, index: Mapping[str, int]) -> dict[str, Any]:
    parts = [f.what, f.why, f"When: {when(f.witness)}." if f.witness is not None else "", f.cure]
    if f.path:
        parts.insert(3, f"Path: {' > '.join(f.path)}.")
    result: dict[str, Any] = {
        "ruleId": f.code,
        "ruleIndex": index[f.code],
        "level": _LEVELS[f.severity],
        "message": {"text": " ".join(p if p.endswith((".", "?", "!")) else f"{p}." for p in parts if p)},
    }
    if f.where:
        result["locations"] = [{"physicalLocation": _physical(f.where)}]
    if f.related:
        result["relatedLocations"] = [
            {"id": i, "physicalLocation": _physical(at), "message": {"text": words}}
            for i, (words, at) in enumerate(f.related)
        ]
    if f.accepted is not None:
        result["suppressions"] = [{"kind": "inSource", "justification": f.accepted}]
    properties: dict[str, Any] = {"subject": f.subject}
    if f.witness is not None:
        properties["witness"] = dict(f.witness)
    if f.path:
        properties["path"] = list(f.path)
    result["properties"] = properties
    return result


def _physical(at: Location) -> dict[str, Any]:
    path = Path(at.file)
    uri = path.as_uri() if path.is_absolute() else quote(path.as_posix())
    return {"artifactLocation": {"uri": uri}, "region": {"startLine": at.line, "startColumn": at.column}}
