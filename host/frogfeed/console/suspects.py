"""Finding a fault: which single faults explain what is seen, and which place to measure next.

Pure logic. Every single wiring fault, every dirty blade, is tried on the network; those that show the trouble are the
suspects. Each reading (continuity, supplies off, boards on) keeps the suspects that predict what the meter read. The
next reading is the one that leaves the fewest in the worse case, and among equals the first on the way to the rail.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

from frogfeed.track.conditions import holds
from frogfeed.track.contract import Contracted
from frogfeed.track.faults import Edge, wiring
from frogfeed.track.network import RailNetwork
from frogfeed.track.trace import Step, trace

Trouble = Literal["dead", "short"]
Settings = Mapping[str, str]

CURES = {
    "dropper on the wrong bus wire": "swap the dropper over to the other bus wire",
    "dropper missing": "solder the dropper on again, or look at its joint to the bus",
    "insulated joiner missing": "cut the rail there, or fit an insulated joiner; look for swarf that bridges it",
    "metal joiner does not conduct": "solder the joiner, or give the rail beyond it a dropper of its own",
    "bond missing": "solder the bond on again",
    "factory link left in": "cut the link under the piece",
    "switched feed's wires swapped": "swap the two bus wires at this output of the board",
    "switched feed not connected": "look at the plug and the wire from the board to the rail, and at its contact",
    "blade does not touch": "clean blade and stock rail where they touch, or bond the blade",
}


@dataclass(frozen=True, slots=True)
class Suspect:
    """A fault that explains the trouble: edges (by index) that are missing, and edges that are there instead."""

    kind: str
    place: str
    removed: tuple[int, ...]
    added: tuple[Edge, ...]

    @property
    def cure(self) -> str:
        """What to do if it is this one."""
        return CURES[self.kind]


@dataclass(frozen=True, slots=True)
class Reading:
    """Continuity between `a` and `b` at `settings`; `lifted` names what is taken off its rail first (edge indices)."""

    a: str
    b: str
    settings: tuple[tuple[str, str], ...]
    lifted: tuple[int, ...] = ()
    lifted_text: str = ""


class Hunt:
    """One hunt. `suspects` are those that are left; answer readings from `next` with `take`."""

    def __init__(self, network: RailNetwork, rail: str, trouble: Trouble, settings: Settings) -> None:
        """Raises KeyError for an unknown rail."""
        if rail not in network.piece_of:
            raise KeyError(rail)
        self.network = network
        self.rail = rail
        self.trouble = trouble
        self.settings = {d: s[0] for d, s in network.drives.items()} | dict(settings)
        whole = wiring(network)
        self.edges = whole.edges
        self._contracted = Contracted(network)
        self._contact_from = len(network.bonds)
        everything = [Suspect(str(f.kind), f.place, f.removed, f.added) for f in whole.faults]
        everything += [
            Suspect("blade does not touch", f"{c.a} against {c.b}", (self._contact_from + n,), ())
            for n, c in enumerate(network.contacts)
        ]
        self.way: tuple[Step, ...] = next(iter(trace(network, rail, self.settings).ways.values()), ())
        self.sound = not self._shows(None)
        shown = [s for s in everything if self._shows(s)] if self.sound else []
        self.suspects: tuple[Suspect, ...] = tuple(sorted(shown, key=self._along))
        self.readings: list[tuple[Reading, bool | None]] = []

    def _along(self, suspect: Suspect) -> int:
        """How far along the way from the supply a fault lies; faults elsewhere come last."""
        spots = [{s.a, s.b} for s in self.way]
        pairs = [{self.edges[i].a, self.edges[i].b} for i in suspect.removed]
        return next((n for n, spot in enumerate(spots) if spot in pairs), len(spots))

    # ---- conduction -----------------------------------------------------------------------------------

    def _active(self, settings: Settings) -> list[int]:
        return [i for i, e in enumerate(self.edges) if holds(e.when, settings)]

    def _wires_at(self, suspect: Suspect | None) -> set[str]:
        """The bus wires that reach the rail: not through another wire."""
        removed = set(suspect.removed) if suspect else set()
        near: dict[str, list[str]] = {}
        edges = [self.edges[i] for i in self._on if i not in removed]
        for e in (*edges, *(e for e in (suspect.added if suspect else ()) if holds(e.when, self.settings))):
            near.setdefault(e.a, []).append(e.b)
            near.setdefault(e.b, []).append(e.a)
        seen, queue, found = {self.rail}, [self.rail], set()
        while queue:
            here = queue.pop()
            for there in near.get(here, ()):
                if there in self.network.wires:
                    found.add(there)
                elif there not in seen:
                    seen.add(there)
                    queue.append(there)
        return found

    @property
    def _on(self) -> list[int]:
        return self._active(self.settings)

    def _shows(self, suspect: Suspect | None) -> bool:
        """Whether the trouble shows with this fault (None: with none)."""
        if suspect is not None and not self._touches(suspect):
            return False
        wires = sorted(self._wires_at(suspect))
        if self.trouble == "dead":
            return not wires
        return any(not self._contracted.same(wires[0], w) for w in wires[1:])

    def _touches(self, suspect: Suspect) -> bool:
        """Whether a fault changes anything at these settings; most don't, and are passed over quickly."""
        return any(holds(self.edges[i].when, self.settings) for i in suspect.removed) or any(
            holds(e.when, self.settings) for e in suspect.added
        )

    # ---- readings -------------------------------------------------------------------------------------

    def take(self, reading: Reading, closed: bool | None) -> None:
        """The meter's answer; None: could not be read, so that another is proposed."""
        self.readings.append((reading, closed))
        if closed is not None:
            judge = _Judge(self, self.suspects, (reading,))
            self.suspects = tuple(s for s in self.suspects if judge.closed(reading, s) == closed)

    def expected(self, reading: Reading) -> bool:
        """What the meter reads where nothing is wrong."""
        return _Judge(self, (), (reading,)).closed(reading, None)

    def next(self) -> Reading | None:
        """The best reading to take now; None where none tells the suspects apart."""
        if len(self.suspects) < 2:
            return None
        done = {r for r, _ in self.readings}
        options = [r for r in self._options() if r not in done]
        judge = _Judge(self, self.suspects, options)
        best: tuple[int, int] | None = None
        chosen: Reading | None = None
        for n, r in enumerate(options):
            closed = sum(judge.closed(r, s) for s in self.suspects)
            worst = max(closed, len(self.suspects) - closed)
            if worst < len(self.suspects) and (best is None or (worst, n) < best):
                best, chosen = (worst, n), r
        return chosen

    def _options(self) -> list[Reading]:
        at = tuple(sorted(self.settings.items()))
        return self._for_dead(at) if self.trouble == "dead" else self._for_short(at)

    def _for_dead(self, at: tuple[tuple[str, str], ...]) -> list[Reading]:
        """From the supply's end of the way outward, then between neighbours on it, then other settings."""
        if not self.way:
            return []
        wire = self.way[0].a
        found = [Reading(wire, s.b, at) for s in self.way]
        found += [Reading(s.a, s.b, at) for s in self.way[1:]]
        found += [Reading(wire, self.rail, other) for other in self._thrown(at)]
        return found

    def _for_short(self, at: tuple[tuple[str, str], ...]) -> list[Reading]:
        """Between the two bus wires: with one drive thrown, with one feed or dropper taken off at a time."""
        pairs = sorted({w for s in self.suspects[:1] for w in self._wires_at(s)})
        if len(pairs) < 2:
            return []
        a = pairs[0]
        b = next(w for w in pairs if not self._contracted.same(a, w))
        found = [Reading(a, b, other) for other in self._thrown(at)]
        for place, edges in self._liftable():
            found.append(Reading(a, b, at, edges, place))
        for place, edges in self._liftable():
            rail = self.edges[edges[0]].a
            found += [Reading(w, rail, at, edges, place) for w in (a, b)]
        return found

    def _thrown(self, at: tuple[tuple[str, str], ...]) -> Iterable[tuple[tuple[str, str], ...]]:
        drives = sorted({d for s in self.suspects for i in s.removed for t in self.edges[i].when for d, _ in t})
        drives += [d for d in self._drives_near() if d not in drives]
        for d in drives[:12]:
            for setting in self.network.drives[d]:
                if self.settings[d] != setting:
                    yield tuple((k, setting if k == d else v) for k, v in at)

    def _drives_near(self) -> list[str]:
        pieces = {self.network.piece_of.get(p) for s in self.suspects for e in s.added for p in (e.a, e.b)}
        pieces.add(self.network.piece_of[self.rail])
        return sorted({d for r in self.network.roads if r.piece in pieces for t in r.when for d, _ in t})

    def _liftable(self) -> list[tuple[str, tuple[int, ...]]]:
        """Droppers and switched feeds near the suspects, each with its edges."""
        near = {p for s in self.suspects for e in (*s.added, *(self.edges[i] for i in s.removed)) for p in (e.a, e.b)}
        near.add(self.rail)
        group = self._contracted.group_of
        groups = {group[p] for p in near if p in group}
        found: dict[str, tuple[int, ...]] = {}
        for i, e in enumerate(self.edges):
            if e.b in self.network.wires and e.a in group and group[e.a] in groups:
                name = f"{e.a}"
                found[name] = (*found.get(name, ()), i)
        return list(found.items())[:40]


