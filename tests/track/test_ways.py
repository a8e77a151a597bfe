"""Ways from place to place: a train that sets off with the drives as a way says comes to its goal."""

from __future__ import annotations

from itertools import permutations

import pytest

from frogfeed.bench.route import walk
from frogfeed.demo.railway import demo_file
from frogfeed.layout.reading import read_layout
from frogfeed.track.assembly.assemble import assemble
from frogfeed.track.network.conditions import holds
from frogfeed.track.network.model import RailNetwork
from frogfeed.track.routes import ways

SHIPPED = ("saltmarsh-quay.toml", "herring-quay-yard.toml", "lone-turnout.toml")


def network_of(name: str) -> RailNetwork:
    return assemble(read_layout(demo_file(name)))


def driven(network: RailNetwork, way: ways.Way, settings: dict[str, str]) -> bool:
    """Whether a train that leaves the start by one of its ends runs over all of the way, in its order."""
    ends = {j.a for j in network.joints} | {j.b for j in network.joints}
    runs = [[road.partition(":")[0] for road in walk(network, end, settings)] for end in ends if end[0] == way.over[0]]
    return any(tuple(run[i:][: len(way.over) - 1]) == way.over[1:] for run in runs for i in (0, 1))


@pytest.mark.parametrize("name", SHIPPED)
def test_a_train_follows_every_way_to_its_goal(name: str) -> None:
    network = network_of(name)
    places = sorted({r.piece for r in network.roads} - {p for p, e in network.pieces.items() if len(e.ends) > 2})
    tried = 0
    for start, goal in permutations(places, 2):
        for way in ways.shortest_ways(network, start, goal):
            assert (way.over[0], way.over[-1]) == (start, goal) and len(set(way.over)) == len(way.over)
            settings = dict(way.settings)
            assert not holds(network.forbidden, settings)
            assert driven(network, way, settings), way
            for drive, setting in settings.items() if name != "herring-quay-yard.toml" else ():
                # A diamond's road also wants the turnouts of the other track set away, which no train notices.
                other = next(s for s in network.drives[drive] if s != setting)
                assert not driven(network, way, {**settings, drive: other}), "no drive is set for nothing"
            tried += 1
    assert tried >= 2


def test_a_way_is_the_same_backwards() -> None:
    network = network_of("saltmarsh-quay.toml")
    (there,) = ways.shortest_ways(network, "platform", "wharf")
    (back,) = ways.shortest_ways(network, "wharf", "platform")
    assert back.over == tuple(reversed(there.over)) and back.settings == tuple(reversed(there.settings))
    assert there.settings == (("T2", "right"), ("crossover", "right"), ("T5", "left"))


def test_via_leads_over_what_it_names() -> None:
    network = network_of("saltmarsh-quay.toml")
    assert len(ways.shortest_ways(network, "harbour-stop", "main-east")) == 2
    (way,) = ways.shortest_ways(network, "harbour-stop", "main-east", ("loop",))
    assert "loop" in way.over and dict(way.settings)["T1"] == "right"
    assert ways.shortest_ways(network, "harbour-stop", "main-east", ("loop", "platform")) == ()


def test_a_search_that_is_cut_off_says_so(monkeypatch: pytest.MonkeyPatch) -> None:
    network = network_of("herring-quay-yard.toml")
    monkeypatch.setattr(ways, "MOST_STEPS", 3)
    places = sorted({r.piece for r in network.roads})
    with pytest.raises(ways.TooManyWaysError):
        for start, goal in permutations(places, 2):
            ways.shortest_ways(network, start, goal)
