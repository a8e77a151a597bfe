"""What is planned, what is refused and why, and what the firmware says of the documents."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import pytest

import frogfeed.demo
from frogboard import settings as document
from frogfeed.findings.codes import CODES
from frogfeed.findings.finding import Finding, Severity
from frogfeed.layout.model import Layout
from frogfeed.layout.reading import read_layout
from frogfeed.parts import profiles
from frogfeed.parts.boards import BoardProfile, FeedChannel
from frogfeed.plan.assignment import solve
from frogfeed.plan.export import plan_to_json, read_channels
from frogfeed.plan.makeup import BondRails, FitDropper, FitJoiner, FitSwitched, KeepLink, RemoveLink, make_ups
from frogfeed.plan.model import DriveNeed, FeedNeed, Plan, PlanRefusedError
from frogfeed.plan.planner import make_plan
from frogfeed.plan.problem import BoardSite, build
from frogfeed.plan.settings import build_settings
from frogfeed.plan.suit import Moving, Suited, Unsuited, senses, suits
from frogfeed.throw.linkage import Linkage
from frogfeed.throw.motion import Motion
from frogfeed.track.assembly.assemble import assemble
from tests.plan.make import board, row


def planned(layout: Layout, previous: dict[str, tuple[str, str]] | None = None) -> Plan:
    return make_plan(layout, assemble(layout), previous)


def refusal(layout: Layout) -> list[Finding]:
    with pytest.raises(PlanRefusedError) as refused:
        planned(layout)
    found = [f for f in refused.value.findings if f.severity is Severity.ERROR]
    assert found
    assert all(f.code in CODES for f in found)
    return found


def demo_layout() -> Layout:
    (folder,) = frogfeed.demo.__path__
    return read_layout(Path(folder) / "saltmarsh-quay.toml")


def test_the_demo_railway_gets_documents_that_the_firmware_accepts() -> None:
    layout = demo_layout()
    network = assemble(layout)
    plan = make_plan(layout, network)
    sealed = build_settings(layout, plan)
    assert set(sealed) == {b.name for b in plan.boards}
    doc, reason = document.load(sealed["B1"])
    assert reason is None
    assert doc is not None
    assert {f["name"] for f in doc["feeds"]} == {s.output for s in network.switched}
    assert {d["name"] for d in doc["drives"]} == set(network.drives)


def test_tables_in_the_document_say_what_the_network_says() -> None:
    layout = demo_layout()
    network = assemble(layout)
    plan = make_plan(layout, network)
    doc, _ = document.load(build_settings(layout, plan)["B1"])
    assert doc is not None
    drives = doc["drives"]
    for feed in doc["feeds"]:
        entry = next(s for s in network.switched if s.output == feed["name"])
        said = {
            (tuple(sorted((drives[d]["name"], drives[d]["settings"][s]) for d, s in r["when"])), r["feed"])
            for r in feed["table"]
        }
        assert said == {(t, r.wire[-1]) for r in entry.rows for t in r.when}


def test_without_a_board_one_is_implied_that_fits() -> None:
    small, large = planned(row(4)), planned(row(12))
    assert [b.profile.name for b in small.boards] == ["direct-relay"]
    assert [b.profile.name for b in large.boards] == ["expander"]
    assert [f.code for f in small.findings] == ["plan-implied-board"]


def test_pairs_are_taken_first_and_changeovers_when_relays_run_short() -> None:
    four = planned(row(4, board("B1", "direct-relay")))
    assert [f.channel.name for f in four.boards[0].feeds] == ["P1", "P2", "P3", "P4"]
    six = planned(row(6, board("B1", "direct-relay")))
    kinds = sorted(six.boards[0].profile.switch(f.channel).kind for f in six.boards[0].feeds)
    assert kinds == ["changeover"] * 4 + ["pair"] * 2
    pins = [r for f in six.boards[0].feeds for r in f.channel.resources]
    assert len(pins) == len(set(pins)) == 8
    rests = {f.need.output: f.rest for f in six.boards[0].feeds if f.rest is not None}
    assert set(rests.values()) == {"B"}  # set left, its normal, the frog is on the right rail


def test_too_many_turnouts_are_refused_with_the_limit_that_binds() -> None:
    (found,) = refusal(row(9, board("B1", "direct-relay")))
    assert found.code == "plan-no-room"
    assert "9" in found.what
    assert found.cure
    (servos,) = refusal(row(17, board("B1", "expander"), piece='make = "insulated-frog"'))
    assert "17 servos, and 16 servo channels" in servos.what


def test_two_drives_on_one_fixed_channel_name_both_and_their_places() -> None:
    from frogfeed.plan.fixed import read_fixed

    layout = row(2, board("B1", "direct-relay", channels='"T1.F" = "F1", "T2.F" = "P1"'))
    (found,) = refusal(layout)
    assert found.code == "plan-channel-twice"
    assert "T1.F" in found.what
    assert "T2.F" in found.what
    assert "GP8" in found.what
    assert found.where is not None
    assert found.related
    # The reader refuses one name twice itself; here the planner's own guard is asked.
    profile = profiles.profile("direct-relay")
    same = layout.file.board["B1"].model_copy(update={"channels": {"T1": "S1", "T2": "S1"}})
    file = layout.file.model_copy(update={"board": {"B1": same}})
    object.__setattr__(layout, "file", file)
    _, problems = read_fixed(layout, {"B1": profile}, {"T1": "servo", "T2": "servo"})
    assert [f.code for f in problems] == ["plan-channel-twice"]
    assert "T1" in problems[0].what
    assert "T2" in problems[0].what


def test_fixed_channels_are_kept() -> None:
    plan = planned(row(3, board("B1", "expander", channels='T2 = "S9", "T3.F" = "F16"')))
    assert plan.channels()["T2"] == ("B1", "S9")
    assert plan.channels()["T3.F"] == ("B1", "F16")
    assert plan.channels()["T1"] == ("B1", "S1")


def test_a_channel_of_the_wrong_kind_is_refused_with_those_there_are() -> None:
    (found,) = refusal(row(1, board("B1", "direct-relay", channels='T1 = "F1"')))
    assert found.code == "plan-channel-fixed"
    assert "S1" in found.cure


LIVE = 'make = "live-frog"\nlinks = "in"\nblades = "contact"\nfrog = "switched"\nfrog_number = 6'


def test_a_bare_changeover_at_unbonded_blades_is_refused() -> None:
    (found,) = refusal(row(1, board("B1", "direct-relay"), piece=LIVE + '\noutput = "changeover"'))
    assert found.code == "plan-bare-changeover"
    assert "Bond" in found.cure
    plan = planned(row(1, board("B1", "direct-relay"), piece=LIVE))
    assert plan.boards[0].feeds[0].channel.name == "P1"


def test_a_hand_throw_with_one_contact_needs_bonded_blades() -> None:
    hand = '[drive.T1]\nkind = "hand"\ncontacts = "single"\n'
    (found,) = refusal(row(1, board("B1", "expander"), piece=LIVE, extra=hand))
    assert found.code == "plan-single-contact"
    plan = planned(row(1, board("B1", "expander"), extra=hand))
    assert plan.channels()["T1.left"] == ("B1", "I1")
    assert "T1.right" not in plan.channels()


def test_a_group_behind_one_enable_serves_one_district() -> None:
    plan = planned(row(10, board("B1", "expander"), districts=("main", "yard")))
    by_group: dict[str | None, set[str]] = {}
    for f in plan.boards[0].feeds:
        by_group.setdefault(f.channel.enable, set()).add(f.need.district)
    assert all(len(d) == 1 for d in by_group.values())
    (found,) = refusal(row(5, board("B1", "expander"), districts=("a", "b", "c", "d", "e")))
    assert "district" in found.what


def test_things_go_to_the_board_that_is_nearer() -> None:
    plan = planned(row(8, board("B1", "direct-relay", 0) + board("B2", "direct-relay", 4500)))
    where = plan.channels()
    assert [where[f"T{n}"][0] for n in range(1, 9)] == ["B1"] * 4 + ["B2"] * 4
    assert plan.optimum.gap <= 1e-6
    assert plan.optimum.wire_mm == pytest.approx(sum(b.wire_mm for b in plan.boards))


def test_a_small_change_moves_nothing_that_need_not_move() -> None:
    two = board("B1", "direct-relay", 0) + board("B2", "direct-relay", 4500)
    before = planned(row(7, two))
    kept = read_channels(json.dumps(plan_to_json(before)))
    assert kept == dict(before.channels())
    more = row(8, two)
    after = planned(more, kept)
    assert after.optimum.moved == 0
    assert {t: after.channels()[t] for t in kept} == kept
    shuffled = dict(kept, T1=kept["T2"], T2=kept["T1"])
    assert planned(more, shuffled).channels()["T1"] == kept["T2"]


def test_drives_of_one_table_share_a_board_with_its_feed() -> None:
    near, far = (0.0, 0.0), (9000.0, 0.0)
    sites = [
        BoardSite(name, profiles.profile("direct-relay"), None, place, False)
        for name, place in (("B1", near), ("B2", far))
    ]
    drives = [
        DriveNeed(name, ("left", "right"), False, (), place, None)
        for name, place in (("T1", near), ("T2", far), ("T3", far))
    ]
    feed = FeedNeed(
        "X.F",
        ("X.F",),
        "X",
        "main",
        (((("T1", "left"), ("T2", "left")), "A"),),
        ("T1", "T2"),
        True,
        (),
        None,
        far,
        None,
    )
    link = Linkage((1400, 1600), 10.0, 10.0, 1.0, 2.0, 0.5, 0.3)
    moving = {d.name: Moving(d.settings, link, Motion(1000.0, 120.0)) for d in drives}
    built = build(sites, drives, [feed], moving, {"main": None}, {}, {})
    solution = solve(built.problem)
    assert solution is not None
    board_of = {d.name: solution.cluster_board[c] for d, c in zip(drives, built.drive_cluster, strict=True)}
    assert board_of == {"T1": 1, "T2": 1, "T3": 1}
    assert solution.item_class[0][0] == 1


def test_the_make_up_lists_what_is_cut_bonded_insulated_and_fed() -> None:
    layout = demo_layout()
    network = assemble(layout)
    plan = make_plan(layout, network)
    by_name = {m.name: m for m in make_ups(layout, network, plan)}
    t1 = by_name["T1"].steps
    assert {(s.a, s.b) for s in t1 if isinstance(s, RemoveLink)} == {("T1.BL", "T1.F"), ("T1.BR", "T1.F")}
    assert {(s.a, s.b) for s in t1 if isinstance(s, BondRails)} == {("T1.SL", "T1.BL"), ("T1.SR", "T1.BR")}
    assert {s.rail for s in t1 if isinstance(s, FitJoiner) and not s.conducts} == {"T1.SL", "T1.VL", "T1.VR", "T1.SR"}
    (fed,) = [s for s in t1 if isinstance(s, FitSwitched)]
    assert (fed.board, fed.channel) == plan.channels()["T1.F"]
    assert {s.wire for s in by_name["T6"].steps if isinstance(s, FitDropper)} == {"main.A", "main.B"}
    t5 = by_name["T5"].steps
    assert [s for s in t5 if isinstance(s, KeepLink)]
    assert not [s for s in t5 if isinstance(s, BondRails)]
    export = plan_to_json(plan, make_ups(layout, network, plan))
    assert json.loads(json.dumps(export)) == export


NEED = FeedNeed("T1.F", ("T1.F",), "T1", "main", (((("T1", "left"),), "A"),), (), True, (), None, None, None)


def switch(**changes: object) -> BoardProfile:
    """The direct-pin board with its pairs made of something else."""
    p = profiles.profile("direct-relay")
    twin = p.switch_types["twin"].model_copy(update=changes)
    return p.model_copy(update={"switch_types": {**p.switch_types, "twin": twin}})


def pair_of(p: BoardProfile) -> FeedChannel:
    return next(c for c in p.feed if c.name == "P1")


def test_a_single_mosfet_is_refused_on_track_that_reverses() -> None:
    profile = switch(made_of="mosfet", blocks_both_ways=False)
    for control in ("dc", "dcc"):
        outcome = suits(replace(NEED, control=control), profile, pair_of(profile), {})
        assert isinstance(outcome, Unsuited)
        assert outcome.code == "plan-one-way-switch"
        assert "body diode" in outcome.why


def test_parts_on_the_boards_ground_serve_one_district_within_their_range() -> None:
    narrow = switch(made_of="mosfet", isolated=False, common_mode_v=(0.0, 26.0))
    assert isinstance(suits(NEED, narrow, pair_of(narrow), {}), Unsuited)
    assert isinstance(suits(replace(NEED, control="dcc", volts=15.0), narrow, pair_of(narrow), {}), Suited)
    wide = switch(made_of="mosfet", isolated=False, common_mode_v=(-30.0, 30.0))
    assert isinstance(suits(NEED, wide, pair_of(wide), {}), Suited)
    sites = [BoardSite("B1", wide, None, None, False)]
    drives = [DriveNeed(n, ("left", "right"), False, (), None, None) for n in ("T1", "T2")]
    feeds = [
        replace(NEED, output=f"{d.name}.F", drives=(d.name,), district=k, kind="pair")
        for d, k in zip(drives, ("main", "yard"), strict=True)
    ]
    link = Linkage((1400, 1600), 10.0, 10.0, 1.0, 2.0, 0.5, 0.3)
    moving = {d.name: Moving(d.settings, link, Motion(1000.0, 120.0)) for d in drives}
    assert solve(build(sites, drives, feeds, moving, {}, {}, {}).problem) is None
    same = [replace(f, district="main") for f in feeds]
    assert solve(build(sites, drives, same, moving, {}, {}, {}).problem) is not None


def test_unbonded_blades_thrown_by_hand_want_an_output_with_an_off() -> None:
    profile = switch(kind="latching")
    feed = replace(NEED, drives=("T1",), bonded=False)
    outcome = suits(feed, profile, pair_of(profile), {})
    assert isinstance(outcome, Unsuited)
    assert outcome.code == "plan-hand-no-off"
    assert "thrown by hand" in outcome.what
    # The firmware says the same of a document, and neither minds bonded blades, or an output with an off.
    assert isinstance(suits(replace(feed, bonded=True), profile, pair_of(profile), {}), Suited)
    assert isinstance(suits(feed, switch(), pair_of(switch()), {}), Suited)


def test_an_averaging_sensor_is_blind_on_dcc() -> None:
    kind = profiles.profile("expander").sensor_types["bridge"]
    average = kind.model_copy(update={"measures": "average"})
    assert senses(kind, replace(NEED, control="dcc"))
    assert not senses(average, replace(NEED, control="dcc"))
    assert senses(average, NEED)


def test_what_is_left_over_is_named() -> None:
    (found,) = refusal(row(9, board("B1", "direct-relay"), piece='make = "insulated-frog"'))
    assert "without" in found.why
    assert found.why.count("T") == 1


def test_a_slip_has_its_own_drives_and_follows_its_neighbours() -> None:
    (folder,) = frogfeed.demo.__path__
    layout = read_layout(Path(folder) / "herring-quay-yard.toml")
    network = assemble(layout)
    by_name = {m.name: m for m in make_ups(layout, network)}
    assert by_name["X2"].drives == ("X2-a", "X2-b")
    assert by_name["X2"].follows == ("T23", "T28", "X1-a")
    assert by_name["T1"].drives == ("west-crossover",)
    assert by_name["T1"].follows == ()
    # A diamond that nothing throws: its selector is its own, all else it follows.
    assert by_name["D1"].drives == ("D1-way",)
    assert {"T33", "T34"} <= set(by_name["D1"].follows)
