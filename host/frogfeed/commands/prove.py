"""`frogfeed prove`: the proof in a terminal, with an exit code."""

from __future__ import annotations

import json
from pathlib import Path

import click

from frogfeed.commands.seat import seated
from frogfeed.commands.shared import CLEAN, FINDINGS
from frogfeed.console.terminal import prove_layout


@click.command("prove")
@click.argument("file", type=click.Path(path_type=Path, dir_okay=False))
@click.option("--no-meter", is_flag=True, help="Only what the boards can prove by themselves.")
@click.option("--yes-to-none", "silent", is_flag=True, help="Ask nothing: steps that need a person are left out.")
@click.option("--by", default="", help="Who proves it; stands in the record.")
@click.option("--json", "as_json", is_flag=True, help="Print the result as JSON.")
@click.option("--port", "ports", multiple=True, help="Serial port of the board, or BOARD=PORT; else found by itself.")
@click.option("--bench", is_flag=True, help="Virtual boards instead of real ones.")
def command(
    file: Path, no_meter: bool, silent: bool, by: str, as_json: bool, ports: tuple[str, ...], bench: bool
) -> None:
    """Prove that what is wired is what FILE says: throw, sense, and meter. The record is kept beside the file.

    Ends with 0 where nothing failed, 1 where a step failed, 3 where a board does not answer.
    """

    def hear(text: str) -> str:
        return str(click.prompt(text, prompt_suffix="", default="", show_default=False))

    with seated(file, ports, bench) as (seat, _):
        say = (lambda _: None) if as_json else click.echo
        proof = prove_layout(seat, say, None if silent else hear, meter=not no_meter, by=by)
    results = [s[4] for s in proof["steps"]]
    if as_json:
        keys = ("name", "by", "what", "expected", "result", "found", "finds")
        steps = [dict(zip(keys, s, strict=True)) for s in proof["steps"]]
        click.echo(json.dumps({"verdict": proof["verdict"], "record": proof["saved"], "steps": steps}, indent=1))
    else:
        counts = ", ".join(
            f"{results.count(k)} {w}" for k, w in (("pass", "passed"), ("fail", "failed"), ("skip", "left out"))
        )
        kept = f" Record kept as {proof['saved']}." if proof["saved"] else ""
        click.echo(f"{counts}.{kept}")
    raise SystemExit(FINDINGS if "fail" in results else CLEAN)
