"""Profiles: the shipped ones hold together, and a bad one says all that is wrong with it."""

from __future__ import annotations

from itertools import pairwise
from pathlib import Path

import pytest

from frogfeed import shipped
from frogfeed.parts import colours, gauges, profiles, rails, wires
from frogfeed.parts.boards import Rated
from frogfeed.parts.values import Confidence


def test_every_shipped_profile_holds_together_and_names_its_sources() -> None:
    assert len(profiles.names()) >= 3
    for name in profiles.names():
        p = profiles.profile(name)
        rated = [v for t in p.switch_types.values() for v in vars(t).values() if isinstance(v, Rated)]
        assert rated
        assert all(len(v.source) > 8 for v in rated)
        for channel in p.feed:
            assert p.switch(channel).blocks_both_ways
            assert channel.resources


def write(folder: Path, name: str, change: tuple[str, str]) -> Path:
    text = (Path(shipped.boards_dir()) / "expander.toml").read_text(encoding="utf-8")
    assert change[0] in text
    path = folder / f"{name}.toml"
    path.write_text(text.replace(*change), encoding="utf-8")
    return path


@pytest.mark.parametrize(
    ("change", "said"),
    [
        (("pin = { pin = 9 }", "pin = { pin = 10 }"), "GP10 is claimed by"),
        (('oe_pin = 6, held_off = "10 kΩ from OE to 3.3 V"', "oe_pin = 6"), "holds outputs off"),
        (('type = "bridge", chip = "SENSE1"', 'type = "brigde", chip = "SENSE1"'), "no type brigde"),
        (("interlocked = false", "interlokked = false"), "interlokked"),
        (('name = "S2"', 'name = "S1"'), "two channels are called S1"),
        (("address = 0x21", "address = 0x20"), "two chips at 0x20"),
        (('type = "bridge", chip = "SENSE1"', 'type = "bridge", chip = "SENSE9"'), "sensor C1: needs an analogue pin"),
        (('type = "bridge", chip = "SENSE1"', 'type = "bridge", chip = "X1"'), "sensor C1: needs an analogue pin"),
        (('type = "bridge", chip = "SENSE1"', 'type = "bridge"'), "sensor C1: needs an analogue pin"),
        (("pin = { pin = 9 }", 'pin = { pin = 9, chip = "X9" }'), "X9.9: no expander X9"),
        (("pin = { pin = 9 }", 'pin = { pin = 22, chip = "X1" }'), "X1.22: an expander has pins 0 to 15"),
        (('name = "K1"', 'name = "E1"'), "two channels are called E1"),
    ],
)
def test_a_bad_profile_says_what_is_wrong(tmp_path: Path, change: tuple[str, str], said: str) -> None:
    with pytest.raises(profiles.ProfileError, match=said):
        profiles.read_profile(write(tmp_path, "bad", change))


def test_an_unknown_profile_names_those_there_are() -> None:
    with pytest.raises(profiles.ProfileError, match="expander"):
        profiles.profile("nonesuch")


def test_names_find_their_things() -> None:
    assert all(gauges.gauge(n).name == n for n in gauges.NAMES)
    assert all(wires.wire(n).name == n for n in wires.NAMES)
    assert all(colours.colour(n).name == n for n in colours.NAMES)
    assert len({c.code for c in colours.COLOURS}) == len(colours.COLOURS)
    assert rails.rail(100).head_mm.value == pytest.approx(1.143)
    assert rails.rail(99).code == 100


def test_thicker_wire_carries_more_and_resists_less() -> None:
    by_area = sorted(wires.METRIC, key=lambda w: w.area_mm2)
    for thin, thick in pairwise(by_area):
        assert thin.ohm_per_m.value > thick.ohm_per_m.value
        assert thin.ampacity_a.value < thick.ampacity_a.value


def test_what_was_not_read_is_never_firm() -> None:
    assert gauges.gauge("N").blade_gap.confidence is Confidence.INFERRED
    assert gauges.gauge("HO").blade_gap.confidence is Confidence.CALC
    assert not rails.rail(100).ohm_per_m.confidence.firm
