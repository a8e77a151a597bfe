"""What commands share: opening a layout, printing findings, and the exit codes."""

from __future__ import annotations

import re
import sys
import textwrap
from collections.abc import Callable, Iterable, Mapping
from pathlib import Path
from typing import Any, NoReturn, TypeVar

import click

from frogfeed.findings.finding import Finding, Severity
from frogfeed.findings.show import show_json, show_sarif, show_text
from frogfeed.layout.ends import KindShape, read_shapes
from frogfeed.layout.model import Layout
from frogfeed.layout.reading import BadLayout, read_layout
from frogfeed.plan.model import Plan, PlanRefusedError
from frogfeed.plan.planner import make_plan
from frogfeed.plan.settings import build_settings
from frogfeed.track.assembly.assemble import assemble
from frogfeed.track.explain.findings import track_findings
from frogfeed.track.network.model import RailNetwork
from frogfeed.track.pieces.catalogue import BadKindError, read_kinds

CLEAN, FINDINGS, USAGE, BOARD = 0, 1, 2, 3
WIDTH = 80
_LABEL = re.compile(r"  (?:why|do): +")

F = TypeVar("F", bound=Callable[..., Any])

layout_argument = click.argument("file", type=click.Path(path_type=Path, dir_okay=False))


def format_option(*more: str) -> Callable[[F], F]:
    """--format with text and json, and what else a command offers."""
    return click.option(
        "--format",
        "form",
        type=click.Choice(["text", "json", *more]),
        default="text",
        show_default=True,
        help="How to print the result.",
    )


def open_layout(file: Path, form: str = "text") -> Layout:
    """The layout of a file; prints what is wrong with it and ends with exit code 2 where it is broken."""
    try:
        return read_layout(file, read_kinds=_whole_kinds)
    except BadLayout as bad:
        show(bad.findings, form, err=form == "text")
        raise SystemExit(USAGE) from None


def _whole_kinds(path: Path) -> Mapping[str, KindShape]:
    """The outlines in a catalogue file of one's own, once all of it holds together. Raises OSError, ValueError."""
    try:
        read_kinds(path.read_text(encoding="utf-8"), path.name)
    except BadKindError as e:
        raise ValueError(str(e).removeprefix(f"{path.name}: ")) from e
    return read_shapes(path)


def open_network(file: Path, form: str = "text") -> tuple[Layout, RailNetwork]:
    """The layout of a file and its rail network."""
    layout = open_layout(file, form)
    return layout, assemble(layout)


def show(findings: Iterable[Finding], form: str, err: bool = False, notes: bool = True) -> None:
    """Print findings as text (with or without the notes), JSON or SARIF."""
    found = tuple(findings)
    if form == "json":
        click.echo(show_json(found))
    elif form == "sarif":
        click.echo(show_sarif(found))
    else:
        stream = sys.stderr if err else sys.stdout
        click.echo(show_text(found, colour=stream.isatty(), notes=notes), err=err)


def exit_code(findings: Iterable[Finding]) -> int:
    """1 where any finding is an error or a warning, else 0."""
    return FINDINGS if any(f.severity is not Severity.NOTE for f in findings) else CLEAN


def fail(message: str, code: int) -> NoReturn:
    """Print a message for a person, in lines of 80 columns at most, and end with this exit code."""
    click.echo("\n".join(_wrapped(line) for line in message.split("\n")), err=True)
    raise SystemExit(code)


def _wrapped(line: str) -> str:
    """A line cut at 80 columns; behind "why:" and "do:" the text stays in its column."""
    label = _LABEL.match(line)
    inner = " " * (len(label[0]) if label is not None else 2)
    cut = textwrap.wrap(line, WIDTH, subsequent_indent=inner, break_long_words=False, break_on_hyphens=False)
    return "\n".join(cut)


def planned(
    layout: Layout, network: RailNetwork, form: str = "text", held: Mapping[str, tuple[str, str]] | None = None
) -> Plan:
    """The plan of a layout that has no errors; prints what is wrong and ends with exit code 1 where there is none."""
    errors = [f for f in track_findings(layout, network) if f.severity is Severity.ERROR]
    if errors:
        show(errors, form, err=form == "text")
        raise SystemExit(FINDINGS)
    try:
        return make_plan(layout, network, held)
    except PlanRefusedError as refused:
        show(refused.findings, form, err=form == "text")
        raise SystemExit(FINDINGS) from None


def board_settings(layout: Layout, network: RailNetwork) -> dict[str, bytes]:
    """The settings document of every board, at least one; prints why and ends with exit code 1 where there is none."""
    documents = build_settings(layout, planned(layout, network))
    if not documents:
        fail(
            "No board has anything to do: the layout has no servo, no switched feed and no contact to read.\n"
            "  do:  give a turnout a drive, or a frog a switched feed",
            FINDINGS,
        )
    return documents
