"""A bar for long work. It is imported by the commands that have some, since what draws it is slow to load."""

from __future__ import annotations

from rich.console import Console
from rich.progress import Progress, ProgressColumn


def progress_bar(*columns: ProgressColumn) -> Progress:
    """A bar on the error stream, while that is a terminal; elsewhere nothing is printed."""
    console = Console(stderr=True)
    return Progress(*columns, console=console, transient=True, disable=not console.is_terminal)
