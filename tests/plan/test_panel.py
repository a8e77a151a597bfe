"""The panel in the plan: buttons, lamps and stored routes on the boards of their drives; feeds after a trip."""

from __future__ import annotations

import json
from dataclasses import replace
from itertools import product

import pytest

from frogboard import settings as document
from frogfeed.findings.finding import Finding, Severity
from frogfeed.layout.model import Layout
from frogfeed.layout.reading import read_layout_text
from frogfeed.parts import profile_rules, profiles
from frogfeed.parts.boards import BoardProfile
from frogfeed.plan import wired
from frogfeed.plan.fixed import pins_of
from frogfeed.plan.model import Plan, PlanRefusedError
from frogfeed.plan.planner import make_plan
from frogfeed.plan.settings import build_settings, hold_button
from frogfeed.track.assembly.assemble import assemble
from tests.own_panel import WHOLE_BOARD

from .make import board, row

UNBONDED = 'make = "live-frog"\nlinks = "in"\nblades = "contact"\nfrog = "switched"\nfrog_number = 6'
MOSTLY = 'make = "live-frog"\nstate = "isolated-frog"\nfrog_number = 6'


def planned(layout: Layout, previous: dict[str, tuple[str, str]] | None = None) -> Plan:
    return make_plan(layout, assemble(layout), previous)


def refusal(layout: Layout) -> list[Finding]:
    with pytest.raises(PlanRefusedError) as refused:
        planned(layout)
    return [f for f in refused.value.findings if f.severity is Severity.ERROR]


def documents(layout: Layout) -> dict[str, dict]:
    network = assemble(layout)
    made = build_settings(layout, make_plan(layout, network))
    found = {}
    for name, data in made.items():
        checked, reason = document.load(data)
        assert checked is not None, reason
        found[name] = checked
    return found


def line_of(layout: Layout, text: str) -> int:
    return layout.text[: layout.text.index(text)].count("\n") + 1


ONE_OF_EACH = (
    """
[route.in]
set = { T2 = "right", T1 = "left" }
[button.one]
drive = "T1"
[button.there]
drive = "T2"
to = "right"
[button.two]
pair = { T1 = "right", T2 = "left" }
[button.in]
route = "in"
[lamp.at]
drive = "T2"
setting = "right"
[lamp.in]
route = "in"
"""
    + WHOLE_BOARD
)


@pytest.mark.parametrize("profile", ["direct-relay", "expander"])
def test_every_kind_of_button_and_lamp_reaches_the_document_as_the_firmware_takes_it(profile: str) -> None:
    doc = documents(row(2, board("B1", profile), extra=ONE_OF_EACH))["B1"]
    names = [i["name"] for i in doc["inputs"]]
    buttons = {names[b["input"]]: (b["does"], b["moves"]) for b in doc["panel"]["buttons"]}
    assert buttons == {
        "button.one": ("toggle", [[0, 0]]),
        "button.there": ("set", [[1, 1]]),
        "button.two": ("toggle", [[0, 1], [1, 0]]),
        "button.in": ("set", [[1, 1], [0, 0]]),
        "button.off": ("all_off", []),
        "button.again": ("reset", []),
    }
    assert [d["name"] for d in doc["drives"]] == ["T1", "T2"]
    lamps = {lamp["name"]: (lamp["shows"], lamp["moves"], lamp["feed"]) for lamp in doc["panel"]["lamps"]}
    assert lamps == {
        "lamp.at": ("set", [[1, 1]], -1),
        "lamp.in": ("set", [[1, 1], [0, 0]], -1),
        "lamp.fault": ("fault", [], -1),
        "lamp.t2": ("fault", [], 1),
        "lamp.off": ("all_off", [], -1),
    }


def test_a_layout_without_a_panel_needs_no_panel_chip() -> None:
    assert not documents(row(2, board("B1", "expander")))["B1"]["panel"]["buttons"]
    plain, panel = (planned(row(2, board("B1", "expander"), extra=x)).board("B1") for x in ("", ONE_OF_EACH))
    assert [c.name for c in panel.chips] == [*(c.name for c in plain.chips), "X3"]
    assert documents(row(2, board("B1", "expander"), extra=ONE_OF_EACH))["B1"]["chips"][-1]["address"] == 0x22


def test_a_toggle_that_does_not_know_where_its_drive_is_throws_it_home() -> None:
    extra = '[button.one]\ndrive = "T1"\n[drive.T1]\nhome = "right"\n'
    assert documents(row(1, board("B1", "expander"), extra=extra))["B1"]["panel"]["buttons"][0]["moves"] == [[0, 1]]


