"""Start of the virtual board's process: build the world, then run the board's own main.py.

Arguments: this folder, the scenario's file, the board's index, the control channel's two file descriptors. Runs
under MicroPython; under CPython where there is none.
"""

import json
import sys


def _read(path):
    with open(path) as f:
        return json.loads(f.read())


def main(arguments):
    """Run the board until its life ends."""
    here, scenario_path, board_index, fd_in, fd_out = arguments
    scenario = _read(scenario_path)
    import life

    life.run(here, scenario, int(board_index), int(fd_in), int(fd_out))


if __name__ == "__main__":
    sys.path.insert(0, sys.argv[1])
    main(sys.argv[1:])