class _Judge:
    """Answers many readings under many suspects: what none of them changes is joined once for each setting."""

    def __init__(self, hunt: Hunt, suspects: Sequence[Suspect], readings: Sequence[Reading]) -> None:
        self._hunt = hunt
        self._special = {i for s in suspects for i in s.removed} | {i for r in readings for i in r.lifted}
        self._base: dict[tuple[tuple[str, str], ...], tuple[dict[str, str], list[int]]] = {}

    def _joined(self, at: tuple[tuple[str, str], ...]) -> tuple[dict[str, str], list[int]]:
        known = self._base.get(at)
        if known is None:
            settings = dict(at)
            parent: dict[str, str] = {}
            special: list[int] = []
            for i, e in enumerate(self._hunt.edges):
                if holds(e.when, settings):
                    if i in self._special:
                        special.append(i)
                    else:
                        _union(parent, e.a, e.b)
            known = self._base[at] = (parent, special)
        return known

    def closed(self, reading: Reading, suspect: Suspect | None) -> bool:
        """Whether the meter reads closed."""
        base, special = self._joined(reading.settings)
        parent: dict[str, str] = {}
        gone = {*reading.lifted, *(suspect.removed if suspect else ())}
        settings = dict(reading.settings)
        lifted = bool(reading.lifted)
        edges = [self._hunt.edges[i] for i in special if i not in gone]
        if suspect is not None:
            moved = lifted and any(i in suspect.removed for i in reading.lifted)
            if not moved:
                edges += [e for e in suspect.added if holds(e.when, settings)]
        for e in edges:
            _union(parent, _root(base, e.a), _root(base, e.b))
        return _root(parent, _root(base, reading.a)) == _root(parent, _root(base, reading.b))


def _root(parent: dict[str, str], p: str) -> str:
    while (q := parent.get(p, p)) != p:
        p = q
    return p


def _union(parent: dict[str, str], a: str, b: str) -> None:
    ra, rb = _root(parent, a), _root(parent, b)
    if ra != rb:
        parent[ra] = rb