def test_fixed_channels_are_kept_and_a_pin_is_used_once() -> None:
    kept = '"button.one" = "I4", "lamp.fault" = "L1"'
    channels = planned(row(2, board("B1", "direct-relay", channels=kept), extra=ONE_OF_EACH)).channels()
    assert channels["button.one"] == ("B1", "I4") and channels["lamp.fault"] == ("B1", "L1")
    pins = pins_of(profiles.profile("direct-relay"))
    used = [pin for thing, (_, channel) in channels.items() for pin in pins[channel]]
    assert len(used) == len(set(used))
    clash = refusal(row(2, board("B1", "direct-relay", channels='"button.one" = "I6", "lamp.fault" = "L1"'),
                        extra=ONE_OF_EACH))  # fmt: skip
    assert [f.code for f in clash] == ["plan-channel-twice"] and "GP21" in clash[0].what
    wrong = refusal(row(2, board("B1", "expander", channels='"lamp.fault" = "I1"'), extra=ONE_OF_EACH))
    assert [f.code for f in wrong] == ["plan-channel-fixed"] and "L9" in wrong[0].cure


def test_what_is_wired_stays_when_a_button_is_added() -> None:
    before = planned(row(2, board("B1", "expander"), extra=ONE_OF_EACH)).channels()
    more = '[button.early]\ndrive = "T2"\n' + ONE_OF_EACH + '[lamp.late]\ndrive = "T1"\nsetting = "left"\n'
    after = planned(row(2, board("B1", "expander"), extra=more), previous=dict(before)).channels()
    assert {t: after[t] for t in before} == dict(before)
    assert after["button.early"][1] not in {c for _, c in before.values()}


def test_a_held_input_makes_room_on_shared_pins_where_any_way_exists() -> None:
    profile = profiles.profile("solid-state")
    servos = [f"T{n}" for n in range(1, 8)]
    chosen = wired.choose(profile, servos, ["button.a"], ["lamp.a"], {"button.a": "I6"}, {"lamp.a": "L2"})
    assert chosen is not None
    pins = [p for c in chosen.values() for p in pins_of(profile)[c]]
    assert len(pins) == len(set(pins)) == 9
    assert chosen["lamp.a"] == "L1", "its old pin is wanted by a servo that has no other"
    assert wired.choose(profile, [*servos, "T8"], ["button.a"], [], {"button.a": "I6"}, {}) is None


def test_pins_of_two_uses_are_counted_once() -> None:
    servos_left = row(8, board("B1", "direct-relay"), piece='make = "insulated-frog"\nstate = "bonded"',
                      extra="".join(f'[button.b{n}]\ndrive = "T{n}"\n' for n in range(1, 8)))  # fmt: skip
    assert len(planned(servos_left).channels()) == 15
    one_lamp_more = replace_text(servos_left, '[lamp.x]\nshows = "fault"\n')
    (found,) = refusal(one_lamp_more)
    assert found.code == "plan-no-room"
    assert "8 servos, 7 inputs and 1 lamps" in found.what and "only be one of these" in found.what


def replace_text(layout: Layout, more: str) -> Layout:
    return read_layout_text(layout.text + more, layout.name)


def test_too_many_lamps_or_buttons_are_refused_with_the_limit() -> None:
    lamps = "".join(f'[lamp.l{n}]\nshows = "fault"\n' for n in range(10))
    (found,) = refusal(row(1, board("B1", "expander"), extra=lamps))
    assert found.code == "plan-no-room" and "10 lamps, and 9 lamp outputs on B1" in found.what
    buttons = "".join(f'[button.l{n}]\ndrive = "T1"\n' for n in range(17))
    (found,) = refusal(row(1, board("B1", "expander"), extra=buttons))
    assert "17 position contacts and buttons, and 16 inputs" in found.what and "fewer buttons" in found.cure


TWO = board("B1", "solid-state", 0) + board("B2", "solid-state", 4000)


def test_a_button_draws_its_drives_to_one_board() -> None:
    apart = planned(row(8, TWO)).channels()
    assert apart["T1"][0] != apart["T8"][0]
    together = planned(row(8, TWO, extra='[button.ends]\npair = { T1 = "left", T8 = "left" }\n')).channels()
    assert together["T1"][0] == together["T8"][0] == together["button.ends"][0]
    shown = planned(row(8, TWO, extra='[lamp.f]\nshows = "fault"\nfeed = "T8.F"\n')).channels()
    assert shown["lamp.f"][0] == shown["T8.F"][0] == apart["T8.F"][0]


