"""Random whole layouts read back as what was written; random damage to them never raises anything but BadLayout."""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import dataclass, field

from hypothesis import HealthCheck, assume, given, settings
from hypothesis import strategies as st

from frogfeed.findings.codes import CODES
from frogfeed.findings.show import show_json, show_sarif, show_text
from frogfeed.layout.ends import built_in_shapes
from frogfeed.layout.lines import EndItem, FeedItem, GapItem, JoinerItem, LengthItem, LineItem, PlaceItem
from frogfeed.layout.reading import BadLayout, read_layout_text

KINDS = {
    "turnout": ("turnout", ""),
    "wye": ("turnout", 'kind = "wye"'),
    "three-way": ("three-way", ""),
    "diamond": ("diamond", ""),
    "double-slip": ("slip", ""),
    "single-slip-left": ("slip", 'slip_road = "a.left-b.right"'),
}
HEAD = '[layout]\nname = "Random"\ngauge = "OO"\ncontrol = "dcc"\n\n[district.main]\n[district.yard]\n\n'

JOINT_ITEMS: tuple[tuple[str, tuple[object, ...]], ...] = (
    ('"|"', ("gap", "left", "right")),
    ('"|left"', ("gap", "left")),
    ('{gap = "right"}', ("gap", "right")),
    ("{mm = 12.5}", ("mm", 12.5)),
    ('{feed = "main", left = "A"}', ("feed", "main", "A", "left", "right", None, None)),
    (
        '{feed = "yard", left = "B", rail = "left", wire = "0.75", mm = 300}',
        ("feed", "yard", "B", "left", "0.75", 300),
    ),
    ('{joiner = "untrusted", rail = "right"}', ("joiner", "right")),
    ('{joiner = "untrusted"}', ("joiner", "left", "right")),
)


@dataclass
class Written:
    """A layout's text, and what its lines must be read as, in plain tuples."""

    tables: list[str] = field(default_factory=list)
    lines: dict[str, list[tuple[str, tuple[object, ...]]]] = field(default_factory=dict)

    @property
    def text(self) -> str:
        rows = [f"{name} = [{', '.join(item for item, _ in items)}]" for name, items in self.lines.items()]
        return HEAD + "\n".join(self.tables) + "\n\n[lines]\n" + "\n".join(rows) + "\n"


def plain(item: LineItem) -> tuple[object, ...]:
    match item:
        case PlaceItem(name):
            return ("place", name)
        case EndItem(piece, end):
            return ("end", piece, end)
        case GapItem(hands):
            return ("gap", *map(str, hands))
        case LengthItem(mm):
            return ("mm", mm)
        case FeedItem(district, left, hands, wire, mm):
            return ("feed", district, str(left), *map(str, hands), wire, mm)
        case JoinerItem(hands):
            return ("joiner", *map(str, hands))


@st.composite
def layouts(draw: st.DrawFn) -> Written:
    """Pieces whose ends are joined at random, each once: to each other, through sections, or to declared ends."""
    written = Written()
    shapes = built_in_shapes()
    ends: list[tuple[str, str]] = []
    pieces: dict[str, str] = {}
    for i in range(draw(st.integers(1, 6))):
        kind = draw(st.sampled_from(sorted(KINDS)))
        table, more = KINDS[kind]
        pieces[f"P{i}"] = kind
        written.tables.append(f"[{table}.P{i}]\n{more}")
        ends += [(f"P{i}", end) for end in shapes[kind].ends]
    ends = draw(st.permutations(ends))
    places = 0

    def place(kind: str) -> tuple[str, tuple[object, ...]]:
        nonlocal places
        places += 1
        written.tables.append(f'[place.p{places}]\nkind = "{kind}"')
        return f'"p{places}"', ("place", f"p{places}")

    def at(end: tuple[str, str]) -> tuple[str, tuple[object, ...]]:
        return f'"{end[0]}.{end[1]}"', ("end", *end)

    def joint() -> list[tuple[str, tuple[object, ...]]]:
        items = draw(st.lists(st.sampled_from(JOINT_ITEMS), max_size=3))
        hands = [hand for _, told in items if told[0] == "gap" for hand in told[1:]]
        return items if len(hands) == len(set(hands)) else items[:1]

    rows: list[list[tuple[str, tuple[object, ...]]]] = []
    while ends:
        a = ends.pop()
        b = ends.pop() if ends and draw(st.booleans()) else None
        if b is None:
            rows.append([at(a), *joint(), place(draw(st.sampled_from(["buffer", "open"])))])
        elif a[0] == b[0] or draw(st.booleans()):
            rows.append([at(a), *joint(), place("section"), *joint(), at(b)])
        else:
            rows.append([at(a), *joint(), at(b)])
    for row in draw(st.permutations(rows)):
        first = row[0][1]
        onto = next(
            (
                name
                for name, line in written.lines.items()
                if line[-1][1][0] == "end"
                and first[0] == "end"
                and line[-1][1][1] == first[1]
                and frozenset((line[-1][1][2], first[2])) in shapes[pieces[str(first[1])]].joined
            ),
            None,
        )
        if onto is not None and draw(st.booleans()):
            written.lines[onto] += row
        else:
            written.lines[f"line{len(written.lines)}"] = list(row)
    return written


