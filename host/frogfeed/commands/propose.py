"""The text of `frogfeed plan --from-bare`: what is missing, why, and the file with it put in."""

from __future__ import annotations

import json
from itertools import groupby
from pathlib import Path
from textwrap import fill

import click

from frogfeed.commands.shared import CLEAN, FINDINGS, USAGE, fail, show
from frogfeed.findings.finding import Severity
from frogfeed.layout.atomic import create_file
from frogfeed.layout.model import Layout
from frogfeed.layout.proposal_text import proposed_text
from frogfeed.layout.reading import read_layout_text
from frogfeed.track.propose.proposal import Action, Proposal, propose


def show_proposal(layout: Layout, form: str, output: Path | None) -> int:
    """Print a proposal, and write the layout file with it where `output` says; the command's exit code."""
    p = propose(layout)
    if form == "json":
        click.echo(json.dumps(as_json(p), indent=1))
    else:
        _print(p)
    if output is not None:
        text = proposed_text(layout, p.layout)
        read_layout_text(text, str(output))
        try:
            create_file(output, text.encode("utf-8"))
        except FileExistsError:
            fail(f"{output} is there already, and was left as it is. Choose another name.", USAGE)
        except OSError as e:
            fail(f"{output} could not be written: {e.strerror}.", USAGE)
        if form == "text":
            left = "" if p.clean else "; it still has the mistakes shown above"
            click.echo(f"Wrote {output}{left}. Next: frogfeed check {output}")
    return CLEAN if p.clean else FINDINGS


def as_json(p: Proposal) -> dict[str, object]:
    """A proposal as plain data."""
    return {
        "items": [{"action": i.action.value, "place": i.place, "reason": i.reason} for i in p.items],
        "least": p.least,
        "clean": p.clean,
    }


def _print(p: Proposal) -> None:
    if not p.items:
        click.echo("Nothing is missing.")
        return
    proven = "no smaller set does" if p.least == len(p.items) else f"at least {p.least} are needed"
    count = "One thing makes" if len(p.items) == 1 else f"{len(p.items)} things make"
    click.echo(
        f"{count} this layout {'clean' if p.clean else 'better'} (with pieces made sound in this way, {proven}):"
    )
    order = {action: n for n, action in enumerate(Action)}
    for action, items in groupby(sorted(p.items, key=lambda i: order[i.action]), lambda i: i.action):
        group = list(items)
        click.echo(f"\n{action.value} ({len(group)})")
        for reason, same in groupby(group, lambda i: i.reason):
            places = ", ".join(i.place for i in same)
            click.echo(fill(places, 80, initial_indent="  ", subsequent_indent="  ", break_on_hyphens=False))
            click.echo(fill(f"because {reason}", 80, initial_indent="      ", subsequent_indent="      "))
    left = [f for f in p.findings if f.severity is not Severity.NOTE]
    if left:
        click.echo("\nWhat no joiner or dropper cures:\n")
        show(left, "text")
    else:
        click.echo("\nWith these, every check of the track is clean.")
