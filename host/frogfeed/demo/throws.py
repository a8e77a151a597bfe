"""One throw of the demo, measured: the drive moves while a train rolls towards it, and then over it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from itertools import takewhile

from frogfeed.bench.bench import Bench
from frogfeed.bench.circuit import build_circuit
from frogfeed.bench.events import Event
from frogfeed.bench.route import LOCO, Vehicle, lay, legs, train_spec, wagon, walk
from frogfeed.bench.setup import physical_of
from frogfeed.board.client import Client
from frogfeed.board.commands import throw
from frogfeed.demo.railway import Ready
from frogfeed.layout.schema import DriveKind
from frogfeed.plan.model import BoardPlan
from frogfeed.track.network.conditions import holds
from frogfeed.track.network.model import Road
from frogfeed.track.network.netlist import netlist

TRAIN: tuple[Vehicle, ...] = (LOCO, wagon("wagon", 80.0))
LENGTH_MM = 125.0
SLOWEST_MM_PER_S, FASTEST_MM_PER_S = 80.0, 600.0
MOST_PASS_MS = 60_000.0
SETTLE_MS = 300.0


@dataclass(frozen=True, slots=True)
class FeedChange:
    """What one feed did in a throw; times in ms after the horn or a relay first moved, None where it did not happen."""

    output: str
    planned_off_ms: float | None
    planned_on_ms: float | None
    off_ms: float | None
    on_ms: float | None
    before: str | None
    after: str | None


@dataclass(frozen=True, slots=True)
class ThrowReport:
    """One throw: how long the servo (or the hand) took, its feeds, and what the bench saw meanwhile."""

    drive: str
    start: str
    to: str
    by_hand: bool
    seconds: float
    servo_ms: float | None
    feeds: tuple[FeedChange, ...]
    route: tuple[str, ...]
    sparks: tuple[Event, ...]
    dead_wheels: tuple[Event, ...]
    other: tuple[Event, ...]

    @property
    def clean(self) -> bool:
        """No spark, no dead wheel, no loco without current, no broken rule."""
        return not (self.sparks or self.dead_wheels or self.other)


def turned(leg: str, road: Road) -> str:
    """The same road taken the other way."""
    return f"{road.piece}:{road.end}-{road.start}" if leg == road.name else road.name


def route_over(ready: Ready, road: Road, settings: Mapping[str, str]) -> tuple[tuple[str, ...], int]:
    """The legs of a train that takes this road, as far as the track is set both ways; and the road's place in them."""
    names = {f"{r.piece}:{r.start}-{r.end}": r for r in ready.network.roads}
    names |= {f"{r.piece}:{r.end}-{r.start}": r for r in ready.network.roads}
    ahead = _from(ready, road, road.end, settings)
    behind = _from(ready, road, road.start, settings)
    back = tuple(turned(leg, names[leg]) for leg in reversed(behind))
    return (*back, road.name, *ahead), len(back)


def _from(ready: Ready, road: Road, end: str, settings: Mapping[str, str]) -> tuple[str, ...]:
    """The legs beyond one end of a road; round an oval they end where it comes to the road again."""
    found = walk(ready.network, (road.piece, end), settings)
    own = {f"{road.piece}:{road.start}-{road.end}", f"{road.piece}:{road.end}-{road.start}"}
    found = found[1:] if found and found[0] in own else found
    return tuple(takewhile(lambda leg: leg not in own, found))


