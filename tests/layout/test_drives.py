"""Which drive throws what, and the settings each drive has."""

from __future__ import annotations

from frogfeed.layout.drives import drive_settings, drive_uses
from frogfeed.layout.ends import built_in_shapes, kind_name
from frogfeed.layout.schema import LayoutFile


def file(**tables: object) -> LayoutFile:
    head = {"layout": {"name": "x", "gauge": "OO", "control": "dc"}, "district": {"main": {}}}
    return LayoutFile.model_validate({**head, **{k.replace("_", "-"): v for k, v in tables.items()}})


def test_a_piece_that_names_no_drive_has_its_own() -> None:
    f = file(turnout={"T1": {}}, three_way={"W": {}}, slip={"X": {}}, diamond={"C": {}})
    uses = drive_uses(f)
    assert {key: use.drive for key, use in uses.items()} == {
        ("T1", "drive"): "T1",
        ("W", "drive_left"): "W-left",
        ("W", "drive_right"): "W-right",
        ("X", "drive_a"): "X-a",
        ("X", "drive_b"): "X-b",
    }
    assert drive_settings(f) == {
        "T1": ("left", "right"),
        "W-left": ("left", "through"),
        "W-right": ("right", "through"),
        "X-a": ("left", "right"),
        "X-b": ("left", "right"),
    }


def test_a_crossing_or_slip_piece_has_other_settings() -> None:
    f = file(slip={"X": {"blades_move": "crossing-or-slip"}})
    assert drive_settings(f) == {"X-a": ("crossing", "slip"), "X-b": ("crossing", "slip")}


def test_shared_and_mapped() -> None:
    f = file(
        turnout={"T1": {"drive": "D"}, "T2": {"drive": {"name": "D", "left": "right", "right": "left"}}},
        slip={"X": {"blades_move": "crossing-or-slip", "drive_a": {"name": "D", "crossing": "left", "slip": "right"}}},
        drive={"D": {}},
    )
    uses = drive_uses(f)
    assert uses["T1", "drive"] == ("D", {"left": "left", "right": "right"})
    assert uses["T2", "drive"].settings == {"left": "right", "right": "left"}
    assert uses["X", "drive_a"].settings == {"crossing": "left", "slip": "right"}
    assert drive_settings(f)["D"] == ("left", "right")


def test_where_every_piece_maps_the_mapped_names_are_the_settings() -> None:
    f = file(turnout={"T1": {"drive": {"name": "D", "left": "up", "right": "down"}}}, drive={"D": {}})
    assert drive_settings(f) == {"D": ("up", "down")}


def test_shapes_agree_with_the_catalogue_that_the_rails_come_from() -> None:
    """Two readers of one set of files: the outline here and the whole there."""
    from frogfeed.track.pieces.catalogue import built_in

    shapes, kinds = built_in_shapes(), built_in()
    assert set(shapes) == set(kinds)
    for name, kind in kinds.items():
        shape = shapes[name]
        assert set(shape.ends) == set(kind.ends)
        assert dict(shape.slots) == dict(kind.slots)
        assert shape.joined == {frozenset((r.start, r.end)) for r in kind.roads}
        assert shape.makes == {make.value for make in kind.makes}
        assert shape.frogs == tuple(f.name for f in kind.frogs)


def test_every_table_stands_for_a_kind_there_is() -> None:
    f = file(
        turnout={"T": {}},
        three_way={"W": {}},
        diamond={"C": {}},
        slip={
            f"X{i}{j}": {"blades_move": move, **({"slip_road": road} if road else {})}
            for i, road in enumerate((None, "a.left-b.right", "a.right-b.left"))
            for j, move in enumerate(("same-way", "crossing-or-slip"))
        },
    )
    assert {kind_name(p) for p in f.pieces().values()} <= set(built_in_shapes())
    assert kind_name(f.slip["X00"]) == "double-slip"
    assert kind_name(f.slip["X21"]) == "single-slip-right-crossing-or-slip"
