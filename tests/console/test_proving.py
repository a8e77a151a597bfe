"""What a proof expects of feeds, held against the tables that the boards themselves make of their settings."""

from __future__ import annotations

import json
from itertools import product

import pytest

from frogboard import settings as document
from frogboard.table import NAMES, UNKNOWN, build
from frogfeed.console.proving import feeds_wanted
from frogfeed.console.railway import Railway, railway_of
from frogfeed.demo.railway import demo_file
from frogfeed.layout.reading import read_layout, read_layout_text

SLIP_ON_A_SWITCH = """
[layout]
name = "Slip on a switch"
gauge = "OO"
control = "dcc"
[district.main]
volts = 16.0
[slip.X1]
state = "isolated-frog"
slip_road = "a.left-b.right"
selector = "way"
[drive.way]
kind = "hand"
[place]
west = { kind = "open" }
shed = { kind = "buffer" }
east = { kind = "open" }
dock = { kind = "buffer" }
[lines]
main = [
  "west", { feed = "main", left = "A" }, "|right", "X1.a.left", "X1.b.left",
  "|left", { feed = "main", left = "A" }, "east",
]
yard = [
  "shed", { feed = "main", left = "A" }, "|left", "X1.a.right", "X1.b.right",
  "|right", { feed = "main", left = "A" }, "dock",
]
"""


def railways() -> list[Railway]:
    return [railway_of(read_layout(demo_file())), railway_of(read_layout_text(SLIP_ON_A_SWITCH, "slip.toml"))]


@pytest.mark.parametrize("railway", railways(), ids=lambda r: r.layout.file.layout.name)
def test_a_feed_is_expected_as_its_board_switches_it_while_drives_are_unknown(railway: Railway) -> None:
    """Both ways of asking, at every setting of a feed's drives, each of them known or not."""
    network = railway.network
    asked = agreed_though_unknown = 0
    for sealed in railway.documents.values():
        settings, _ = document.load(sealed)
        assert settings is not None
        names = [d["name"] for d in settings["drives"]]
        for feed in settings["feeds"]:
            known = next(s for s in network.switched if s.output == feed["name"])
            drives = [names.index(d) for d in known.drives]
            answers = build(feed["table"], drives)
            for case in product(range(3), repeat=len(drives)):
                at = {d: network.drives[d][i] for d, i in zip(known.drives, case, strict=True) if i != UNKNOWN}
                expected = NAMES[answers[sum(i * 3**n for n, i in enumerate(case))]]
                assert feeds_wanted(railway, known.drives[0], at)[feed["name"]] == expected, json.dumps(at)
                asked += 1
                agreed_though_unknown += UNKNOWN in case and expected != "off"
    assert asked > 9
    assert agreed_though_unknown or railway.layout.file.slip == {}
