"""Exported decks run in ngspice as they are: every node of ten layouts within 0.1 % of our own solution."""

from __future__ import annotations

import random
import re
import shutil
import subprocess
from pathlib import Path

import pytest

import frogfeed.demo
from frogfeed.electrics.circuit import build_circuit
from frogfeed.electrics.nodal import Nodal
from frogfeed.electrics.spice import deck, node_numbers, spice_deck
from frogfeed.layout.model import Layout
from frogfeed.layout.reading import read_layout
from frogfeed.plan.paths import output_paths
from frogfeed.plan.planner import make_plan
from frogfeed.track.assembly.assemble import assemble
from tests.plan.make import board, row
from tests.track.make import random_layout

NODE = re.compile(r"^\s*v\((\d+)\)\s+(\S+)\s*$", re.IGNORECASE | re.MULTILINE)
LIVE = 'make = "live-frog"\nlinks = "in"\nblades = "contact"\nfrog = "switched"\nfrog_number = 6'


def ngspice(text: str, folder: Path) -> dict[int, float]:
    """Run a deck; the voltage of every numbered node. ngspice must be there: without it this fails."""
    program = shutil.which("ngspice")
    assert program is not None, "ngspice is not installed; it is needed to check the decks"
    path = folder / "deck.cir"
    path.write_text(text, encoding="ascii")
    done = subprocess.run([program, "-b", str(path)], capture_output=True, text=True, timeout=120, check=False)
    assert "error" not in (done.stdout + done.stderr).lower(), done.stdout + done.stderr
    return {int(n): float(v) for n, v in NODE.findall(done.stdout)}


def demo() -> Layout:
    (folder,) = frogfeed.demo.__path__
    return read_layout(Path(folder) / "saltmarsh-quay.toml")


LAYOUTS = {
    "demo": demo,
    "row": lambda: row(6),
    "two districts": lambda: row(7, districts=("main", "yard")),
    "live frogs": lambda: row(4, piece=LIVE),
    "as made": lambda: row(5, piece='make = "insulated-frog"\nfrog_number = 5'),
    "boards placed": lambda: row(6, board("B1", "expander", 9000)),
    **{f"random {n}": (lambda n=n: random_layout(random.Random(n), 6)) for n in (11, 12, 13, 14)},
}


@pytest.mark.parametrize("name", LAYOUTS)
def test_every_node_agrees_with_ngspice(name: str, tmp_path: Path) -> None:
    layout = LAYOUTS[name]()
    network = assemble(layout)
    paths = output_paths(make_plan(layout, network)) if name in ("demo", "boards placed") else {}
    rng = random.Random(name)
    for trial in range(3):
        settings = {d: rng.choice(s) for d, s in network.drives.items()}
        rails = rng.sample(network.rails, 4)
        loads = {(rails[0], rails[1]): 0.7, (rails[2], rails[3]): 1.3} if trial else {}
        circuit = build_circuit(layout, network, settings, paths)
        if trial:
            fed = Nodal(circuit).voltages()
            loads = {p: a for p, a in loads.items() if abs(fed[p[0]] - fed[p[1]]) > 1.0}
        text = deck(circuit, name, loads)
        if not loads:
            assert text.splitlines()[1:] == spice_deck(layout, network, settings, paths).splitlines()[1:]
        theirs = ngspice(text, tmp_path)
        ours = Nodal(circuit).voltages(loads)
        numbers = node_numbers(circuit)
        assert len(numbers) > 15
        for node, number in numbers.items():
            if number:
                assert number in theirs, f"ngspice printed nothing for node {number}"
                assert ours[node] == pytest.approx(theirs[number], rel=1e-3, abs=2e-5), node


def test_a_wrong_resistance_is_noticed(tmp_path: Path) -> None:
    layout = row(2)
    network = assemble(layout)
    settings = {d: s[0] for d, s in network.drives.items()}
    circuit = build_circuit(layout, network, settings)
    loads = {("T2.SL", "T2.SR"): 3.0}
    text = deck(circuit, "changed", loads)
    bus = next(line for line in text.splitlines() if "; bus" in line)
    name, a, b, ohm, *rest = bus.split()
    wrong = text.replace(bus, " ".join([name, a, b, f"{float(ohm) * 5:.9g}", *rest]))
    ours = Nodal(circuit).voltages(loads)
    theirs = ngspice(wrong, tmp_path)
    numbers = node_numbers(circuit)
    assert any(abs(ours[n] - theirs[i]) > 1e-3 * abs(ours[n]) + 2e-5 for n, i in numbers.items() if i)
