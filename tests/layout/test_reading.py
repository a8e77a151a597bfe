"""What a good file is read as: tables with their defaults, typed lines, drives, places in the text."""

from __future__ import annotations

from pathlib import Path

import pytest

from frogfeed.findings.finding import Location
from frogfeed.layout.lines import EndItem, FeedItem, GapItem, JoinerItem, LengthItem, PlaceItem
from frogfeed.layout.reading import BadLayout, read_layout, read_layout_text
from frogfeed.layout.schema import Blades, FrogFeed, Hand, Links, Side

GOOD = """\
[layout]
name = "Jetty"
gauge = "OO"
control = "dcc"

[district.main]
trip_a = 3

[turnout.T1]
state = "isolated-frog"
links = "in"

[place.stop]
kind = "buffer"
[place.quay]
kind = "buffer"
[place.shed]
kind = "open"

[lines]
main = ["stop", "T1.toe", "T1.left", "quay"]
branch = ["T1.right", "shed"]
"""


def lines(text: str) -> str:
    return GOOD[: GOOD.index("[lines]")] + "[lines]\n" + text


def codes(text: str) -> list[str]:
    with pytest.raises(BadLayout) as caught:
        read_layout_text(text, "x.toml")
    return [f.code for f in caught.value.findings]


def test_defaults_and_facts() -> None:
    layout = read_layout_text(GOOD, "x.toml")
    piece = layout.file.turnout["T1"]
    assert piece.facts == (Links.IN, Blades.BONDED, FrogFeed.SWITCHED)
    assert layout.file.district["main"].trip_a == 3
    assert layout.file.district["main"].bus_wire == "1.5"
    assert layout.file.layout.dropper_wire == "0.5"
    assert layout.name == "x.toml"
    assert layout.text == GOOD


def test_every_kind_of_item() -> None:
    text = lines(
        'main = ["stop", {mm = 900}, "|", "T1.toe", "T1.left", {joiner="untrusted", rail="left"}, '
        '{feed="main", left="B", rail="right", wire="0.75", mm=250}, {gap = "right"}, "quay"]\n'
        'branch = ["T1.right", "|left", {feed="main", left="A"}, "shed", {feed="main", left="A"}]\n'
    )
    layout = read_layout_text(text, "x.toml")
    row = text.split("\n").index("[lines]") + 2
    main = text.split("\n")[row - 1]

    def at(piece: str) -> Location:
        return Location("x.toml", row, main.index(piece) + 1)

    both = (Hand.LEFT, Hand.RIGHT)
    assert layout.lines["main"] == (
        PlaceItem("stop", at('"stop"')),
        LengthItem(900, at("{mm")),
        GapItem(both, at('"|"')),
        EndItem("T1", "toe", at('"T1.toe"')),
        EndItem("T1", "left", at('"T1.left"')),
        JoinerItem((Hand.LEFT,), at("{joiner")),
        FeedItem("main", Side.B, (Hand.RIGHT,), "0.75", 250, at("{feed")),
        GapItem((Hand.RIGHT,), at("{gap")),
        PlaceItem("quay", at('"quay"')),
    )
    branch = layout.lines["branch"]
    assert isinstance(branch[1], GapItem) and branch[1].hands == (Hand.LEFT,)
    assert isinstance(branch[-1], FeedItem) and branch[-1].hands == both


def test_locations_count_characters_not_bytes() -> None:
    text = GOOD.replace('"Jetty"', '"Jütté"  # ✂').replace('branch = ["T1', 'branch = [ # é\n  "T1')
    layout = read_layout_text(text, "x.toml")
    item = layout.lines["branch"][1]
    assert (item.at.line, item.at.column) == (23, 15)
    assert layout.at("turnout", "T1", "links") == Location("x.toml", 11, 9)
    assert layout.at("turnout", "T1", "drive") == Location("x.toml", 9, 10)
    assert layout.at("nowhere") is None


@pytest.mark.parametrize("change", [lambda t: "\ufeff" + t, lambda t: t.replace("\n", "\r\n")], ids=["bom", "crlf"])
def test_what_editors_add_does_not_matter(change, tmp_path: Path) -> None:
    path = tmp_path / "x.toml"
    path.write_bytes(change(GOOD).encode("utf-8"))
    layout = read_layout(path)
    plain = read_layout_text(GOOD, str(path))
    assert layout.lines == plain.lines
    assert layout.file == plain.file
    assert layout.hash != plain.hash


def test_the_hash_is_of_the_bytes(tmp_path: Path) -> None:
    import hashlib

    path = tmp_path / "x.toml"
    path.write_text(GOOD, encoding="utf-8")
    assert read_layout(path).hash == hashlib.sha256(path.read_bytes()).hexdigest()[:16]


def test_an_oval_uses_both_ends_of_a_section_in_one_line() -> None:
    text = lines('main = ["ring", "T1.toe", "T1.left", "ring"]\nbranch = ["T1.right", "shed"]\n')
    text = text.replace('[place.stop]\nkind = "buffer"\n[place.quay]\nkind = "buffer"\n', "[place.ring]\n")
    assert len(read_layout_text(text, "x.toml").lines["main"]) == 4


def test_a_section_may_end_two_lines() -> None:
    text = GOOD.replace("[place.quay]\nkind", "[place.pier]\n[place.quay]\nkind").replace(
        '"quay"]', '"pier"]\nout = ["pier", "quay"]'
    )
    assert set(read_layout_text(text, "x.toml").lines) == {"main", "out", "branch"}


