"""Electrics of a thousand turnouts beside ngspice on the same network, in one run.

Prints what takes how long and the ratio; what both find is compared, so a fast wrong answer fails.
"""

from __future__ import annotations

import re
import shutil
import subprocess
import tempfile
import time
from pathlib import Path

from frogfeed.electrics.circuit import build_circuit
from frogfeed.electrics.nodal import Nodal
from frogfeed.electrics.spice import deck, node_numbers
from frogfeed.electrics.survey import survey
from frogfeed.track.assembly.assemble import assemble
from tests.plan.make import row

NODE = re.compile(r"^\s*v\((\d+)\)\s+(\S+)\s*$", re.IGNORECASE | re.MULTILINE)


def main(turnouts: int = 1000) -> None:
    """Solve one operating point both ways, then survey every axle place."""
    layout = row(turnouts)
    network = assemble(layout)
    settings = {d: s[0] for d, s in network.drives.items()}
    loads = {("T1.SL", "T1.SR"): 1.0, (f"T{turnouts}.SL", f"T{turnouts}.SR"): 1.0}

    began = time.perf_counter()
    circuit = build_circuit(layout, network, settings)
    volts = Nodal(circuit).voltages(loads)
    ours = time.perf_counter() - began

    program = shutil.which("ngspice")
    if program is None:
        raise SystemExit("ngspice is not installed; this benchmark runs beside it")
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "deck.cir"
        path.write_text(deck(circuit, f"{turnouts} turnouts", loads), encoding="ascii")
        began = time.perf_counter()
        done = subprocess.run([program, "-b", str(path)], capture_output=True, text=True, check=False)
        theirs = time.perf_counter() - began
    printed = {int(n): float(v) for n, v in NODE.findall(done.stdout)}
    numbers = node_numbers(circuit)
    worst = max(abs(volts[node] - printed[i]) / max(abs(printed[i]), 0.02) for node, i in numbers.items() if i)
    assert worst < 1e-3, f"a node differs by {worst:.2%}"

    began = time.perf_counter()
    spots = survey(layout, network).spots
    surveyed = time.perf_counter() - began

    print(f"electrics of {turnouts} turnouts, {len(circuit.nodes)} nodes, {len(circuit.resistors)} resistances")
    print(f"  one operating point, ours       {ours:8.3f} s")
    print(f"  the same deck in ngspice        {theirs:8.3f} s   ratio {theirs / ours:6.1f}")
    print(f"  worst difference of a node      {worst:8.2e}")
    print(f"  survey of {len(spots)} axle places  {surveyed:8.3f} s   ratio {theirs / surveyed:6.1f}")


if __name__ == "__main__":
    main()