def test_a_route_whose_drives_cannot_share_a_board_is_refused_at_its_button() -> None:
    seven = ", ".join(f'T{n} = "left"' for n in range(1, 8))
    layout = row(8, TWO, extra=f'[route.all]\nset = {{ {seven} }}\n[button.all]\nroute = "all"\n')
    (found,) = refusal(layout)
    assert (found.code, found.subject) == ("plan-panel-board", "button.all")
    assert found.where is not None and found.where.line == line_of(layout, "[button.all]")
    assert "T1, T2" in found.what and "its own drives only" in found.why
    held = board("B1", "expander", channels='T1 = "S1"') + board("B2", "expander", channels='T2 = "S1"')
    (found,) = refusal(row(2, held, extra='[button.x]\npair = { T1 = "left", T2 = "left" }\n'))
    assert (found.code, found.subject) == ("plan-panel-board", "button.x")


def test_what_acts_on_one_board_says_which_where_there_are_two() -> None:
    layout = row(2, TWO, extra='[button.off]\ndoes = "all-off"\n[lamp.f]\nshows = "fault"\n')
    found = refusal(layout)
    assert [(f.code, f.subject) for f in found] == [("plan-panel-board", "button.off"), ("plan-panel-board", "lamp.f")]
    assert 'board = "B1"' in found[0].cure
    named = row(
        2, TWO, extra='[button.off]\ndoes = "all-off"\nboard = "B2"\n[lamp.f]\nshows = "fault"\nfeed = "T1.F"\n'
    )
    assert planned(named).channels()["button.off"][0] == "B2"


def test_a_panel_button_on_the_hold_input_is_the_hold_button_too() -> None:
    doc = documents(
        row(1, board("B1", "solid-state", channels='"button.b" = "I2"'), extra='[button.b]\ndrive = "T1"\n')
    )
    assert doc["B1"]["inputs"][doc["B1"]["hold_input"]]["name"] == "button.b"
    plan = planned(row(1, board("B1", "solid-state"))).board("B1")
    assert hold_button(plan) == "hold"
    contact = '[drive.T1]\nkind = "hand"\n'
    by_hand = planned(row(1, board("B1", "solid-state", channels='"T1.left" = "I2"'), extra=contact)).board("B1")
    assert hold_button(by_hand) is None


def test_a_lamp_shows_a_hand_drive_and_no_button_throws_it() -> None:
    extra = '[drive.T1]\nkind = "hand"\n[lamp.l]\ndrive = "T1"\nsetting = "right"\n'
    doc = documents(row(1, board("B1", "expander"), extra=extra))["B1"]
    assert doc["drives"][0]["kind"] == "hand" and doc["panel"]["lamps"][0]["moves"] == [[0, 1]]


def test_a_drive_that_no_board_can_read_is_refused() -> None:
    three = 'make = "insulated-frog"\nstate = "bonded"\ndrive = { name = "D", left = "far", right = "middle" }'
    text = row(2, board("B1", "expander"), piece=three, extra='[drive.D]\nkind = "hand"\n').text
    text = text.replace('left = "far", right', 'left = "near", right', 1)
    text += '[lamp.l]\ndrive = "D"\nsetting = "far"\n'
    (found,) = refusal(read_layout_text(text, "row.toml"))
    assert (found.code, found.subject) == ("plan-panel-drive", "lamp.l") and "serves the drive D" in found.what


def test_a_lamp_of_a_feed_that_is_none_is_refused_with_the_nearest() -> None:
    (found,) = refusal(row(2, board("B1", "expander"), extra='[lamp.f]\nshows = "fault"\nfeed = "T2.VL"\n'))
    assert found.code == "plan-lamp-feed" and '"T2.F"' in found.cure


def test_a_stored_route_that_nothing_uses_is_noted() -> None:
    plan = planned(row(2, board("B1", "expander"), extra='[route.idle]\nset = { T1 = "left" }\n'))
    assert [(f.subject, f.severity) for f in plan.findings if f.code == "plan-route-unused"] == [
        ("route.idle", Severity.NOTE)
    ]
    used = planned(row(2, board("B1", "expander"), extra=ONE_OF_EACH))
    assert "plan-route-unused" not in {f.code for f in used.findings}


