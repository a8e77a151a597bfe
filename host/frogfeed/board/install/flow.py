"""Installing from the cable's end: out of the running firmware, to the prompt, and back into the new firmware."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from frogfeed.board.client import Client, Limits
from frogfeed.board.commands import maintenance
from frogfeed.board.errors import (
    BoardError,
    InstallFailed,
    NoAnswer,
    OtherFirmware,
    PortStalled,
    PortVanished,
    WrongBoard,
)
from frogfeed.board.install.facts import RuntimeFacts, ask_runtime, check_runtime
from frogfeed.board.install.installer import Installed, Step, put_firmware
from frogfeed.board.install.payload import firmware_sources, make_payload, version_of
from frogfeed.board.install.repl import enter_prompt, leave_prompt
from frogfeed.board.messages import Hello
from frogfeed.board.ports import same_serial
from frogfeed.board.transport import Opener, open_serial

__all__ = ["Installation", "Sources", "install"]

Sources = tuple[bytes, dict[str, bytes]]
"""main.py, and the package's files by path."""

FIRST_HELLO = Limits(answer_s=0.7, hello_s=2.0, reconnect_s=0.0)
LAST_HELLO = Limits(answer_s=0.4, hello_s=15.0, reconnect_s=15.0)


@dataclass(frozen=True, slots=True)
class Installation:
    """What was found, what was done, and the board's greeting afterwards."""

    before: Hello | None
    runtime: RuntimeFacts
    done: Installed
    after: Hello


def install(
    find: Callable[[], str],
    *,
    chip: str | None = None,
    chip_id: str | None = None,
    sources: Sources | None = None,
    progress: Callable[[Step], None] = lambda step: None,
) -> Installation:
    """Put the firmware on the board whose port `find` names (asked again after each reset).

    `chip` is what the board's profile says; `chip_id` the USB serial number that it must have; `sources`
    replace this installation's own firmware. A board that runs the firmware is asked into maintenance first,
    since its watchdog cannot be stopped. On any error the board goes back to what it ran before. Raises
    NoPort, PortBusy, NoAnswer, WrongBoard, RuntimeRefused, InstallFailed, PortVanished.
    """
    main, files = sources or firmware_sources()
    progress(Step("greeting the board", 0, 0))
    before = _to_maintenance(find)
    progress(Step("going to its prompt", 0, 0))
    repl = enter_prompt(find)
    try:
        runtime = ask_runtime(repl)
        _check_identity(before, runtime, chip_id)
        check_runtime(runtime, chip=chip)
        payload = make_payload(main, files, runtime.mpy_version)
        done = put_firmware(repl, payload, free=runtime.free, progress=progress)
    except PortVanished:
        repl.close()
        raise
    except BaseException:
        leave_prompt(repl)
        raise
    leave_prompt(repl)
    progress(Step("starting it", done.sent_bytes, done.sent_bytes))
    after = _greet_anew(_opener(find), done)
    version = version_of(files)
    if version is not None and after.firmware != version:
        raise InstallFailed(
            f"firmware {version} is on the board, but {after.firmware} runs",
            why=f"the new firmware did not start, and the board went back to {done.before or 'the one before'}",
            cure="`frogfeed watch` and a terminal program show what it says; install another version",
        )
    return Installation(before, runtime, done, after)


def _opener(find: Callable[[], str]) -> Opener:
    return lambda: open_serial(find())


def _to_maintenance(find: Callable[[], str]) -> Hello | None:
    """The hello of the firmware that ran, now on its way into maintenance; None if none answered.

    Firmware of another version is asked as well: it is what shall be replaced.
    """
    client = Client(_opener(find), limits=FIRST_HELLO)
    try:
        client.connect()
    except OtherFirmware:
        pass
    except (NoAnswer, PortStalled):
        client.close()
        return None
    try:
        maintenance(client)
    finally:
        client.close()
    return client.hello


def _check_identity(before: Hello | None, runtime: RuntimeFacts, chip_id: str | None) -> None:
    for wanted in (chip_id, before.id if before is not None else None):
        if wanted and runtime.id and not same_serial(wanted, runtime.id):
            raise WrongBoard(
                f"the board at the prompt has the id {runtime.id}; {wanted} was meant",
                why="its outputs are wired for other drives and frogs",
                cure="plug in the right board, or name its port",
            )


def _greet_anew(opener: Opener, done: Installed) -> Hello:
    client = Client(opener, limits=LAST_HELLO)
    try:
        try:
            return client.connect()
        except PortVanished:
            return client.reconnect()
    except BoardError as problem:
        raise InstallFailed(
            "the new firmware is on the board, but does not answer",
            where=problem.where,
            why=problem.what,
            cure="press the board's reset: "
            + (
                f"a firmware that does not start is left again for {done.before}"
                if done.before
                else "if that does not help, look for an error with a terminal program"
            ),
        ) from problem
    finally:
        client.close()
