"""Feeds that must be off at some settings, that span two districts, or that stand behind a slow enable."""

from __future__ import annotations

from dataclasses import replace

import pytest

from frogfeed.findings.finding import Finding
from frogfeed.layout.model import Layout
from frogfeed.layout.reading import read_layout_text
from frogfeed.parts import profiles
from frogfeed.parts.boards import BoardProfile
from frogfeed.plan.model import PlanRefusedError
from frogfeed.plan.needs import apart, feed_needs
from frogfeed.plan.planner import make_plan
from frogfeed.plan.suit import Suited, Unsuited, contacts_of, suits
from frogfeed.throw.linkage import Linkage
from frogfeed.throw.motion import Motion
from frogfeed.throw.window import Window, decide
from frogfeed.track.assembly.assemble import assemble
from tests.plan.make import row

HEAD = '[layout]\nname = "Yard"\ngauge = "OO"\ncontrol = "dc"\n'

SIDINGS = (
    HEAD
    + """[district.main]
[turnout.T1]
state = "isolated-frog"
[turnout.T2]
state = "isolated-frog"
[place]
q = { kind = "buffer" }
a = { kind = "buffer", feed = "switched" }
b = { }
c = { kind = "buffer", feed = "switched" }
d = { kind = "buffer" }
[lines]
x = ["q", { feed = "main", left = "A" }, "T1.toe"]
y = ["T1.left", "|", "a"]
z = ["T1.right", "|left", { feed = "main", left = "A" }, "b", "T2.toe"]
u = ["T2.left", "|", "c"]
v = ["T2.right", "|left", { feed = "main", left = "A" }, "d"]
"""
)

SECTION = (
    HEAD
    + """[district.main]
IN_PHASE
[district.yard]
[turnout.T1]
state = "isolated-frog"
[turnout.T2]
state = "isolated-frog"
drive = { name = "T1", left = "right", right = "left" }
[place]
a = { kind = "buffer" }
b = { kind = "buffer" }
c = { kind = "buffer" }
d = { kind = "buffer" }
s = { feed = "switched" }
[lines]
m = ["a", { feed = "main", left = "A" }, "T1.toe", "T1.left", "|", "s", "|", "T2.left", "T2.toe", FEED, "b"]
x = ["T1.right", "|left", { feed = "main", left = "A" }, "c"]
y = ["d", { feed = "yard", left = "A" }, "|right", "T2.right"]
"""
).replace("FEED", '{ feed = "yard", left = "A" }')


def layout(text: str) -> Layout:
    return read_layout_text(text, "yard.toml")


def refused(text: str) -> tuple[Finding, ...]:
    read = layout(text)
    with pytest.raises(PlanRefusedError) as found:
        make_plan(read, assemble(read))
    return found.value.findings


def profile_with_enable_ms(release: float, operate: float) -> BoardProfile:
    """The expander board with enables of these times."""
    p = profiles.profile("expander")
    types = {
        name: t.model_copy(
            update={
                "release_ms": t.release_ms.model_copy(update={"value": release}),
                "operate_ms": t.operate_ms.model_copy(update={"value": operate}),
            }
        )
        for name, t in p.enable_types.items()
    }
    return p.model_copy(update={"enable_types": types})


def test_switched_sidings_are_never_put_on_a_bare_changeover() -> None:
    found = refused(SIDINGS + '[board.B1]\nprofile = "direct-relay"\n')
    assert [f.code for f in found] == ["plan-no-room"]
    assert "a.R1" in found[0].what
    assert "must be off at some settings" in found[0].what
    read = layout(SIDINGS)
    plan = make_plan(read, assemble(read))
    for board in plan.boards:
        for feed in board.feeds:
            assert feed.need.off_at is None or contacts_of(board.profile, feed.channel).has_off


def test_a_siding_is_refused_a_changeover_and_told_when_it_must_be_off() -> None:
    read = layout(SIDINGS)
    needs = {n.output: n for n in feed_needs(read, assemble(read))}
    assert needs["a.R1"].off_at == (("T1", "right"),)
    assert needs["T1.F"].off_at is None
    p = profiles.profile("direct-relay")
    single = next(c for c in p.feed if c.type == "single")
    pair = next(c for c in p.feed if p.switch(c).kind == "pair")
    outcome = suits(needs["a.R1"], p, single, {})
    assert isinstance(outcome, Unsuited)
    assert outcome.code == "plan-needs-off"
    assert "T1 is right" in outcome.what
    assert isinstance(suits(needs["T1.F"], p, single, {}), Suited)
    assert isinstance(suits(needs["a.R1"], p, pair, {}), Suited)
    undecided = replace(needs["T1.F"], off_at=(("T1", "left"),))
    assert isinstance(suits(undecided, p, single, {}), Unsuited)


def test_a_section_between_two_districts_needs_them_in_phase() -> None:
    found = refused(SECTION.replace("IN_PHASE", ""))
    assert {f.code for f in found} == {"plan-two-districts"}
    assert {f.subject for f in found} == {"s.R1", "s.R2"}
    for f in found:
        assert f.where is not None
        assert f.where.line == SECTION.splitlines().index('s = { feed = "switched" }') + 1
        assert 'in_phase = ["yard"]' in f.cure
    read = layout(SECTION.replace("IN_PHASE", 'in_phase = ["yard"]'))
    assert make_plan(read, assemble(read)).boards


def test_districts_in_phase_with_a_third_are_in_phase_with_each_other() -> None:
    network = replace(assemble(layout(SIDINGS)), in_phase=frozenset((frozenset(("a", "b")), frozenset(("b", "c")))))
    assert apart(network, ["c", "a"]) is None
    assert apart(network, ["a", "c", "d"]) == ("a", "d")
    assert apart(network, []) is None


def test_the_blade_waits_for_the_slower_of_switch_and_enable() -> None:
    slow = profile_with_enable_ms(60.0, 40.0)
    channel = next(c for c in slow.feed if c.enable is not None)
    contacts = contacts_of(slow, channel)
    assert (contacts.release_ms, contacts.operate_ms) == (60.0, 40.0)
    outcome = decide(Linkage((1300, 1700), 10, 10, 1, 2.1, 0.5, 0.3), Motion(1000, 120), contacts, False, 1)
    assert isinstance(outcome, Window)
    assert outcome.move.off_lead_ms >= 60
    quick = profile_with_enable_ms(0.1, 0.1)
    switch = quick.switch(channel)
    contacts = contacts_of(quick, channel)
    assert (contacts.release_ms, contacts.operate_ms) == (switch.release_ms.value, switch.operate_ms.value)


def test_a_row_of_plain_turnouts_never_needs_an_off() -> None:
    read = row(3)
    assert all(n.off_at is None for n in feed_needs(read, assemble(read)))
