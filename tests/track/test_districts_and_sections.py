"""Districts in a chain, sections too short, droppers beside what is not built, kinds that make no sense."""

from __future__ import annotations

import pytest

from frogfeed.track.pieces.catalogue import BadKindError, read_kinds
from tests.track.make import worth_knowing

PLAIN = '[layout]\nname = "x"\ngauge = "OO"\ncontrol = "dcc"\n'


def chain(link: str) -> str:
    """Three districts, each joined to the next; the two rails of the middle track come from the outer ones."""
    districts = f'[district.d1]\n{link} = ["d2"]\n[district.d2]\n{link} = ["d3"]\n[district.d3]\n'
    one = '{ feed = "d1", left = "A", rail = "left" }'
    other = '{ feed = "d3", left = "A", rail = "right" }'
    return (
        f'{districts}[place.p]\nkind = "buffer"\n[place.q]\nkind = "buffer"\n[lines]\nl = ["p", {one}, {other}, "q"]\n'
    )


def test_a_chain_of_districts_is_one_for_circuits_as_it_is_for_shorts() -> None:
    assert worth_knowing(chain("in_phase"), PLAIN) == set()
    assert worth_knowing(chain("common_with"), PLAIN) == set()
    assert worth_knowing(chain("in_phase").replace('in_phase = ["d3"]\n', ""), PLAIN) == {"no-common"}


LOOP = (
    '[district.main]\n[turnout.T]\nstate = "isolated-frog"\n[place.a]\nkind = "buffer"\n'
    '[place.r]\nfeed = "switched"\nlength_mm = {length}\n[lines]\n'
    'a = ["a", {{ feed = "main", left = "A" }}, "T.toe"]\nr = ["T.left", "|", "r", "|", "T.right"]\n'
)


@pytest.mark.parametrize(("length", "found"), [(100, {"section-short"}), (1200, set())])
def test_a_reversing_section_holds_the_longest_vehicle(length: int, found: set[str]) -> None:
    head = PLAIN + "longest_conducting_vehicle_mm = 900\n"
    assert worth_knowing(LOOP.format(length=length), head) == found


def test_a_dropper_beside_a_piece_that_is_not_built_feeds_what_is() -> None:
    text = (
        '[district.main]\n[turnout.T1]\nbuilt = false\n[place.s]\nkind = "buffer"\n[place.a]\nkind = "buffer"\n'
        '[place.b]\nkind = "buffer"\n[lines]\ns = ["T1.left", { feed = "main", left = "A" }, "s"]\n'
        'a = ["a", { feed = "main", left = "A" }, "T1.toe"]\nb = ["T1.right", { feed = "main", left = "A" }, "b"]\n'
    )
    assert worth_knowing(text, PLAIN) == set()


KIND = (
    'name = "k"\ntitle = "k"\n[[road]]\nfrom = "x"\nto = "y"\nleft = "{left}"\nright = "R"\n{more}\n[make.live-frog]\n'
)


@pytest.mark.parametrize(
    ("left", "more", "word"),
    [
        ("", "", "without any rail"),
        ("L", '[[frog]]\nname = "F"\nrails = ""', "no rails"),
        ("L", '[[frog]]\nname = "F"\nrails = "L"\nvee = "L QQ"', "QQ"),
        ("L", '[[frog]]\nname = "F"\nrails = "L"\nvee = "L"', "two rails"),
        ("L", '[[forbidden]]\ndrive = "left"', "no setting"),
        (">L", "", "no rail before"),
    ],
)
def test_a_kind_that_makes_no_sense_is_refused_in_words(left: str, more: str, word: str) -> None:
    with pytest.raises(BadKindError, match=word):
        read_kinds(KIND.format(left=left, more=more), "k.toml")
