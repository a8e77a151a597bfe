"""One fault put into a clean railway, and what check says of it shown on the bench at the finding's own settings."""

from __future__ import annotations

import random
from collections.abc import Callable, Sequence
from dataclasses import replace

from frogfeed.bench.events import Event
from frogfeed.bench.rig import Rig
from frogfeed.findings.finding import Finding
from frogfeed.layout.lines import FeedItem, GapItem, LineItem
from frogfeed.layout.model import Layout
from frogfeed.layout.positions import KeyPath
from frogfeed.layout.proposal_text import proposed_text
from frogfeed.layout.schema import Links, Side
from frogfeed.layout.writing import Value, with_values
from frogfeed.track.network.conditions import holds
from tests.bench.chain import Driver

SHOWN = ("short", "clash", "never-fed", "dead-on-road", "one-wire")
"""Errors of the track that a bench can show: the rest are about how a railway is built."""


def faulty(rng: random.Random, layout: Layout) -> tuple[str, str] | None:
    """What was done, and the file with it done; None where there is nothing to spoil in this way."""
    kinds: list[Callable[[random.Random, Layout], tuple[str, Layout] | None]] = [
        _without_joiner,
        _without_joiner,
        _swapped_dropper,
        _without_dropper,
        _links_left_in,
    ]
    found = rng.choice(kinds)(rng, layout)
    if found is None:
        return None
    # A feed that trips stays off, and flips to no other wire: else a short that was seen once hides itself.
    latch: dict[KeyPath, Value] = {("district", d, "on_trip"): "latch" for d in layout.file.district}
    return found[0], with_values(proposed_text(layout, found[1]), latch)


def _items(layout: Layout, kind: type[LineItem]) -> list[tuple[str, int]]:
    return [(n, i) for n, items in layout.lines.items() for i, x in enumerate(items) if isinstance(x, kind)]


def _with_item(layout: Layout, at: tuple[str, int], items: Sequence[LineItem]) -> Layout:
    name, i = at
    old = layout.lines[name]
    return replace(layout, lines={**layout.lines, name: (*old[:i], *items, *old[i + 1 :])})


def _without_a_side(
    rng: random.Random, layout: Layout, kind: type[GapItem | FeedItem], what: str
) -> tuple[str, Layout] | None:
    """One rail less with an insulated joiner or a dropper, at a place that has one."""
    places = _items(layout, kind)
    if not places:
        return None
    at = rng.choice(places)
    item = layout.lines[at[0]][at[1]]
    assert isinstance(item, GapItem | FeedItem)
    hand = rng.choice(item.hands)
    rest = tuple(h for h in item.hands if h is not hand)
    return f"{at}: no {what}, {hand}", _with_item(layout, at, [replace(item, hands=rest)] if rest else [])


def _without_joiner(rng: random.Random, layout: Layout) -> tuple[str, Layout] | None:
    return _without_a_side(rng, layout, GapItem, "insulated joiner")


def _without_dropper(rng: random.Random, layout: Layout) -> tuple[str, Layout] | None:
    return _without_a_side(rng, layout, FeedItem, "dropper")


def _swapped_dropper(rng: random.Random, layout: Layout) -> tuple[str, Layout] | None:
    places = _items(layout, FeedItem)
    if not places:
        return None
    at = rng.choice(places)
    item = layout.lines[at[0]][at[1]]
    assert isinstance(item, FeedItem)
    left = Side.B if item.left is Side.A else Side.A
    return f"{at}: swapped droppers", _with_item(layout, at, [replace(item, left=left)])


def _links_left_in(rng: random.Random, layout: Layout) -> tuple[str, Layout] | None:
    file = layout.file
    names = [n for n, p in file.pieces().items() if p.facts[0] is Links.REMOVED]
    if not names:
        return None
    name = rng.choice(names)
    update: dict[str, object] = {}
    for table in ("turnout", "three_way", "slip", "diamond", "piece"):
        pieces = getattr(file, table)
        if name in pieces:
            _, blades, frog = pieces[name].facts
            facts = {"state": None, "links": Links.IN, "blades": blades, "frog": frog}
            update[table] = {**pieces, name: pieces[name].model_copy(update=facts)}
    return f"{name}: links left in", replace(layout, file=file.model_copy(update=update))


