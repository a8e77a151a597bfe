"""The page of all findings, from the registry of codes."""

from __future__ import annotations

from frogfeed.findings import codes
from frogfeed.findings.codes import CodeInfo

_FAMILIES = {
    "FILE": ("The layout file", "What `frogfeed` says of a file that it cannot use. Every one must be mended first."),
    "TRACK": ("The track", "What `frogfeed check` says of the rails: all answers hold for all settings of all drives."),
    "THROW": ("Throwing", "What it says of servos, linkages and how far and how fast blades move."),
    "PLAN": ("Boards", "What it says of boards, channels and outputs; `frogfeed plan` says the same."),
    "ELECTRICS": ("Electrics", "What it says of supplies, wires and what a short does to them."),
}
_INTRO = """\
# Findings

<!-- Made by `python -m frogfeed.reference`; do not edit. -->

Every finding has a code, a severity, a place in the layout file, what was found, why it matters on the railway and
what to do. Errors and warnings end `frogfeed check` with exit code 1, a broken file with 2; notes are for information.
`frogfeed check --format json` and `--format sarif` give the same to programs.

A finding that you know and want (a siding left dead to hold a train) can be *accepted*: it becomes a note that shows
your reason. What cannot be accepted puts the railway or its supply at risk, or makes the file unreadable.

```toml
[turnout.T1]
accept = [{ code = "dead-held", reason = "the goods waits there" }]
```
"""


def findings_page() -> str:
    """The page as Markdown, one table for each family of codes."""
    parts = [_INTRO]
    for name, table in vars(codes).items():
        if not name.endswith("_CODES"):
            continue
        family = name.removesuffix("_CODES")
        title, text = _FAMILIES.get(family, (family.capitalize().replace("_", " "), ""))
        rows = ["| code | severity | may be accepted | meaning |", "|---|---|---|---|"]
        rows += [_row(code, info) for code, info in table.items()]
        parts.append(f"## {title}\n\n" + (f"{text}\n\n" if text else "") + "\n".join(rows) + "\n")
    return "\n".join(parts)


def _row(code: str, info: CodeInfo) -> str:
    return f"| `{code}` | {info.severity} | {'yes' if info.acceptable else 'no'} | {info.meaning} |"
