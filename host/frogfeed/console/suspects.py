"""Finding a fault: which single faults explain what is seen, and which place to measure next.

Pure logic. Every single wiring fault, every dirty blade, is tried on the network; those that show the trouble are the
suspects. Each reading (continuity, supplies off, boards on) keeps the suspects that predict what the meter read. The
next reading is the one that leaves the fewest in the worse case, and among equals the first on the way to the rail.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import replace
from typing import Literal

from frogfeed.console.judge import Judge, Reading, Settings, Suspect
from frogfeed.console.symptoms import Symptoms
from frogfeed.track.meter.faults import Fault, FaultKind, Wiring, wiring
from frogfeed.track.meter.trace import Step, trace
from frogfeed.track.network.model import RailNetwork
from frogfeed.track.solver.contract import Contracted

Trouble = Literal["dead", "short", "crossing"]
"""A rail carries nothing; it trips the supply as it is; or the supply trips, or a train stops, as it is crossed."""

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
HIDDEN = "a blade or an untrusted joiner feeds the rail as well, and hides this as long as it touches"

MOST_DRIVES = 12
"""Drives that are thrown for a reading at most."""
MOST_POINTS = 24
"""Points between which every reading is tried where none of the usual ones tells the suspects apart."""


def cure(suspect: Suspect) -> str:
    """What to do if it is this one."""
    return CURES[suspect.kind]


class Hunt:
    """One hunt. `suspects` are those that are left; answer readings from `next` with `take`.

    `sound` is False where the layout as drawn has the trouble by itself, or cannot have it at these settings.
    """

    def __init__(self, network: RailNetwork, rail: str, trouble: Trouble, settings: Mapping[str, str]) -> None:
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
        everything = _everything(network, whole)
        self.way: tuple[Step, ...] = next(iter(trace(network, rail, self.settings).ways.values()), ())
        self._seen = Symptoms(network, self.edges, self._contracted, rail, self.settings)
        self.sound = self._is_sound()
        shown = [found for s in everything if (found := self._suspected(s)) is not None] if self.sound else []
        self.suspects: tuple[Suspect, ...] = tuple(sorted(shown, key=self._along))
        self.readings: list[tuple[Reading, bool | None]] = []

    def _is_sound(self) -> bool:
        if self.trouble == "dead":
            return not self._seen.dead(None)
        if self.trouble == "short":
            return not self._seen.shorted(None)
        return self._seen.is_crossed

    def _suspected(self, suspect: Suspect) -> Suspect | None:
        """The suspect if it shows the trouble; with its doubtful contacts where only those would hide it."""
        if not self._seen.touches(suspect):
            return None
        if self.trouble == "short":
            return suspect if self._seen.shorted(suspect) else None
        if self.trouble == "crossing":
            return suspect if self._seen.clashes(suspect) else None
        if self._seen.dead(suspect):
            return suspect
        doubtful = replace(suspect, doubtful=self._seen.doubtful)
        return doubtful if doubtful.doubtful and self._seen.dead(doubtful) else None

    def _along(self, suspect: Suspect) -> int:
        """How far along the way from the supply a fault lies; faults elsewhere come last."""
        spots = [{s.a, s.b} for s in self.way]
        pairs = [{self.edges[i].a, self.edges[i].b} for i in suspect.removed]
        return next((n for n, spot in enumerate(spots) if spot in pairs), len(spots))

    # ---- readings -------------------------------------------------------------------------------------

    def take(self, reading: Reading, closed: bool | None) -> None:
        """The meter's answer; None: could not be read, so that another is proposed."""
        self.readings.append((reading, closed))
        if closed is not None:
            judge = Judge(self.edges, self.suspects, (reading,))
            self.suspects = tuple(s for s in self.suspects if judge.closed(reading, s) in (closed, None))

    def expected(self, reading: Reading) -> bool:
        """What the meter reads where nothing is wrong."""
        return bool(Judge(self.edges, (), (reading,)).closed(reading, None))

    def next(self) -> Reading | None:
        """The best reading to take now; None where none tells the suspects apart."""
        if len(self.suspects) < 2:
            return None
        return self._best(self._options()) or self._best(self._everywhere())

    def _best(self, readings: Iterable[Reading]) -> Reading | None:
        done = {r for r, _ in self.readings}
        options = [r for r in dict.fromkeys(readings) if r not in done]
        judge = Judge(self.edges, self.suspects, options)
        best: tuple[int, int] | None = None
        chosen: Reading | None = None
        for n, r in enumerate(options):
            said = [judge.closed(r, s) for s in self.suspects]
            worst = max(sum(x is not False for x in said), sum(x is not True for x in said))
            if worst < len(self.suspects) and (best is None or (worst, n) < best):
                best, chosen = (worst, n), r
        return chosen

    def _options(self) -> list[Reading]:
        at = tuple(sorted(self.settings.items()))
        if self.trouble == "dead":
            return self._for_dead(at)
        return self._for_short(at) if self.trouble == "short" else self._for_crossing(at)

    def _for_dead(self, at: Settings) -> list[Reading]:
        """From the supply's end of the way outward, then between neighbours on it, then other settings."""
        if not self.way:
            return []
        wire = self.way[0].a
        found = [Reading(wire, s.b, at) for s in self.way]
        found += [Reading(s.a, s.b, at) for s in self.way[1:]]
        found += [Reading(wire, self.rail, other) for other in self._thrown(at)]
        return found

    def _for_short(self, at: Settings) -> list[Reading]:
        """Between the two bus wires: with one drive thrown, with one feed or dropper taken off at a time."""
        pairs = sorted({w for s in self.suspects[:1] for w in self._seen.wires(s)})
        if len(pairs) < 2:
            return []
        a = pairs[0]
        b = next(w for w in pairs if not self._contracted.same(a, w))
        found = [Reading(a, b, other) for other in self._thrown(at)]
        for place, edges in self._liftable():
            found.append(Reading(a, b, at, edges, place))
        found += self._lifted(at, (a, b))
        return found

    def _for_crossing(self, at: Settings) -> list[Reading]:
        """From each bus wire to the rails on both sides of the gaps, as set and with one drive thrown; then lifted."""
        rails = self._seen.crossed
        wires = sorted({w for s in (None, *self.suspects) for r in rails for w in self._seen.wires(s, r)})
        found = [Reading(w, r, set_to) for set_to in (at, *self._thrown(at)) for r in rails for w in wires]
        return found + self._lifted(at, wires)

    def _lifted(self, at: Settings, wires: Iterable[str]) -> list[Reading]:
        """From each wire to each rail whose dropper or feed is taken off."""
        return [
            Reading(w, self.edges[edges[0]].a, at, edges, place) for place, edges in self._liftable() for w in wires
        ]

    def _everywhere(self) -> Iterator[Reading]:
        """Between any two points that the suspects touch, as set and with one drive thrown."""
        at = tuple(sorted(self.settings.items()))
        ends = [p for s in self.suspects for e in (*s.added, *(self.edges[i] for i in s.removed)) for p in (e.a, e.b)]
        points = list(dict.fromkeys([self.rail, *ends]))[:MOST_POINTS]
        for set_to in (at, *self._thrown(at)):
            for a, b in itertools.combinations(points, 2):
                yield Reading(a, b, set_to)

    def _thrown(self, at: Settings) -> Iterator[Settings]:
        drives = sorted({d for s in self.suspects for i in s.removed for t in self.edges[i].when for d, _ in t})
        drives += [d for d in self._drives_near() if d not in drives]
        for d in drives[:MOST_DRIVES]:
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
                found[e.a] = (*found.get(e.a, ()), i)
        return list(found.items())[:40]


def _everything(network: RailNetwork, whole: Wiring) -> list[Suspect]:
    """Every single fault, every blade that may not touch; an output that feeds several rails fails as a whole too."""
    found: list[Suspect] = []
    outputs: dict[tuple[str, str], list[Fault]] = {}
    for f in whole.faults:
        if f.kind in (FaultKind.FEED_MISSING, FaultKind.FEED_SWAPPED):
            outputs.setdefault((str(f.kind), f.place), []).append(f)
        else:
            found.append(Suspect(str(f.kind), f.place, f.removed, f.added))
    for (kind, output), parts in outputs.items():
        removed = tuple(i for f in parts for i in f.removed)
        found.append(Suspect(kind, output, removed, tuple(e for f in parts for e in f.added)))
        if len(parts) > 1:
            found += [Suspect(kind, f"{output} at {whole.edges[f.removed[0]].a}", f.removed, f.added) for f in parts]
    for n, c in enumerate(network.contacts):
        found.append(Suspect("blade does not touch", f"{c.a} against {c.b}", (len(network.bonds) + n,), ()))
    return found


__all__ = ["CURES", "HIDDEN", "Hunt", "Reading", "Suspect", "Trouble", "cure"]
