"""The page of all commands, from the very help texts that the programs print."""

from __future__ import annotations

from collections.abc import Iterator

import click

from frogfeed.cli import main

_INTRO = """\
# Commands

<!-- Made by `python -m frogfeed.reference`; do not edit. -->

Every command answers `-h` or `--help` with what stands here. Exit codes are the same everywhere: 0 clean, 1 findings,
2 wrong usage or a broken file, 3 a board or its link. Messages about what went wrong go to the error output, results
to the standard output, so that a program can read them; `--format json` or `--json`
gives it JSON where that is offered.
"""


def commands_page() -> str:
    """The page as Markdown, a heading for each command in the order of `frogfeed --help`."""
    top = click.Context(main, info_name="frogfeed")
    parts = [_INTRO]
    for name in main.list_commands(top):
        command = main.get_command(top, name)
        if command is not None:
            parts += _parts(command, click.Context(command, parent=top, info_name=name), "##")
    return "\n".join(parts)


def _parts(command: click.Command, context: click.Context, mark: str) -> Iterator[str]:
    path = context.command_path
    usage = " ".join(_usage(command, context))
    yield f"{mark} `{path}`\n\n```text\n{path} {usage}\n```\n"
    text = (command.help or command.short_help or "").split("\f")[0].strip()
    if text:
        yield "\n\n".join(_cell(p) for p in text.split("\n\n")) + "\n"
    rows = [r for p in command.get_params(context) if isinstance(p, click.Option) and (r := p.get_help_record(context))]
    rows = [r for r in rows if "--help" not in r[0]]
    if rows:
        yield (
            "| option | meaning |\n|---|---|\n"
            + "\n".join(f"| `{_bar(o)}` | {_bar(_cell(m))} |" for o, m in rows)
            + "\n"
        )
    if isinstance(command, click.Group):
        for name in command.list_commands(context):
            inner = command.get_command(context, name)
            if inner is not None:
                yield from _parts(inner, click.Context(inner, parent=context, info_name=name), mark + "#")


def _usage(command: click.Command, context: click.Context) -> Iterator[str]:
    shown = any(isinstance(p, click.Option) and "--help" not in p.opts for p in command.get_params(context))
    for piece in command.collect_usage_pieces(context):
        if piece != command.options_metavar or shown:
            yield piece


def _cell(text: str) -> str:
    return " ".join(text.split())


def _bar(text: str) -> str:
    return text.replace("|", "\\|")
