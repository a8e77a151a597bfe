"""What the board runs at power-up: finds the firmware's folder, runs it, and sees that all is off whatever happens.

`firmware.at` names the folder in force and the one before it, a line each. A third line "new" says that the first one
was never started; it becomes "tried" before that, and the firmware takes it away once it has run well. Found at a
start, "tried" means that it did not: then the one before it is in force again. (The cause of the reset can't tell: on
these chips every reset by program counts as the watchdog's.) Without that file the package beside this one is used.
Where the folder in force can't be loaded, the one before it is, and last the package beside this file. Where none can,
the board says so and stays at its prompt for a while before it resets, no watchdog running and Ctrl-C at work.

`data/maintenance` is the mark of the link's method `maintenance`: it is removed, and the board stays at its prompt
with no watchdog running and Ctrl-C at work, for this one start.
"""

import os
import sys
import time

import machine

DATA = "data"
PROMPT_S = 5
"""So long a board without firmware that can be loaded may be interrupted before it tries again."""


def _read(path: str) -> str:
    try:
        with open(path) as file:
            text: str = file.read()
            return text
    except (OSError, ValueError):
        return ""


def _write(path: str, text: str) -> bool:
    """Whether it was written, whole; the flash may be full."""
    try:
        with open(path + ".new", "w") as file:
            file.write(text)
            file.flush()
        getattr(os, "replace", os.rename)(path + ".new", path)
    except OSError:
        return False
    return True


def _remove(path: str) -> bool:
    try:
        os.remove(path)
    except OSError:
        return False
    return True


def _folders() -> "list[str]":
    """The firmware folders to try, best first; the last is "", the package beside this file.

    New firmware whose start can't be noted down is not started: were it to hang, nothing would lead back.
    """
    lines = _read("firmware.at").split("\n")
    found = [line for line in lines[:2] if line]
    mark = lines[2] if len(lines) > 2 and len(found) == 2 else ""
    if mark == "tried":
        found.reverse()
        _write("firmware.at", "%s\n%s\n" % (found[0], found[1]))
    elif mark == "new":
        if not _write("firmware.at", "%s\n%s\ntried\n" % (found[0], found[1])):
            found.reverse()
    return found + [""]


def _forget() -> None:
    for name in list(sys.modules):
        if name.split(".")[0] == "frogboard":
            del sys.modules[name]


def _load(folders: "list[str]") -> "object":
    """The module `frogboard.app` of the first folder that can be imported. Raises the first one's exception."""
    first: "Exception | None" = None
    for folder in folders:
        if folder:
            sys.path.insert(0, folder)
        try:
            import frogboard.app

            return frogboard.app
        except Exception as error:
            first = first or error
            _forget()
            if folder:
                sys.path.remove(folder)
    raise first or ImportError("no firmware")


def _note(error: "BaseException") -> None:
    """Count a crash and keep its words, for the laptop to read; never raises."""
    try:
        before = _read(DATA + "/crash")
        count = min(9, int(before[0]) + 1) if before else 1
        words = "".join(c if " " <= c <= "~" else " " for c in "%s: %s" % (type(error).__name__, error))
        _write(DATA + "/crash", "%d%s" % (count, words[:200]))
    except Exception:
        return


def main() -> None:
    """Run until the board is to be reset, or left at its prompt."""
    if _remove(DATA + "/maintenance"):
        print("frogboard: at the prompt for maintenance; reset to run again")
        return
    action = "reset"
    try:
        app = _load(_folders())
    except Exception as error:
        _note(error)
        print("frogboard: the firmware can't be loaded: %s: %s" % (type(error).__name__, error))
        print("frogboard: Ctrl-C for the prompt; tries again in %d s" % PROMPT_S)
        time.sleep(PROMPT_S)
        machine.reset()
        return
    try:
        action = app.run(DATA)  # type: ignore[attr-defined]
    except Exception as error:
        _note(error)
    if action == "hold":
        print("frogboard: button held at reset, so at the prompt; reset to run")
        return
    if action != "gone":
        machine.reset()


main()