def test_an_unfinished_piece_may_be_left_out_or_half_joined() -> None:
    unbuilt = GOOD.replace("[place.stop]", "[turnout.T2]\nbuilt = false\n\n[place.stop]")
    read_layout_text(unbuilt, "x.toml")
    read_layout_text(unbuilt.replace('"T1.left", "quay"]', '"T1.left", "T2.toe", "T2.left", "quay"]'), "x.toml")
    built = unbuilt.replace("built = false", "built = true")
    assert codes(built) == ["file-end-unjoined"]


def test_slips_and_diamonds_have_ends_with_two_words() -> None:
    text = GOOD.replace(
        "[place.stop]", "[slip.X]\n[place.p]\nkind='open'\n[place.q]\nkind='open'\n[place.stop]"
    ).replace("branch = ", 'one = ["p", "X.a.left", "X.b.right", "q"]\ntwo = ["X.a.right", "shed"]\nbranch = ')
    text = text.replace('["T1.right", "shed"]', '["T1.right", "X.b.left"]')
    layout = read_layout_text(text, "x.toml")
    assert layout.lines["one"][1] == EndItem("X", "a.left", layout.lines["one"][1].at)


def test_kinds_of_ones_own_come_from_a_file_beside_the_layout(tmp_path: Path) -> None:
    own = Path(__file__).parent / "bad" / "own-kinds" / "live-only.kind"
    (tmp_path / "mine.toml").write_text(own.read_text())
    text = GOOD.replace('control = "dcc"', 'control = "dcc"\ncatalogue = ["mine.toml"]')
    text = text.replace("[turnout.T1]", '[turnout.T1]\nkind = "live-only"')
    path = tmp_path / "x.toml"
    path.write_text(text)
    layout = read_layout(path)
    assert layout.kinds["live-only"].ends == ("toe", "left", "right")
    assert "turnout" in layout.kinds


def test_a_kind_reader_may_refuse_with_its_own_reason(tmp_path: Path) -> None:
    def refuse(path: Path) -> dict[str, object]:
        raise ValueError("road toe to left: no such drive")

    text = GOOD.replace('control = "dcc"', 'control = "dcc"\ncatalogue = ["mine.toml"]')
    with pytest.raises(BadLayout) as caught:
        read_layout_text(text, "x.toml", read_kinds=refuse)  # type: ignore[arg-type]
    assert "no such drive" in caught.value.findings[0].what


@pytest.mark.parametrize(
    ("old", "new", "code"),
    [
        ("[turnout.T1]", "[turnouts.T1]", "file-unknown-key"),
        ("[lines]", "[line]", "file-unknown-key"),
        ("[district.main]", "[districts.main]", "file-unknown-key"),
        ("[place.quay]", "[place.quai]", None),
        ('"T1.toe"', '"T1.tow"', "file-unknown-end"),
        ('"T1.toe"', '"T11.toe"', "file-unknown-piece"),
        ('["T1.right", "shed"]', '"T1.right, shed"', "file-wrong-type"),
        ('state = "isolated-frog"', "kind = 7", "file-wrong-type"),
        ('state = "isolated-frog"', 'kind = "tunrout"', "file-unknown-kind"),
        ('kind = "open"', 'kind = "opne"', "file-bad-choice"),
        ('name = "Jetty"\n', "", "file-missing-key"),
        ("[district.main]\ntrip_a = 3\n", "[district]\n", "file-missing-key"),
        ("trip_a = 3", 'in_phase = ["main"]', "file-unknown-district"),
        ("[turnout.T1]", "[three_way.W]\n[turnout.T1]", "file-unknown-key"),
        ('"shed"]', "12]", "file-line-item"),
    ],
)
def test_one_mistake_is_answered_once(old: str, new: str, code: str | None) -> None:
    assert old in GOOD
    found = codes(GOOD.replace(old, new))
    if code is None:
        assert sorted(found) == ["file-place-unused", "file-unknown-place"] or found == ["file-unknown-place"]
    else:
        assert [c for c in found if c != "file-place-unused"] == [code]


def test_mistakes_in_different_tables_are_all_found() -> None:
    text = (
        GOOD.replace('"OO"', '"OOO"')
        .replace("trip_a = 3", 'trip_a = "3 A"')
        .replace('"T1.toe"', '"T1.tow"')
        .replace('kind = "open"', 'knd = "open"')
        .replace("links = ", "likns = ")
    )
    assert codes(text) == [
        "file-unknown-gauge",
        "file-wrong-type",
        "file-unknown-key",
        "file-unknown-key",
        "file-unknown-end",
    ]


def test_drives_shared_with_a_mapping_read_well() -> None:
    text = GOOD.replace(
        "[place.stop]",
        '[turnout.T2]\ndrive = { name = "T1", left = "right", right = "left" }\n'
        '[place.a]\nkind="open"\n[place.b]\nkind="open"\n[place.c]\nkind="open"\n'
        '[drive.T1]\nhome = "left"\npulse_us = { left = 1300, right = 1700 }\n\n[place.stop]',
    ).replace("branch =", 'more = ["a", "T2.toe", "T2.left", "b"]\nrest = ["T2.right", "c"]\nbranch =')
    assert read_layout_text(text, "x.toml").file.drive["T1"].home == "left"