LOOP = """
[layout]
name = "Loop"
gauge = "OO"
control = "dc"
[district.main]
[turnout.W]
[turnout.E]
[turnout.S]
[three-way.Y]
[place]
west = { kind = "buffer" }
east = { kind = "buffer" }
up = { kind = "section" }
down = { kind = "section" }
side = { kind = "buffer" }
y1 = { kind = "buffer" }
y2 = { kind = "buffer" }
y3 = { kind = "buffer" }
[lines]
a = ["west", { feed = "main", left = "A" }, "W.toe", "W.left", "up", "E.right", "E.toe", "S.toe", "S.left", "east"]
b = ["W.right", "down", "E.left"]
c = ["S.right", "side"]
d = ["y1", "Y.toe"]
e = ["Y.left", "y2"]
f = ["Y.middle", "y3"]
g = ["Y.right", "y4"]
[place.y4]
kind = "buffer"
[board.B1]
profile = "expander"
"""


def loop(more: str) -> Layout:
    return read_layout_text(LOOP + more, "loop.toml")


def laid(more: str) -> tuple[tuple[str, str], ...]:
    (button,) = planned(loop(more + '[button.b]\nroute = "r"\n')).board("B1").buttons
    return button.need.moves


def test_a_route_from_place_to_place_is_worked_out_from_the_track() -> None:
    over = '[route.r]\nfrom = "west"\nto = "side"\nvia = ["down"]\n'
    assert laid(over) == (("W", "right"), ("E", "left"), ("S", "right"))
    back = '[route.r]\nfrom = "east"\nto = "up"\n'
    assert laid(back) == (("S", "left"), ("E", "right"))


def test_a_route_over_a_lever_is_to_list_the_drives_that_have_servos() -> None:
    route = '[route.r]\nfrom = "east"\nto = "up"\n[drive.E]\nkind = "hand"\n'
    (found,) = refusal(loop(route))
    assert (found.code, found.subject) == ("plan-route-way", "route.r")
    assert found.cure.startswith("List in set the drives that have a servo")
    assert laid('[route.r]\nset = { S = "right" }\n[drive.E]\nkind = "hand"\n') == (("S", "right"),)


def test_a_route_with_several_ways_or_none_is_refused_at_its_place() -> None:
    for more, words in (
        ('from = "west"\nto = "side"', "several ways lead from west to side: over up, or over down"),
        ('from = "up"\nto = "down"', "no train gets from up to down without turning round"),
        ('from = "west"\nto = "W"', "no drive sets from west to W"),
        ('from = "west"\nto = "y1"', "no train gets"),
    ):
        layout = loop(f"[route.r]\n{more}\n")
        (found,) = refusal(layout)
        assert (found.code, found.subject) == ("plan-route-way", "route.r"), found
        assert words.lower() in found.what.lower()
        assert found.where is not None and found.where.line == line_of(layout, "[route.r]")


def test_a_forbidden_pair_is_refused_both_ways_it_throws() -> None:
    both = {"Y-left": "left", "Y-right": "right"}
    network = assemble(loop(""))
    assert len(network.forbidden) == 1 and dict(network.forbidden[0]) == both
    route = '[route.r]\nset = { Y-left = "left", Y-right = "right" }\n'
    assert [(f.code, f.subject) for f in refusal(loop(route))] == [("plan-panel-forbidden", "route.r")]
    other = {d: next(s for s in network.drives[d] if s != both[d]) for d in both}
    back = f'[button.b]\npair = {{ Y-left = "{other["Y-left"]}", Y-right = "{other["Y-right"]}" }}\n'
    assert [(f.code, f.subject) for f in refusal(loop(back))] == [("plan-panel-forbidden", "button.b")]
    fine = '[button.b]\npair = { Y-left = "left", Y-right = "through" }\n'
    assert planned(loop(fine)).board("B1").buttons


# ---- after a trip


def after(layout: Layout) -> dict[str, tuple[bool, int, int]]:
    docs = documents(layout)
    return {f["name"]: (f["try_other"], f["retries"], f["retry_ms"]) for d in docs.values() for f in d["feeds"]}


def test_what_feeds_do_after_a_trip_is_the_districts_word_or_the_pieces_own() -> None:
    trip = 'on_trip = "retry"\nretries = 4\nretry_ms = 900'
    layout = row(2, board("B1", "expander"))
    assert after(layout) == {"T1.F": (False, 2, 2000), "T2.F": (False, 2, 2000)}
    text = layout.text.replace("[district.main]", f"[district.main]\n{trip}")
    assert set(after(read_layout_text(text, "row.toml")).values()) == {(False, 4, 900)}
    text = text.replace("[turnout.T2]", '[turnout.T2]\non_trip = "latch"')
    assert after(read_layout_text(text, "row.toml")) == {"T1.F": (False, 4, 900), "T2.F": (False, 0, 2000)}
    text = text.replace('"latch"', '"try-other"\nretries = 1')
    assert after(read_layout_text(text, "row.toml"))["T2.F"] == (True, 1, 900)