@settings(max_examples=150, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(layouts())
def test_what_is_written_is_what_is_read(written: Written) -> None:
    layout = read_layout_text(written.text, "random.toml")
    assert {name: [plain(i) for i in items] for name, items in layout.lines.items()} == {
        name: [told for _, told in items] for name, items in written.lines.items()
    }
    rows = written.text.split("\n")
    for name, items in layout.lines.items():
        for item, (text, _) in zip(items, written.lines[name], strict=True):
            assert rows[item.at.line - 1][item.at.column - 1 :].startswith(text)


SNIPPETS = [
    *'[]{}"=,.\n#|',
    *(
        "T1",
        "P0",
        ".toe",
        '"P0.left"',
        "[turnout.P0]",
        "[drive.P0]\n",
        "é",
        "\x00",
        "1e999",
        "nan",
        "-1",
        '"""',
        "'",
        "\\",
    ),
    *("true", "1979-05-27", "[[lines]]\n", "kind = 3\n", "name", '"|"', "{mm = 3}", '{feed="main"}', "[place.x]\n"),
    *("built = false\n", "drive = { name = 'D' }\n", "[slip.P0]\n", "[layout]\n", "[lines]\n", "a.b.c = 1\n", "\r"),
    *("\t", " ", "[[district]]\n", "lines = 3\n", "catalogue = ['x']\n"),
]


@st.composite
def damaged(draw: st.DrawFn) -> str:
    text = draw(layouts()).text
    for _ in range(draw(st.integers(1, 4))):
        start = draw(st.integers(0, len(text)))
        kind = draw(st.sampled_from(["insert", "cut", "copy", "line"]))
        if kind == "insert":
            text = text[:start] + draw(st.sampled_from(SNIPPETS)) + text[start:]
        elif kind == "cut":
            text = text[:start] + text[start + draw(st.integers(1, 30)) :]
        elif kind == "copy":
            other = draw(st.integers(0, len(text)))
            text = text[:start] + text[other : other + draw(st.integers(1, 40))] + text[start:]
        else:
            rows = text.split("\n")
            rows.insert(draw(st.integers(0, len(rows))), draw(st.sampled_from(SNIPPETS)).strip("\n"))
            text = "\n".join(rows)
    return text


def check_refusal(text: str) -> None:
    try:
        read_layout_text(text, "hurt.toml")
    except BadLayout as bad:
        rows = text.split("\n")
        assert bad.findings
        for f in bad.findings:
            assert f.code in CODES
            assert f.what
            assert f.where is not None and f.where.file == "hurt.toml"
            assert 1 <= f.where.line <= len(rows)
            assert 1 <= f.where.column <= len(rows[f.where.line - 1]) + 1
        places = [(f.where.line, f.where.column) for f in bad.findings if f.where]
        assert places == sorted(places)
        show_text(bad.findings)
        assert len(json.loads(show_json(bad.findings))["findings"]) == len(bad.findings)
        json.loads(show_sarif(bad.findings))


@settings(max_examples=300, deadline=None, suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large])
@given(damaged())
def test_damage_is_refused_with_places(text: str) -> None:
    check_refusal(text)


@settings(max_examples=200, deadline=None)
@given(st.text(max_size=200))
def test_any_text_is_read_or_refused(text: str) -> None:
    check_refusal(text)


VALUES: st.SearchStrategy[object] = st.recursive(
    st.none() | st.booleans() | st.integers(-(10**6), 10**6) | st.floats() | st.text(max_size=8) | st.dates(),
    lambda inner: (
        st.lists(inner, max_size=3) | st.dictionaries(st.sampled_from(["name", "left", "kind"]), inner, max_size=3)
    ),
    max_leaves=6,
)


@settings(max_examples=300, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(layouts(), st.data())
def test_any_value_at_any_key_is_read_or_refused(written: Written, data: st.DataObject) -> None:
    """The schema and all that follows it hold for every type of value at every key there is."""
    import tomlkit

    from frogfeed.layout.schema import LayoutFile
    from frogfeed.layout.schema_walk import keys_of, table_at

    document = tomlkit.parse(written.text).unwrap()
    table = data.draw(st.sampled_from(sorted(keys_of(LayoutFile))))
    model = table_at(LayoutFile, (table,)) or table_at(LayoutFile, (table, "x"))
    value = data.draw(VALUES.filter(lambda v: v is not None))
    names = sorted(document.get(table, {})) or ["N1"]
    if table == "layout":
        assume(model is not None)
        document["layout"][data.draw(st.sampled_from(sorted(keys_of(model))))] = value  # type: ignore[arg-type]
    elif model is None or data.draw(st.booleans()):
        document.setdefault(table, {})[data.draw(st.sampled_from(names))] = value
    else:
        key = data.draw(st.sampled_from(sorted(keys_of(model))))
        document.setdefault(table, {}).setdefault(data.draw(st.sampled_from(names)), {})[key] = value
    write: Callable[[object], str] = tomlkit.dumps  # type: ignore[assignment]
    try:
        text = write(document)
    except Exception:  # a value that TOML cannot hold, such as None in a list: not what is tested here
        assume(False)
    check_refusal(text)