def shows(rig: Rig, finding: Finding, seed: int) -> str | None:
    """Bring a finding about on the bench. None where the bench shows it; else what was done in vain."""
    rng = random.Random(seed)
    quiet = ("coil", "leg", "pulse", "blade", "move", "rest", "jump", "train", "fault", "trip-line", "loco-live")
    with rig.bench(seed=seed, drop=quiet) as bench:
        wires = sorted(p for p in finding.path if p in rig.netlist["wires"])
        if finding.code == "short" and not finding.witness:
            seen = [e for e in bench.log.of("spark") if e.facts["cause"] == ["always joined"]]
            return None if any(sorted(e.facts["wires"]) == wires for e in seen) else f"{wires}: never joined"
        driver = Driver(rig, bench, rng)
        witness = dict(finding.witness or {})
        if finding.code == "never-fed":
            over = [r for r in rig.network.roads if set(finding.path) & {*r.left, *r.right}]
            witness = dict(rng.choice(over).when[0])
        target = _around(driver, witness, rng)
        if target is None:
            return None
        away = {d: rng.choice(driver.others(d)) if d in witness else s for d, s in target.items()}
        if driver.allowed(away):
            driver.throw({d: s for d, s in away.items() if d in driver.network.drives})
            driver.settle()
        for _ in range(2):
            # What the short has tripped on the way is turned on again, so that it can be seen once more.
            began = bench.now_us
            for client in driver.clients.values():
                client.request("feed.reset", {})
            for district in rig.layout.file.district:
                bench.fault("supply", district=district)
            bench.advance(500)
            driver.throw(target)
            driver.settle()
        if finding.code == "short":
            seen = [e for e in _sparks_since(driver, began) if _same(rig, e, wires)]
            return None if seen else f"{wires} never met at {target}: {[str(e) for e in driver.bad()][:5]}"
        return _with_trains(driver, finding, target)


def _around(driver: Driver, witness: dict[str, str], rng: random.Random) -> dict[str, str] | None:
    """The witness, and any settings of the other drives with it; None where the drives cannot be brought there."""
    for _ in range(50):
        found = {d: rng.choice(s) for d, s in driver.network.drives.items()} | witness
        if driver.allowed(found):
            return found
    return None


def _sparks_since(driver: Driver, began: int) -> list[Event]:
    """Sparks that began since then, or that had not ended by then."""
    going: dict[tuple[str, ...], Event] = {}
    found: list[Event] = []
    for e in driver.bench.log.sorted(("spark", "spark-end")):
        key = tuple(sorted(e.facts["wires"]))
        if e.t_us >= began and e.kind == "spark":
            found.append(e)
        elif e.kind == "spark":
            going[key] = e
        elif e.t_us < began:
            going.pop(key, None)
    return found + list(going.values())


def _same(rig: Rig, event: Event, wires: Sequence[str]) -> bool:
    """Whether a spark is between these wires, or others of the same conductors."""
    of = rig.circuit.class_of
    return {of[w] for w in event.facts["wires"]} == {of[w] for w in wires} or _sides(event.facts["wires"]) == _sides(
        wires
    )


def _sides(wires: Sequence[str]) -> list[str]:
    return sorted(w[-1] for w in wires)


def _with_trains(driver: Driver, finding: Finding, target: dict[str, str]) -> str | None:
    """Trains over every road that is set: one of them must show the finding."""
    bench, rig = driver.bench, driver.rig
    classes = bench.scenario["classes"]
    rails = {classes[r] for r in finding.path if r in rig.network.piece_of}
    names = {bench.scenario["rails"]["names"][c] for c in rails}
    tried: list[tuple[str, ...]] = []
    for road in rig.network.roads:
        if not holds(road.when, driver.at):
            continue
        route = driver.route(road, held=True)
        tried.append(route)
        began = bench.now_us
        driver.run_train("train", route, 150, tail=False)
        driver.pass_by()
        bench.advance(300)
        if finding.code == "clash" and bench.log.of("spark", since_us=began):
            return None
        if finding.code == "one-wire" and bench.log.of("loco-lost", since_us=began):
            return None
        dead = [e for e in bench.log.of("dead-wheel", since_us=began) if e.facts["rail"] in names]
        if finding.code in ("never-fed", "dead-on-road") and dead:
            return None
    return f"nothing seen at {target} over {tried}: {[str(e) for e in driver.bad()][:5]}"