def test_unbonded_blades_never_try_the_other_wire() -> None:
    layout = row(2, board("B1", "expander"), piece=UNBONDED + '\non_trip = "try-other"')
    found = refusal(layout)
    assert [(f.code, f.subject) for f in found] == [("plan-try-other", "T1.F"), ("plan-try-other", "T2.F")]
    assert found[0].where is not None and found[0].where.line == line_of(layout, "on_trip")
    assert "through that blade" in found[0].why and "isolated-frog" in found[0].cure
    by_district = layout.text.replace('\non_trip = "try-other"', "").replace(
        "[district.main]", '[district.main]\non_trip = "try-other"'
    )
    found = refusal(read_layout_text(by_district, "row.toml"))
    assert len(found) == 2 and found[0].where is not None
    assert found[0].where.line == by_district[: by_district.index("on_trip")].count("\n") + 1


@pytest.mark.parametrize(("links", "blades"), [*product(("in", "removed"), ("contact", "bonded"))])
def test_only_bonded_blades_with_the_links_out_may_flip(links: str, blades: str) -> None:
    piece = f'make = "live-frog"\nlinks = "{links}"\nblades = "{blades}"\nfrog = "switched"\non_trip = "try-other"'
    layout = row(1, board("B1", "expander"), piece=piece)
    network = assemble(layout)
    bonded = all(s.bonded_blades for s in network.switched)
    try:
        plan = make_plan(layout, network)
    except PlanRefusedError as refused:
        assert not bonded and "plan-try-other" in [f.code for f in refused.findings]
    else:
        assert bonded and plan.board("B1").feeds[0].need.after_trip.try_other


def test_a_bare_changeover_is_never_tried_again() -> None:
    for word in ("retry", "try-other"):
        piece = MOSTLY + f'\noutput = "changeover"\non_trip = "{word}"'
        (found,) = refusal(row(1, board("B1", "direct-relay"), piece=piece))
        assert found.code == "plan-trip-no-off" and "latch" in found.cure
        paired = MOSTLY + f'\non_trip = "{word}"'
        many = row(4, board("B1", "direct-relay"), piece=paired)
        assert {b.channel.type for b in planned(many).board("B1").feeds} == {"twin"}
        assert refusal(row(5, board("B1", "direct-relay"), piece=paired))
    latch = MOSTLY + '\noutput = "changeover"\non_trip = "latch"'
    assert after(row(1, board("B1", "direct-relay"), piece=latch)) == {"T1.F": (False, 0, 2000)}


def test_what_nothing_watches_is_told_to_have_no_effect() -> None:
    layout = row(4, board("B1", "direct-relay"), piece=MOSTLY + '\non_trip = "retry"')
    notes = [f for f in planned(layout).findings if f.code == "plan-trip-unwatched"]
    assert [f.subject for f in notes] == [
        f.need.output for f in planned(layout).board("B1").feeds if f.sensor is None and f.trip is None
    ]
    assert notes


def test_profiles_without_a_resistor_or_with_too_many_lamps_are_refused() -> None:
    profile = profiles.profile("expander")
    data = json.loads(profile.model_dump_json())
    for changed, words in (
        ({"lamps": None}, "not stated"),
        ({"lamps": {**data["lamps"], "pin_a": {**data["lamps"]["pin_a"], "value": 0.0005}}}, "more than a pin gives"),
        ({"lamps": {**data["lamps"], "all_a": {**data["lamps"]["all_a"], "value": 0.005}}}, "all pins together"),
    ):
        (problem,) = profile_rules.problems(BoardProfile(**{**data, **changed}))
        assert words in problem
    twice = [*data["lamp"], {"name": "L10", "pin": data["lamp"][0]["pin"]}]
    assert any("claimed twice" in p for p in profile_rules.problems(BoardProfile(**{**data, "lamp": twice})))
    taken = [*data["lamp"], {"name": "L10", "pin": {"pin": 13}}]
    assert any("trip K1" in p for p in profile_rules.problems(BoardProfile(**{**data, "lamp": taken})))


def test_the_plan_keeps_the_order_of_the_file() -> None:
    plan = planned(row(2, board("B1", "expander"), extra=ONE_OF_EACH)).board("B1")
    assert [b.need.name for b in plan.buttons] == [f"button.{n}" for n in ("one", "there", "two", "in", "off", "again")]
    assert replace(plan, buttons=(), lamps=()).chips == planned(row(2, board("B1", "expander"))).board("B1").chips