def measure(
    bench: Bench, clients: Mapping[str, Client], ready: Ready, drive: str, to: str, settings: dict[str, str]
) -> ThrowReport:
    """Throw one drive with a train on its way, let the train pass, and report. `settings` is brought up to date."""
    start = settings[drive]
    outputs = [s for s in ready.network.switched if drive in s.drives]
    before = {s.output: bench.wire_of(s.rail) for s in outputs}
    table = ready.layout.file.drive.get(drive)
    by_hand = table is not None and table.kind is DriveKind.HAND
    board = next(b for b in ready.plan.boards if any(d.need.name == drive for d in b.drives))
    settings[drive] = to
    # A road that another drive is set against is none for a train, although this drive is set to it.
    roads = [r for r in ready.network.roads if any((drive, to) in t and holds((t,), settings) for t in r.when)]
    began_us = bench.now_us
    seconds = 0.0
    routes: list[str] = []
    for n, road in enumerate(roads):
        route, index = route_over(ready, road, settings)
        routes.append(" ".join(route))
        lead_mm = _place(bench, ready, route, index)
        done_ms = _done_ms(board, drive)
        speed = (
            min(max(1000.0 * lead_mm / (done_ms + SETTLE_MS), SLOWEST_MM_PER_S), FASTEST_MM_PER_S) if n == 0 else 300.0
        )
        enough = n > 0 or 1000.0 * lead_mm / speed > done_ms
        if enough:
            bench.drive_train("train", speed)
        if n == 0:
            seconds = _throw(bench, clients[board.name], drive, to, by_hand)
            if not enough:
                bench.advance(SETTLE_MS)
                bench.drive_train("train", speed)
        _let_pass(bench)
    if not roads:
        seconds = _throw(bench, clients[board.name], drive, to, by_hand)
    bench.advance(SETTLE_MS)
    after = {s.output: bench.wire_of(s.rail) for s in outputs}
    log = bench.log
    moves = [e for e in log.of("move", "rest", since_us=began_us) if e.facts.get("drive") == drive]
    acts = [e.t_us for e in moves[:1]]
    acts += [e.t_us for e in log.of("coil", since_us=began_us) if e.facts["output"] in {s.output for s in outputs}]
    first_us = min(acts, default=began_us)
    feeds = tuple(
        FeedChange(
            s.output,
            *_planned(board, s.output, drive, to),
            _first(log.where("leg", output=s.output, closed=False), first_us),
            _last(log.where("leg", output=s.output, closed=True), first_us),
            before[s.output],
            after[s.output],
        )
        for s in outputs
    )
    servo_ms = (moves[-1].t_us - moves[0].t_us) / 1000 if len(moves) > 1 else None
    return ThrowReport(
        drive,
        start,
        to,
        by_hand,
        seconds,
        servo_ms,
        feeds,
        tuple(routes),
        tuple(log.of("spark", since_us=began_us)),
        tuple(log.of("dead-wheel", since_us=began_us)),
        tuple(log.of("rule", "loco-lost", "died", since_us=began_us)),
    )


def settle(bench: Bench, clients: Mapping[str, Client], ready: Ready) -> dict[str, str]:
    """First power-up: no servo drive knows where it stands. Throw each to its first setting, one at a time, no trains.

    Returns the settings of all drives.
    """
    settings = {d: s[0] for d, s in ready.network.drives.items()}
    for board in ready.plan.boards:
        for d in board.drives:
            if not d.need.hand:
                throw(clients[board.name], d.need.name, settings[d.need.name])
    bench.advance(SETTLE_MS)
    return settings


def _throw(bench: Bench, client: Client, drive: str, to: str, by_hand: bool) -> float:
    if not by_hand:
        return throw(client, drive, to).seconds
    began = bench.now_us
    bench.hand(drive, to)
    bench.advance(1000)
    return (bench.now_us - began) / 1e6


def _place(bench: Bench, ready: Ready, route: tuple[str, ...], index: int) -> float:
    """Put the train at the beginning of its route; the distance in mm from its front to the road it is for."""
    physical = physical_of(ready.layout, ready.network)
    net = netlist(ready.network)
    circuit = build_circuit(net, {}, physical.in_phase, physical.commons)
    path = legs(net, route, physical.track)
    laid = lay(net, circuit, path, physical.track)
    to_road = sum(leg.length_mm for leg in path[:index])
    front = min(LENGTH_MM, to_road * 0.5)
    bench.place_train(train_spec("train", laid, TRAIN, speed_mm_per_s=0.0, front_mm=front, run_off=True))
    return to_road - front


def _let_pass(bench: Bench) -> None:
    waited = 0.0
    while waited < MOST_PASS_MS:
        bench.advance(250)
        waited += 250
        if not bench.query()["trains"]:
            return
    bench.remove_train("train")


def _done_ms(board: BoardPlan, drive: str) -> float:
    ends = [m.window.done_ms for f in board.feeds for m in f.moves if m.drive == drive]
    motion = next(d.motion for d in board.drives if d.need.name == drive)
    return max([*ends, (motion.travel_ms + motion.lag_ms) if motion is not None else 1000.0])


def _planned(board: BoardPlan, output: str, drive: str, to: str) -> tuple[float | None, float | None]:
    for f in board.feeds:
        if f.need.output == output:
            settings = next(d.need.settings for d in board.drives if d.need.name == drive)
            for m in f.moves:
                if m.drive == drive and settings[m.to] == to:
                    return m.window.off_begin_ms, m.window.on_ms
    return None, None


def _first(events: list[Event], since_us: int) -> float | None:
    times = [e.t_us for e in events if e.t_us >= since_us]
    return (times[0] - since_us) / 1000 if times else None


def _last(events: list[Event], since_us: int) -> float | None:
    times = [e.t_us for e in events if e.t_us >= since_us]
    return (times[-1] - since_us) / 1000 if times else None
