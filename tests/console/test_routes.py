"""Routes: the way, the throws and their order, and every reason to refuse."""

from __future__ import annotations

import itertools

import pytest

from frogfeed.console.railway import Railway
from frogfeed.console.refusals import RefusedError
from frogfeed.console.routes import Router, Standing
from frogfeed.layout.reading import read_layout_text
from frogfeed.track.assembly.assemble import assemble

HEAD = '[layout]\nname = "R"\ngauge = "OO"\ncontrol = "dc"\n[district.main]\nvolts = 12.0\n'


def standing(railway: Railway, **at: str | None) -> dict[str, Standing]:
    known = {d: s[0] for d, s in railway.network.drives.items()}
    return {d: Standing(at.get(d, known[d]), None, d in railway.hand) for d in known}


def test_a_route_throws_only_what_stands_against_it(railway: Railway) -> None:
    route = railway.router.find("harbour-stop", "wharf", standing(railway))
    assert dict(route.throws) == {"T2": "right", "crossover": "right"}
    assert [s.piece for s in route.steps] == ["harbour-stop", "T6", "T1", "platform", "T2", "T3", "T4", "T5", "wharf"]
    assert route.settings == {"T6": "left", "T1": "left", "T2": "right", "crossover": "right", "T5": "left"}


def test_the_way_with_the_fewest_throws_is_taken(railway: Railway) -> None:
    by_loop = railway.router.find("harbour-stop", "fiddle-1", standing(railway, T1="right", T2="left"))
    assert "loop" in [s.piece for s in by_loop.steps]
    assert not by_loop.throws


def test_every_pair_of_places_is_answered_and_every_route_can_be_run(railway: Railway) -> None:
    """Each step of a route is entered where the last one was left, its road set by the route's settings."""
    across = {j.a: j.b for j in railway.network.joints} | {j.b: j.a for j in railway.network.joints}
    roads = {r.name: r for r in railway.network.roads}
    found = refused = 0
    for a, b in itertools.permutations(railway.layout.file.place, 2):
        try:
            route = railway.router.find(a, b, {d: Standing(None) for d in railway.network.drives})
        except RefusedError as problem:
            refused += 1
            assert problem.why and problem.cure
            continue
        found += 1
        assert (route.steps[0].piece, route.steps[-1].piece) == (a, b)
        for here, there in itertools.pairwise(route.steps):
            assert across[(here.piece, here.leave)] == (there.piece, there.enter)
        for s in route.steps:
            road = roads[s.road]
            assert any(all(route.settings.get(d) == v for d, v in t) for t in road.when)
            assert {s.enter, s.leave} <= {road.start, road.end, ""}
    assert found > 30
    assert refused > 10


def test_trains_do_not_turn_back_on_the_way(railway: Railway) -> None:
    with pytest.raises(RefusedError, match="without turning back"):
        railway.router.find("platform", "loop", standing(railway))
    with pytest.raises(RefusedError, match="without turning back"):
        railway.router.find("fiddle-1", "fiddle-2", standing(railway))


def test_refuses_unknown_and_equal_places(railway: Railway) -> None:
    with pytest.raises(RefusedError, match="no place called nowhere"):
        railway.router.find("nowhere", "wharf", standing(railway))
    with pytest.raises(RefusedError, match="both ends"):
        railway.router.find("wharf", "wharf", standing(railway))


def test_a_turnout_thrown_by_hand_is_asked_for(railway: Railway) -> None:
    with pytest.raises(RefusedError) as e:
        railway.router.find("harbour-stop", "fiddle-2", standing(railway))
    assert "D7 to right" in e.value.cure


def test_a_running_throw_is_not_fouled(railway: Railway) -> None:
    at = standing(railway)
    at["crossover"] = Standing("left", "right")
    with pytest.raises(RefusedError, match="crossover is being thrown"):
        railway.router.find("harbour-stop", "wharf", at)
    around = railway.router.find("yard-stop", "platform", at)
    assert "crossover" not in around.settings


