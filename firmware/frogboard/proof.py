"""New firmware has proved itself: the mark that would have main.py go back to the folder before is taken away.

Touches the pointer file of main.py only. No hardware.
"""

from frogboard import files

POINTER = "firmware.at"


def wanted() -> bool:
    """Whether the firmware in force is on trial."""
    lines = (files.read(POINTER) or b"").split(b"\n")
    return len(lines) > 2 and lines[2] == b"tried"


def give() -> None:
    """It runs well: it stays. Raises OSError; it is then still on trial."""
    lines = (files.read(POINTER) or b"").split(b"\n")
    if len(lines) > 2:
        files.replace(POINTER, lines[0] + b"\n" + lines[1] + b"\n")
