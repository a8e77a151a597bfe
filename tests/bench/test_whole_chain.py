"""Bare plan to bench as one property: what is proposed and said clean runs without a spark, and what is not, shows.

A random plan of any pieces gets its proposal, is written and read back, checked, planned and built; the settings go to
the real firmware on the bench, where drives are thrown both ways, together and back in mid-travel, while trains roll.
One fault put into such a file is told by `check`, and the bench shows it at the settings that the finding names.

FROGFEED_SEED repeats a run; with FROGFEED_LONG=1 it goes many times as far.
"""

from __future__ import annotations

import os
import random
from collections import Counter
from collections.abc import Iterator

import pytest

from frogfeed.bench.rig import Rig, rig_of
from frogfeed.checking import all_findings
from frogfeed.findings.finding import Severity
from frogfeed.plan.model import PlanRefusedError
from tests.bench.chain import NAME, NoCase, check_chain, clean_text, drive_hard, errors, planned, stages
from tests.bench.wiring_faults import SHOWN, faulty, shows

SEED = int(os.environ.get("FROGFEED_SEED", random.SystemRandom().randrange(2**31)))
LONG = os.environ.get("FROGFEED_LONG", "0") not in ("", "0")
RAILWAYS = 200 if LONG else 6
SPOILED = 200 if LONG else 6
MOST_PIECES = 4
PHYSICAL = ("elec", "plan", "throw", "settings")
"""What findings of wires, boards and throws begin with: they are about other things than which rail has which wire."""


def seeds(name: str) -> Iterator[int]:
    """Seeds of railways, without end; each is told, so that a failure can be repeated."""
    rng = random.Random(f"{SEED} {name}")
    while True:
        seed = rng.randrange(2**40)
        print(f"FROGFEED_SEED={SEED}: {name} {seed}")
        yield seed


def some_rigs(name: str, count: int, asked: float) -> Iterator[tuple[int, Rig]]:
    """So many railways that are clean and fit their boards; fails where too few plans come that far."""
    said: Counter[str] = Counter()
    made = 0
    for seed in seeds(name):
        rng = random.Random(seed)
        try:
            rig = planned(rng, clean_text(rng, MOST_PIECES), asked)
        except NoCase as none:
            said[str(none)] += 1
            assert said.total() <= 5 + 2 * made, said
            continue
        made += 1
        yield seed, rig
        if made == count:
            return


@pytest.mark.timeout(7200 if LONG else 300)
def test_what_is_proposed_runs_without_a_spark() -> None:
    for seed, rig in some_rigs("clean", RAILWAYS, asked=0.4):
        check_chain(rig)
        stages(rig, random.Random(seed))
        driver = drive_hard(rig, seed, rounds=3, trains=2)
        assert driver.throws
        assert driver.wrong == [], f"{seed}\n{rig.layout.text}"


@pytest.mark.timeout(7200 if LONG else 300)
def test_what_check_says_of_a_fault_shows_on_the_bench() -> None:
    shown = 0
    for seed, rig in some_rigs("fault", SPOILED, asked=0.0):
        spoiled = faulty(random.Random(seed), rig.layout)
        if spoiled is None:
            continue
        what, text = spoiled
        try:
            wrong = rig_of(text, NAME)
        except PlanRefusedError as refused:
            assert errors(refused.findings)
            continue
        told = [f for f in all_findings(wrong.layout, wrong.network) if not f.code.startswith(PHYSICAL)]
        if all(f.severity is Severity.NOTE for f in told):
            driver = drive_hard(wrong, seed, rounds=2, trains=2)
            assert driver.wrong == [], f"{seed}: {what}, and check is content\n{text}"
        for finding in [f for f in told if f.code in SHOWN][:2]:
            in_vain = shows(wrong, finding, seed)
            assert in_vain is None, f"{seed}: {what}; {finding.what} {in_vain}\n{text}"
            shown += 1
    assert shown


SECTION_WITH_BLADES = """
[layout]
name = "Tail"
gauge = "N-fine"
control = "dc"
[district.main]
volts = 12.0
trip_a = 2.0
[turnout.T]
links = "in"
blades = "contact"
frog = "switched"
[place.tail]
kind = "buffer"
length_mm = 900
feed = "switched"
takes_in = ["T"]
[place.east]
kind = "buffer"
[place.west]
kind = "buffer"
[lines]
tail = ["tail", "T.toe"]
east = ["T.left", "|", { feed = "main", left = "A" }, "east"]
west = ["T.right", "|", { feed = "main", left = "B" }, "west"]
[drive.T]
travel_ms = 1400
[board.B1]
profile = "solid-state"
"""
"""The tail of a triangle: the frog of its turnout keeps its wire, and the blades carry that to rails that change."""


def test_a_section_is_off_while_blades_inside_it_change_sides() -> None:
    rig = rig_of(SECTION_WITH_BLADES, NAME)
    check_chain(rig)
    assert {s.output for s in rig.network.switched if not s.bonded_blades} == {"tail.R1", "tail.R2"}
    driver = drive_hard(rig, seed=1, rounds=2, trains=2)
    assert driver.wrong == []
