"""Reads the table of what conducts to what in each kind of piece, and builds and measures a piece by itself.

The table (`pieces_by_geometry.toml`) is drawn from geometry; conduction is measured here, by a graph of the netlist, so
that nothing of the project's own reasoning about polarity is used on either side of the comparison.
"""

from __future__ import annotations

import itertools
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import networkx as nx

from frogfeed.layout.reading import read_layout_text
from frogfeed.track.assembly.assemble import assemble
from frogfeed.track.network.model import RailNetwork
from frogfeed.track.network.netlist import netlist

TABLE = Path(__file__).with_name("pieces_by_geometry.toml")
HEAD = '[layout]\nname = "Test"\ngauge = "OO"\ncontrol = "dc"\n[district.main]\n'
MIRROR = {"left": "right", "right": "left", "A": "B", "B": "A"}


@dataclass(frozen=True)
class Group:
    """End rails that conduct to each other; `carries` as at the head of the table."""

    carries: str
    rails: frozenset[str]


@dataclass(frozen=True)
class Kind:
    """A kind of piece: how it is written in a layout, and the roads that each setting gives."""

    name: str
    table: str
    extra: str
    ends: tuple[str, ...]
    drives: tuple[str, ...]
    roads: Mapping[str, frozenset[frozenset[str]]]

    @property
    def end_rails(self) -> frozenset[str]:
        return frozenset(f"{end}.{hand}" for end in self.ends for hand in ("left", "right"))

    def settings(self, key: str) -> dict[str, str]:
        """The drive settings that a key of the table ("left through") stands for."""
        return dict(zip(self.drives, key.split(), strict=True))


@dataclass(frozen=True)
class Case:
    """One make and state of a kind, fed in one way, with what conducts at each setting."""

    kind: Kind
    make: str
    links: str
    blades: str
    frog: str
    feeds: Mapping[str, str]
    expected: Mapping[str, tuple[Group, ...]] = field(repr=False)

    @property
    def name(self) -> str:
        wires = sorted(w for w in self.feeds.items() if w[0] in ("b.left.left", "b.right.right"))
        fed = "".join(w for _, w in wires)
        return "-".join(p for p in (self.kind.name, self.make, self.links, self.blades, self.frog, fed) if p)


def mirrored(text: str) -> str:
    """A word, end, end rail or wire as a mirror shows it."""
    return ".".join(MIRROR.get(part, part) for part in text.split("."))


def read_kinds() -> dict[str, Kind]:
    """Every kind the table lays down, mirrored and renamed ones included."""
    kinds: dict[str, Kind] = {}
    for name, raw in _raw()["kind"].items():
        kind = _kind(name, raw, kinds)
        for each in (name, *raw.get("also", ())):
            extra = kind.extra if each == name else f'kind = "{each}"'
            kinds[each] = Kind(each, kind.table, extra, kind.ends, kind.drives, kind.roads)
    return kinds


def _kind(name: str, raw: Mapping[str, Any], known: Mapping[str, Kind]) -> Kind:
    if "table" in raw:
        extra = raw.get("extra", "") or ("" if name == raw["table"] else f'kind = "{name}"')
        roads = {key: frozenset(frozenset(r.split()) for r in listed) for key, listed in raw.get("roads", {}).items()}
        return Kind(name, raw["table"], extra, tuple(raw["ends"]), tuple(raw["drives"]), roads)
    like = known[raw.get("same_as") or raw["mirror_of"]]
    roads = {
        _key(key, like, raw): frozenset(frozenset(_word(end, raw) for end in road) for road in of_key)
        for key, of_key in like.roads.items()
    }
    return Kind(name, like.table, raw["extra"], like.ends, like.drives, roads)


def _word(text: str, raw: Mapping[str, Any]) -> str:
    return mirrored(text) if "mirror_of" in raw else text


def _key(key: str, like: Kind, raw: Mapping[str, Any]) -> str:
    if "mirror_of" in raw:
        return " ".join(mirrored(s) for s in key.split())
    return " ".join(raw["renamed"][d][s] for d, s in like.settings(key).items())


def read_cases() -> list[Case]:
    """Every case of the table, one for each combination of the facts it lists, for every kind it holds for."""
    kinds = read_kinds()
    raw = _raw()
    direct = [c for row in raw["case"] for c in _cases(row, raw["kind"][row["kind"]], kinds)]
    by_kind: dict[str, list[Case]] = {}
    for case in direct:
        by_kind.setdefault(case.kind.name, []).append(case)
    for name, of_kind in raw["kind"].items():
        if "table" in of_kind:
            continue
        like = kinds[of_kind.get("same_as") or of_kind["mirror_of"]]
        by_kind[name] = [_like(c, kinds[name], of_kind) for c in by_kind[like.name]]
    return [c for of_kind in by_kind.values() for c in of_kind]


def _raw() -> dict[str, Any]:
    return tomllib.loads(TABLE.read_text(encoding="utf-8"))


def _cases(row: Mapping[str, Any], raw: Mapping[str, Any], kinds: Mapping[str, Kind]) -> list[Case]:
    feeds: dict[str, str] = raw["feeds"][row.get("fed", "stock")]
    words: dict[str, list[str]] = raw["words"]
    expected = {key: _groups(text, words) for key, text in row["set"].items()}
    names = (row["kind"], *raw.get("also", ()))
    facts = itertools.product(names, row["make"], row["links"], row["blades"], row["frog"])
    return [Case(kinds[name], make, links, blades, frog, feeds, expected) for name, make, links, blades, frog in facts]


