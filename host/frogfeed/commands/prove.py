"""`frogfeed prove`: the wiring proven by board and by meter."""

from __future__ import annotations

import asyncio
from pathlib import Path
from typing import Any

import click

from frogfeed.commands.console import links_for
from frogfeed.commands.shared import BOARD, FINDINGS, fail, layout_argument, open_network, planned
from frogfeed.console.desk import Desk
from frogfeed.console.refusals import RefusedError
from frogfeed.console.session import Session, open_session

UP_S = 15.0


@click.command("prove")
@layout_argument
@click.option("--port", help="The serial port of the only board.")
@click.option("--meter/--no-meter", default=True, show_default=True, help="Also the readings that a person takes.")
@click.option("--by", default="", help="Who proves, for the record.")
def command(file: Path, port: str | None, meter: bool, by: str) -> None:
    """Throw every drive, see its feeds follow, read currents, and take the meter's readings; keep the record.

    Ends with 0 where all passed, 1 where a step failed or was left out, 3 where a board does not answer.
    """
    layout, network = open_network(file)
    boards = [b.name for b in planned(layout, network).boards]
    ports = {boards[0]: port} if port is not None else {}
    session = open_session(file, links_for(layout, boards, ports))
    try:
        found = asyncio.run(_prove(session, boards, meter, by))
    except RefusedError as e:
        fail(str(e), BOARD)
    steps = found["steps"]
    bad = [s for s in steps if s["result"] != "pass"]
    click.echo(f"{found['verdict']}: {len(steps) - len(bad)} of {len(steps)} steps passed.")
    for s in bad:
        click.echo(f"  {s['result']:<5} {s['name']}: {s['found']}")
    raise SystemExit(FINDINGS if bad else 0)


async def _prove(session: Session, boards: list[str], meter: bool, by: str) -> dict[str, Any]:
    await session.start()
    try:
        for board in boards:
            await _wait_up(session, board)
        desk = Desk(session)
        await desk.prover.start(meter, by)
        talk = asyncio.create_task(_talk(session, desk))
        try:
            record = await desk.prover.wait()
        finally:
            talk.cancel()
        if desk.prover.saved is not None:
            click.echo(f"Record: {desk.prover.saved}")
        return record
    finally:
        await session.stop()


async def _wait_up(session: Session, board: str) -> None:
    end = asyncio.get_running_loop().time() + UP_S
    while not (session.store.get("boards", board) or {}).get("up"):
        if asyncio.get_running_loop().time() > end:
            raise RefusedError(
                f"{board} does not answer",
                "it is not plugged in, or another program has its port",
                "`frogfeed boards` shows what is there; `frogfeed bench` gives a virtual board",
            )
        await asyncio.sleep(0.1)


async def _talk(session: Session, desk: Desk) -> None:
    """Show steps as they end, and ask for the meter's readings."""
    shown = 0
    asked = ""
    version = -1
    while True:
        now = session.store.get("proof", "now") or {}
        steps = now.get("steps", [])
        while shown < now.get("done", 0):
            name, _, what, _, result, found, _ = steps[shown]
            click.echo(f"  {result:<5} {what}{f' ({found})' if found else ''}" if name else "")
            shown += 1
        if now.get("state") == "asking" and now["step"] != asked:
            asked = now["step"]
            what = next(s[2] for s in steps if s[0] == asked)
            word = await asyncio.to_thread(
                click.prompt, f"  {what}: closed, open, or skip", type=click.Choice(["closed", "open", "skip"])
            )
            await desk.prover.answer(asked, str(word), "")
        version = session.store.version
        try:
            await asyncio.wait_for(session.store.changed(version), 0.5)
        except TimeoutError:
            continue
