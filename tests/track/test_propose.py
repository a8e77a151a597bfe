"""Proposals make bare plans clean, say why, and hold nothing that could be left out."""

from __future__ import annotations

import random
from dataclasses import replace
from itertools import combinations, product
from pathlib import Path

import pytest

from frogfeed.findings.finding import Severity
from frogfeed.layout.lines import FeedItem, GapItem, LineItem
from frogfeed.layout.model import Layout
from frogfeed.layout.reading import read_layout
from frogfeed.layout.schema import Hand, Side
from frogfeed.track.assembly.assemble import assemble
from frogfeed.track.explain.findings import track_findings
from frogfeed.track.propose.proposal import Action, Proposal, propose
from tests.track.make import BOTH, NOWHERE, layout, random_layout

DEMO = Path(__file__).parents[2] / "host/frogfeed/demo/saltmarsh-quay.toml"


def bare(full: Layout) -> Layout:
    """A layout without its gaps and feeds."""
    lines = {n: tuple(i for i in items if not isinstance(i, GapItem | FeedItem)) for n, items in full.lines.items()}
    return replace(full, lines=lines)


def is_clean(x: Layout) -> bool:
    """No error, no warning, and nothing held dead: what a proposal promises."""
    found = list(track_findings(x, assemble(x)))
    return all(f.severity is Severity.NOTE and f.code != "dead-held" for f in found)


def single_removals(p: Proposal) -> list[Layout]:
    """The proposed layout with one gap of one rail, or one dropper, left out."""
    found: list[Layout] = []
    for name, items in p.layout.lines.items():
        for i, item in enumerate(items):
            if not isinstance(item, GapItem | FeedItem):
                continue
            for hand in item.hands:
                rest = tuple(h for h in item.hands if h is not hand)
                new = (replace(item, hands=rest),) if rest else ()
                found.append(replace(p.layout, lines={**p.layout.lines, name: (*items[:i], *new, *items[i + 1 :])}))
    return found


def test_the_bare_demo_becomes_clean_with_reasons() -> None:
    p = propose(bare(read_layout(DEMO)))
    assert p.clean
    assert all(i.reason for i in p.items)
    assert {i.action for i in p.items} >= {Action.GAP, Action.DROPPER, Action.BLADES}


def test_a_layout_as_built_and_clean_needs_nothing() -> None:
    p = propose(propose(bare(read_layout(DEMO))).layout)
    assert p.items == ()


def test_only_what_is_missing_is_proposed() -> None:
    full = propose(bare(read_layout(DEMO))).layout
    name, items = next((n, i) for n, i in full.lines.items() if any(isinstance(x, GapItem) for x in i))
    without = tuple(x for x in items if not isinstance(x, GapItem))
    lost = sum(len(x.hands) for x in items if isinstance(x, GapItem))
    p = propose(replace(full, lines={**full.lines, name: without}))
    assert p.clean
    assert sum(1 for i in p.items if i.action is Action.GAP) == lost


@pytest.mark.parametrize("seed", range(60))
def test_random_bare_plans_become_clean(seed: int) -> None:
    p = propose(bare(random_layout(random.Random(seed), 4, switched=0.0)))
    left = {f.code for f in p.findings if f.severity is not Severity.NOTE}
    # A loop without a named stretch of track has no place for a reversing section.
    if "return-loop" not in left:
        assert left == set()


@pytest.mark.parametrize("seed", range(20))
def test_nothing_proposed_can_be_left_out(seed: int) -> None:
    p = propose(bare(random_layout(random.Random(seed), 2, switched=0.0)))
    if not is_clean(p.layout):
        pytest.skip("no case: a loop without a place")
    for smaller in single_removals(p):
        assert not is_clean(smaller)


def test_no_smaller_set_exists_on_one_turnout() -> None:
    """Every set of gaps and droppers with fewer members than proposed leaves something unclean (exhaustive)."""
    text = (
        '[turnout.T1]\nstate = "isolated-frog"\n[place.a]\nkind = "buffer"\n[place.b]\nkind = "buffer"\n'
        '[place.c]\nkind = "buffer"\n[lines]\nm = ["a", "T1.toe", "T1.left", "b"]\ns = ["T1.right", "c"]\n'
    )
    plan = layout(text)
    p = propose(plan)
    assert is_clean(p.layout)
    wanted = sum(1 for i in p.items if i.action in (Action.GAP, Action.DROPPER))
    joints = [("m", 0), ("m", 2), ("s", 0)]
    things: list[tuple[tuple[str, int], str, Hand]] = [
        (j, kind, hand) for j, kind, hand in product(joints, ("before", "gap", "behind"), BOTH)
    ]
    for count in range(wanted):
        for chosen in combinations(things, count):
            assert not is_clean(with_things(plan, chosen)), chosen


def with_things(plan: Layout, chosen: tuple[tuple[tuple[str, int], str, Hand], ...]) -> Layout:
    lines: dict[str, tuple[LineItem, ...]] = {}
    for name, items in plan.lines.items():
        new: list[LineItem] = []
        for i, item in enumerate(items):
            new.append(item)
            for kind in ("before", "gap", "behind"):
                hands = tuple(h for j, k, h in chosen if j == (name, i) and k == kind)
                if hands and kind == "gap":
                    new.append(GapItem(hands, NOWHERE))
                elif hands:
                    new.append(FeedItem("main", Side.A, hands, None, None, NOWHERE))
        lines[name] = tuple(new)
    return replace(plan, lines=lines)


def test_a_stated_dropper_comes_to_lie_beyond_the_gap() -> None:
    """Droppers stated between a slip and plain track belong to the plain track once the slip is insulated."""
    feed = '{ feed = "main", left = "A" }'
    lines = f'a = ["p1", {feed}, "X.a.left"]\nb = ["p2", {feed}, "X.a.right"]\n'
    lines += f'c = ["X.b.left", {feed}, "p3"]\nd = ["X.b.right", {feed}, "p4"]\n'
    places = "".join(f'[place.p{n}]\nkind = "buffer"\n' for n in range(1, 5))
    p = propose(layout(f"[slip.X]\n{places}[lines]\n{lines}"))
    assert p.clean
    assert not any(i.action is Action.DROPPER for i in p.items)


def test_track_that_its_frogs_alone_would_feed_gets_a_dropper_for_them_to_follow() -> None:
    """Two ovals that cross, run opposite ways: no frog ever changes polarity, so nothing is insulated from one."""
    lines = 'a = ["X.a.left", "one", "X.b.left"]\nb = ["X.b.right", "two", "X.a.right"]\n'
    p = propose(layout(f"[diamond.X]\n[place.one]\n[place.two]\n[lines]\n{lines}"))
    assert p.clean
    assert not any(i.action is Action.GAP for i in p.items)
    assert propose(p.layout).items == ()
    assert is_clean(p.layout) and not any(is_clean(smaller) for smaller in single_removals(p))
