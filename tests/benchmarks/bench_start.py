"""How long `frogfeed --help` takes beside an empty Python."""

from __future__ import annotations

import subprocess
import sys
from statistics import median

from tests.benchmarks.measure import seconds


def run(*command: str) -> float:
    """The median of nine runs in seconds."""
    return median(seconds(lambda: subprocess.run(command, capture_output=True, check=True), 1)[0] for _ in range(9))


def main() -> None:
    empty = run(sys.executable, "-c", "pass")
    for words in (["--help"], ["check", "--help"]):
        took = run(sys.executable, "-c", f"import sys; sys.argv[1:] = {words!r}; from frogfeed.cli import main; main()")
        print(f"frogfeed {' '.join(words):<14} {took / empty:5.1f} times python -c pass ({1000 * empty:.0f} ms)")


if __name__ == "__main__":
    main()
