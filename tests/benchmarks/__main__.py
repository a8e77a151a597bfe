"""`make bench`: every measurement, each as ratios in one run. Nothing here passes or fails."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path


def main() -> None:
    """Run every bench_*.py beside this file in a process of its own, or those named on the command line."""
    here = Path(__file__).parent
    wanted = sys.argv[1:]
    for script in sorted(here.glob("bench_*.py")):
        if wanted and script.stem.removeprefix("bench_") not in wanted:
            continue
        print(f"== {script.stem.removeprefix('bench_')}", flush=True)
        subprocess.run([sys.executable, "-m", f"tests.benchmarks.{script.stem}"], check=False, cwd=here.parents[1])


if __name__ == "__main__":
    main()