UNGAPPED = (
    HEAD
    + """
[turnout.T1]
state = "isolated-frog"
[turnout.T2]
state = "isolated-frog"
[turnout.T3]
make = "live-frog"
[place]
w = { kind = "buffer" }
n = { kind = "buffer" }
s = { kind = "buffer" }
t = { kind = "buffer" }
[lines]
one = ["w", { feed = "main", left = "A" }, "T1.toe", "T1.left", "|", { feed = "main", left = "A" }, "n"]
two = ["T1.right", "|", { feed = "main", left = "A" }, "T3.toe"]
three = ["T3.left", { feed = "main", left = "A" }, "s"]
four = ["T3.right", "|", "t"]
"""
)


def test_a_step_that_would_short_is_refused_with_its_path() -> None:
    """T3 is a live frog with a feed beyond its left leg and no gap there: set right, the far feed shorts through it."""
    text = UNGAPPED.replace('[turnout.T2]\nstate = "isolated-frog"\n', "")
    network = assemble(read_layout_text(text, "r.toml"))
    router = Router(network)
    at = {"T1": Standing("left"), "T3": Standing("left")}
    with pytest.raises(RefusedError) as e:
        router.check_throw("T3", "right", at)
    assert "main.A" in e.value.what and "main.B" in e.value.what
    router.check_throw("T1", "right", at)
    with pytest.raises(RefusedError, match=r"one drive at a time|short"):
        router.find("w", "t", at)
    assert router.find("w", "s", at).throws == (("T1", "right"),)


THREE_WAY = (
    HEAD
    + """
[three-way.W1]
state = "isolated-frog"
[place]
toe = { kind = "buffer" }
l = { kind = "buffer" }
m = { kind = "buffer" }
r = { kind = "buffer" }
[lines]
one = ["toe", { feed = "main", left = "A" }, "W1.toe", "W1.middle", "|", { feed = "main", left = "A" }, "m"]
two = ["W1.left", "|", { feed = "main", left = "A" }, "l"]
three = ["W1.right", "|", { feed = "main", left = "A" }, "r"]
"""
)


def test_throws_are_ordered_so_that_no_forbidden_setting_comes_up() -> None:
    network = assemble(read_layout_text(THREE_WAY, "w.toml"))
    router = Router(network)
    left, right = sorted(network.drives)
    at = {left: Standing("through"), right: Standing("right")}
    route = router.find("toe", "l", at)
    assert route.throws == ((right, "through"), (left, "left"))
    back = router.find("toe", "r", {left: Standing("left"), right: Standing("through")})
    assert back.throws == ((left, "through"), (right, "right"))
    with pytest.raises(RefusedError, match="no road"):
        router.check_throw(left, "left", at)


def test_an_unknown_place_counts_as_any_setting(railway: Railway) -> None:
    network = assemble(read_layout_text(THREE_WAY, "w.toml"))
    left, right = sorted(network.drives)
    route = Router(network).find("toe", "l", {left: Standing(None), right: Standing(None)})
    assert set(route.throws) == {(left, "left"), (right, "through")}
    assert route.throws[0] == (right, "through")


def test_sixty_turnouts_are_searched_quickly() -> None:
    import time

    lines = ['first = ["p0", { feed = "main", left = "A" }, "T1.toe"]']
    tables, places = [], ['p0 = { kind = "buffer" }']
    for n in range(1, 61):
        tables.append(f'[turnout.T{n}]\nstate = "isolated-frog"\n')
        after = f'"T{n + 1}.toe"' if n < 60 else '"end"'
        lines.append(f'a{n} = ["T{n}.left", "|", {{ feed = "main", left = "A" }}, {after}]')
        lines.append(f'b{n} = ["T{n}.right", "|", {{ feed = "main", left = "A" }}, "p{n}"]')
        places.append(f'p{n} = {{ kind = "buffer" }}')
    places.append('end = { kind = "buffer" }')
    text = HEAD + "".join(tables) + "[place]\n" + "\n".join(places) + "\n[lines]\n" + "\n".join(lines) + "\n"
    network = assemble(read_layout_text(text, "long.toml"))
    router = Router(network)
    _ = router.shorts, router.clashes
    began = time.perf_counter()
    route = router.find("p0", "p60", {d: Standing("left") for d in network.drives})
    assert time.perf_counter() - began < 1.0
    assert route.throws == (("T60", "right"),)
    with pytest.raises(RefusedError, match="60 throws"):
        router.find("p0", "end", {d: Standing("right") for d in network.drives})
