"""Districts in a chain, sections too short, droppers beside what is not built, kinds that make no sense."""

from __future__ import annotations

import pytest

from frogfeed.track.assembly.assemble import assemble
from frogfeed.track.pieces.catalogue import BadKindError, read_kinds
from frogfeed.track.propose.proposal import propose
from tests.track.make import layout, stops, worth_knowing

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


BORDER = PLAIN + '[district.main]\nin_phase = ["yard"]\n[district.yard]\n'


def test_frogs_take_the_bus_of_the_district_that_their_rails_conduct_to() -> None:
    """Joiners in one rail, at frogs, part no districts; those in both rails at the border do, however near it is."""
    body = '[slip.X]\nstate = "isolated-frog"\n' + stops("p1", "p2") + "[place.p3]\n[lines]\n"
    body += 'one = ["p1", { feed = "main", left = "A" }, "|", "X.a.left"]\n'
    body += 'two = ["p2", { feed = "yard", left = "B" }, "|left", "X.b.right"]\n'
    body += 'three = ["X.b.left", "|left", "p3", { feed = "yard", left = "A" }, "|left", "X.a.right"]\n'
    network = assemble(layout(body, BORDER))
    wires = {row.wire for s in network.switched for row in s.rows}
    wires |= {f.wire for f in network.feeds if f.rail.startswith("X.")}
    assert wires == {"yard.A", "yard.B"}


def test_a_piece_at_a_border_keeps_its_district_when_asked_again() -> None:
    body = '[slip.X]\n[place.p1]\nkind = "open"\ndistrict = "main"\n[place.p2]\nkind = "buffer"\ndistrict = "yard"\n'
    body += '[place.p3]\ndistrict = "yard"\n[lines]\n'
    body += 'one = ["p1", "X.a.left"]\ntwo = ["p2", "X.b.right"]\nthree = ["X.b.left", "p3", "X.a.right"]\n'
    first = propose(layout(body, BORDER))
    assert first.clean
    assert propose(first.layout).items == ()