def _groups(text: str, words: Mapping[str, list[str]]) -> tuple[Group, ...]:
    groups = []
    for part in text.split("|"):
        carries, *named = part.split()
        groups.append(Group(carries, frozenset(rail for word in named for rail in words[word])))
    return tuple(groups)


def _like(case: Case, kind: Kind, raw: Mapping[str, Any]) -> Case:
    """The case in a mirror, or with its settings renamed."""
    expected = {
        _key(key, case.kind, raw): tuple(
            Group(_word(g.carries, raw), frozenset(_word(r, raw) for r in g.rails)) for g in groups
        )
        for key, groups in case.expected.items()
    }
    feeds = {_word(rail, raw): _word(wire, raw) for rail, wire in case.feeds.items()}
    return Case(kind, case.make, case.links, case.blades, case.frog, feeds, expected)


def build(case: Case) -> RailNetwork:
    """The piece alone, its ends insulated from a stub of track each, with droppers on the rails of `feeds`."""
    lines = ["[lines]"]
    places = ["[place]"]
    for number, end in enumerate(case.kind.ends):
        places.append(f'stub{number} = {{ kind = "buffer" }}')
        droppers = [
            f'{{ feed = "main", left = "{wire if hand == "left" else MIRROR[wire]}", rail = "{hand}" }}'
            for hand in ("left", "right")
            if (wire := case.feeds.get(f"{end}.{hand}"))
        ]
        items = ", ".join([f'"stub{number}"', '"|"', *droppers, f'"X.{end}"'])
        lines.append(f"line{number} = [{items}]")
    facts = f'make = "{case.make}"\nlinks = "{case.links}"\nblades = "{case.blades}"\nfrog = "{case.frog}"\n'
    piece = f"[{case.kind.table}.X]\n{facts}{case.kind.extra}\n"
    return assemble(read_layout_text(HEAD + piece + "\n".join([*places, *lines]) + "\n", "piece.toml"))


def holds(when: list[dict[str, str]], settings: Mapping[str, str]) -> bool:
    """Whether a netlist's condition holds."""
    return any(all(settings[drive] == setting for drive, setting in alternative.items()) for alternative in when)


def conduction(network: RailNetwork, settings: Mapping[str, str]) -> nx.Graph[str]:
    """Rails and bus wires as nodes, joined where they conduct at these settings."""
    net = netlist(network)
    graph: nx.Graph[str] = nx.Graph()
    graph.add_nodes_from(net["rails"])
    graph.add_nodes_from(net["wires"])
    graph.add_edges_from(net["bonds"])
    graph.add_edges_from(c["between"] for c in net["contacts"] if holds(c["when"], settings))
    graph.add_edges_from((f["rail"], f["wire"]) for f in net["feeds"])
    graph.add_edges_from(
        (s["rail"], row["wire"])
        for s in net["switched"]
        for row in s["table"]
        if row["wire"] is not None and holds(row["when"], settings)
    )
    return graph


def end_rail(network: RailNetwork, piece: str, rail: str) -> str:
    """The network's rail at an end rail such as "a.left.right"."""
    end, _, hand = rail.rpartition(".")
    return network.pieces[piece].ends[end][hand == "right"]


def carried(graph: nx.Graph[str], rail: str) -> str:
    """The sides of the bus a rail is joined to: "", "A", "B" or "AB"."""
    return "".join(sorted(n[-1] for n in nx.node_connected_component(graph, rail) if n.startswith("main.")))


def measured(network: RailNetwork, kind: Kind, settings: Mapping[str, str]) -> list[Group]:
    """The end rails of the piece X by what they conduct to; a rail may not be two groups' at once."""
    graph = conduction(network, settings)
    groups: dict[frozenset[str], set[str]] = {}
    for rail in kind.end_rails:
        part = frozenset(nx.node_connected_component(graph, end_rail(network, "X", rail)))
        groups.setdefault(part, set()).add(rail)
    return [Group(carried(graph, next(iter(part))) or "-", frozenset(rails)) for part, rails in groups.items()]


def disagreements(expected: tuple[Group, ...], actual: list[Group], every: frozenset[str]) -> list[str]:
    """What differs between the table and the piece, in words; empty where they agree."""
    open_rails = {rail for g in expected if g.carries == "?" for rail in g.rails}
    wrong = [f"{_show(g)}: expected no short" for g in actual if g.carries == "AB" and g.rails & open_rails]
    for group in expected:
        if group.carries == "?" and not any(group.rails <= g.rails for g in actual):
            wrong.append(f"{_show(group)}: expected to be joined to each other")
    named = {rail for g in expected for rail in g.rails}
    laid_down = {g for g in expected if g.carries != "?"} | {Group("-", frozenset({r})) for r in every - named}
    got = {Group(g.carries, g.rails - open_rails) for g in actual if g.rails - open_rails}
    wrong += [f"expected {_show(g)}" for g in laid_down - got]
    wrong += [f"     got {_show(g)}" for g in got - laid_down]
    return wrong


def _show(group: Group) -> str:
    return f"{group.carries:2} {' '.join(sorted(group.rails))}"
