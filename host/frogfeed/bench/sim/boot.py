"""Start of the virtual board's process: build the world, then run the board's own main.py.

Arguments: this folder, the scenario's file, the board's index, the control channel's two file descriptors. Runs
under MicroPython; under CPython where there is none.
"""

import json
import sys

MYPY = False
"""True for the type checker alone, which knows the modules here by their package; a board by their bare names."""

if MYPY:
    from frogfeed.bench.shapes import Scenario


def _read(path: str) -> "Scenario":
    with open(path) as f:
        scenario: "Scenario" = json.loads(f.read())
    return scenario


def main(arguments: "list[str]") -> None:
    """Run the board until its life ends."""
    here, scenario_path, board_index, fd_in, fd_out = arguments
    scenario = _read(scenario_path)
    if MYPY:
        from frogfeed.bench.sim import life
    else:
        import life

    life.run(here, scenario, int(board_index), int(fd_in), int(fd_out))


if __name__ == "__main__":
    sys.path.insert(0, sys.argv[1])
    main(sys.argv[1:])
