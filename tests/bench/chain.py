"""The whole chain on one railway: bare plan, proposal, file, check, plan, settings; and then the bench, hard driven."""

from __future__ import annotations

import random
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from frogboard import settings as board_settings
from frogfeed.bench.bench import Bench
from frogfeed.bench.events import BAD, Event
from frogfeed.bench.link import client_of
from frogfeed.bench.rig import Rig, rig_of
from frogfeed.bench.route import LOCO, legs, wagon, walk
from frogfeed.board.client import Client
from frogfeed.board.lines import request_line
from frogfeed.checking import all_findings
from frogfeed.electrics.circuit import USUAL
from frogfeed.electrics.report import report, report_json, report_text
from frogfeed.electrics.survey import survey
from frogfeed.findings.finding import Finding, Severity
from frogfeed.findings.show import show_json, show_sarif, show_text
from frogfeed.layout.positions import KeyPath
from frogfeed.layout.proposal_text import proposed_text
from frogfeed.layout.reading import read_layout_text
from frogfeed.layout.schema import DriveKind
from frogfeed.layout.writing import Value, with_values
from frogfeed.plan.budget import servo_budget
from frogfeed.plan.model import PlanRefusedError
from frogfeed.plan.paths import output_paths
from frogfeed.sheets.book import build_book
from frogfeed.sheets.make import draw_all
from frogfeed.sheets.paper import PAPERS
from frogfeed.sheets.words import Words
from frogfeed.track.assembly.assemble import assemble
from frogfeed.track.meter.readings import meter_plan
from frogfeed.track.meter.trace import trace
from frogfeed.track.network.conditions import holds
from frogfeed.track.network.model import RailNetwork, Road
from frogfeed.track.propose.proposal import propose
from frogfeed.track.solver.set_roads import SetRoads
from tests.bench.bare_plans import bare_plan
from tests.track import brute

NAME = "random.toml"
BOARDS: tuple[tuple[str, ...], ...] = (
    ("direct-relay",),
    ("solid-state",),
    ("expander",),
    ("expander", "direct-relay"),
    ("expander", "expander"),
)
"""Boards to try, from the smallest."""
NO_BOARD = {"plan-no-room", "plan-table-drives", "plan-needs-off", "plan-hand-settings", "plan-no-output"}
"""Why a sound railway may have no plan on any of these boards."""
ASKS = {"plan-changeover-window", "plan-output-kind", "plan-bare-changeover", "plan-hand-no-off"}
"""Why it may have none with the changeovers that were asked for."""
SETTLE_MS = 900.0
PASS_MS = 60_000.0


class NoCase(Exception):  # noqa: N818 - no error: this railway has nothing to say
    """A railway that the property says nothing of, and why."""


def errors(findings: Sequence[Finding]) -> list[Finding]:
    return [f for f in findings if f.severity is Severity.ERROR]


def clean_text(rng: random.Random, most_pieces: int) -> str:
    """A random railway as `plan --from-bare` writes it. Raises NoCase where it says that something is left."""
    bare = read_layout_text(bare_plan(rng, most_pieces), NAME)
    proposal = propose(bare)
    if not proposal.clean:
        raise NoCase("unclean: " + ", ".join(sorted({f.code for f in errors(proposal.findings)} or {"warning"})))
    text = proposed_text(bare, proposal.layout)
    again = read_layout_text(text, NAME)
    twice = propose(again)
    assert twice.items == (), [str(i) for i in twice.items]
    return text


def planned(rng: random.Random, text: str, asked: float = 0.3) -> Rig:
    """The railway on boards on which it fits, some of its frogs on changeovers. Raises NoCase where it fits none."""
    layout = read_layout_text(text, NAME)
    network = assemble(layout)
    frogs = sorted({s.piece for s in network.switched} & layout.file.pieces().keys())
    tables = {n: t for t, ps in _tables(layout.file).items() for n in ps}
    wishes = {n for n in frogs if rng.random() < asked} if rng.random() < 0.5 else set()
    refused: set[str] = set()
    first = rng.randrange(4)
    for wish in (wishes, set()) if wishes else (set(),):
        for names in BOARDS[first:]:
            changes: dict[KeyPath, Value] = {("board", f"B{i}", "profile"): p for i, p in enumerate(names, 1)}
            changes |= {(tables[n], n, "output"): "changeover" for n in wish}
            try:
                rig = rig_of(with_values(text, changes), NAME)
            except PlanRefusedError as no:
                refused |= {f.code for f in errors(no.findings)}
                continue
            if rig.documents:
                return rig
            raise NoCase("nothing to drive")
    assert refused <= NO_BOARD | ASKS, refused
    raise NoCase("no board: " + ", ".join(sorted(refused)))


def _tables(file: Any) -> dict[str, Mapping[str, Any]]:
    return {
        "turnout": file.turnout,
        "three-way": file.three_way,
        "slip": file.slip,
        "diamond": file.diamond,
        "piece": file.piece,
    }


def check_chain(rig: Rig) -> None:
    """No error in the file as planned, and every board's firmware takes its settings."""
    found = errors(list(all_findings(rig.layout, rig.network)))
    assert not found, [(f.code, f.what) for f in found]
    for document in rig.documents.values():
        content, reason = board_settings.load(document)
        assert content is not None, reason


@dataclass
class Driver:
    """Somebody at the panel of a railway on the bench, by chance and seed."""

    rig: Rig
    bench: Bench
    rng: random.Random
    clients: dict[str, Client] = field(default_factory=dict)
    at: dict[str, str] = field(default_factory=dict)
    wrong: list[str] = field(default_factory=list)
    passes: int = 0
    throws: int = 0
    dark: list[tuple[int, int, tuple[str, ...]]] = field(default_factory=list)
    """Stretches of time in which a train stood where the feed changes over or is off, and the events that may be."""

    def __post_init__(self) -> None:
        for board in self.rig.documents:
            self.clients[board] = client_of(self.bench, board, step_ms=5)
            self.clients[board].connect()
        self.at = {d: s[0] for d, s in self.network.drives.items()}
        self.roads = SetRoads(self.network)
        self.by_name = {n: r for r in self.network.roads for n in (r.name, turned(r.name))}

    @property
    def network(self) -> RailNetwork:
        return self.rig.network

    def board_of(self, drive: str) -> str | None:
        """The board that serves a drive; None for one that no board reads."""
        return next((b.name for b in self.rig.plan.boards if any(d.need.name == drive for d in b.drives)), None)

    def by_hand(self, drive: str) -> bool:
        table = self.rig.layout.file.drive.get(drive)
        return table is not None and table.kind is DriveKind.HAND

    def allowed(self, at: Mapping[str, str]) -> bool:
        return not holds(self.network.forbidden, at)

    # ---- throwing -------------------------------------------------------------------------------------

    def throw(self, targets: Mapping[str, str]) -> None:
        """Several drives at once, in one breath; they are under way when this returns."""
        lines: dict[str, bytes] = {}
        for drive, to in targets.items():
            self.at[drive] = to
            self.throws += 1
            if self.by_hand(drive):
                self.bench.hand(drive, to, travel_ms=self.rng.choice([120.0, 300.0, 700.0]))
            elif (board := self.board_of(drive)) is not None:
                line = request_line(1_000_000 + self.throws, "throw", {"drive": drive, "to": to})
                lines[board] = lines.get(board, b"") + line
        for board, data in lines.items():
            self.bench.serial(board).write(data)

    def settle(self) -> None:
        """Wait until every drive rests where it was sent, and its feeds have followed."""
        self.bench.advance(60)
        for _ in range(100):
            states = [d for c in self.clients.values() for d in c.state().drives]
            if all(d.at == self.at[d.name] and not d.moving for d in states):
                break
            self.bench.advance(200)
        else:
            astray = [(d.name, d.at, self.at[d.name]) for d in states if d.at != self.at[d.name]]
            self.wrong.append(f"did not get there: {astray}")
        self.bench.advance(SETTLE_MS)

    def seat(self) -> None:
        """First power-up: nobody knows where the servos stand, so each is thrown to its first setting."""
        self.throw({d: self.at[d] for d in self.network.drives if not self.by_hand(d)})
        self.settle()

    # ---- looking --------------------------------------------------------------------------------------

    def bad(self) -> list[Event]:
        """What a railway in order never shows; what must be where a train stands in the dark is left out."""
        found = self.bench.log.of(*BAD, "died", "supply-trip", "restart")
        return [e for e in found if not any(a <= e.t_us <= b and e.kind in kinds for a, b, kinds in self.dark)]

    def look(self) -> None:
        """Every rail at rest carries what a flood fill over the netlist says, and every feed what its table says."""
        told = brute.wires_at(self.rig.netlist, self.at)
        seen = self.bench.query()
        classes, spec = self.bench.scenario["classes"], self.bench.scenario["rails"]
        names, nw = spec["names"], spec["nw"]
        no_off = {
            f.need.output for b in self.rig.plan.boards for f in b.feeds if b.profile.switch(f.channel).kind != "pair"
        }
        loose = {classes[s.rail] for s in self.network.switched if s.output in no_off}
        for rail, wires in told.items():
            c = classes[rail]
            if c < nw:
                now: str | None = names[c]
            else:
                wire = seen["rails"][names[c]]
                now = None if wire is None else str(wire)
            if not wires and c in loose:
                continue
            if (now is None) != (not wires) or (now is not None and not any(self.alike(now, w) for w in wires)):
                self.wrong.append(f"{rail} is on {now}, not {sorted(wires)}, at {self.at}")

    def alike(self, a: str, b: str) -> bool:
        """Whether two wires are one, or of one side of districts in phase: an output is wired to one of these."""
        one, two = self.network.wires[a], self.network.wires[b]
        together = one.district == two.district or frozenset((one.district, two.district)) in self.network.in_phase
        return together and one.side is two.side

    # ---- trains ---------------------------------------------------------------------------------------

    def routes(self) -> list[tuple[str, ...]]:
        """The ways of trains over every road that is set now, in the direction of that road."""
        return [self.route(r) for r in self.network.roads if self.is_set(r.name)]

    def route(self, road: Road, held: bool = False) -> tuple[str, ...]:
        """The legs of a train over this road, as far as the track is set both ways; `held`: and onto held track."""
        ahead = self._on(road.name, road, road.end, held)
        behind = self._on(turned(road.name), road, road.start, held)
        return (*map(turned, reversed(behind)), road.name, *ahead)

    def _on(self, name: str, road: Road, end: str, held: bool) -> list[str]:
        """The legs beyond an end, up to where nothing leads on, or a train must wait: see `may_pass`."""
        found: list[str] = []
        before = name
        for n, leg in enumerate(walk(self.network, (road.piece, end), self.at)):
            if leg in (name, turned(name)):
                if n == 0:
                    continue
                break
            if not (self.may_pass(before, leg) and (held or self.is_set(leg))):
                break
            found.append(leg)
            before = leg
        return found

    def is_set(self, leg: str) -> bool:
        """Whether the road of a leg is set as far as a train on it can tell: else it may be held there, unfed."""
        return holds(self.roads.when(self.by_name[leg]), self.at)

    def may_pass(self, before: str, behind: str) -> bool:
        """Whether a train may roll from one leg to the next: not out of a switched section that follows elsewhere."""
        one, two = legs(self.rig.netlist, (before, behind))
        for pair in ({one.left[-1], two.left[0]}, {one.right[-1], two.right[0]}):
            for bridge in self.rig.netlist["bridges"]:
                if set(bridge["rails"]) == pair and not brute.holds(bridge["when"], self.at):
                    return False
        return True

    def depends(self, route: Sequence[str]) -> set[str]:
        """The drives on which a route, or what feeds its rails, depends."""
        net = self.rig.netlist
        under = {r for leg in legs(net, route) for r in (*leg.left, *leg.right)}
        pieces = {leg.partition(":")[0] for leg in route}
        found = {d for r in self.network.roads if r.piece in pieces for t in r.when for d, _ in t}
        classes = self.bench.scenario["classes"]
        touched = {classes[r] for r in under}
        found |= {d for s in self.network.switched if classes[s.rail] in touched for d in s.drives}
        now = brute.wires_at(net, self.at)
        for drive, settings in self.network.drives.items():
            for s in settings:
                if drive not in found and s != self.at[drive]:
                    then = brute.wires_at(net, {**self.at, drive: s})
                    if any(then[r] != now[r] for r in under):
                        found.add(drive)
        return found

    def run_train(self, name: str, route: Sequence[str], speed: int, tail: bool) -> None:
        """Put a train at the start of its route and let it go."""
        vehicles = [LOCO, wagon("van", 85.0)] if tail else [LOCO]
        self.bench.place_train(self.rig.train(name, route, vehicles, speed_mm_per_s=speed))
        self.passes += 1

    def pass_by(self) -> None:
        """Wait until the last train has left."""
        waited = 0.0
        while self.bench.query()["trains"] and waited < PASS_MS:
            self.bench.advance(250)
            waited += 250
        for name in self.bench.query()["trains"]:
            self.bench.remove_train(name)

    def stand_inside(self) -> None:
        """A train stands in each switched section while this changes over: dark for that long, and nothing worse."""
        sections = {s.piece: s for s in self.network.switched if s.piece in self.rig.layout.file.place}
        for place, feed in sections.items():
            train = self.rig.train("waiting", [f"{place}:a-b"], speed_mm_per_s=0, front_mm=150)
            began, live = self.bench.now_us, self.is_set(f"{place}:a-b")
            self.bench.place_train(train)
            self.throw(self.targets(feed.drives, self.rng.choice([1, 2])))
            self.settle()
            self.look()
            self.bench.remove_train("waiting")
            # With unbonded blades the feed is off well before the horn begins to move: the road looks settled so long.
            live = live and self.is_set(f"{place}:a-b") and feed.bonded_blades
            self.dark.append((began, self.bench.now_us, ("loco-lost",) if live else ("loco-lost", "dead-wheel")))

    # ---- a day ----------------------------------------------------------------------------------------

    def others(self, drive: str) -> list[str]:
        return [s for s in self.network.drives[drive] if s != self.at[drive]]

    def targets(self, drives: Sequence[str], count: int) -> dict[str, str]:
        """New settings for some of these drives, so that no forbidden combination comes of it."""
        for _ in range(20):
            chosen = self.rng.sample(sorted(drives), min(count, len(drives)))
            found = {d: self.rng.choice(self.others(d)) for d in chosen if self.others(d)}
            if self.allowed({**self.at, **found}):
                return found
        return {}

    def round(self, trains: int) -> None:
        """Throw some, one perhaps thrown back in mid-travel, look; then trains, while elsewhere drives are thrown."""
        rng = self.rng
        drives = list(self.network.drives)
        self.throw(self.targets(drives, rng.choice([1, 1, 2, 3])))
        if rng.random() < 0.4:
            self.bench.advance(rng.randrange(20, 1500))
            self.throw(self.targets(drives, rng.choice([1, 2])))
        if rng.random() < 0.3:
            self.bench.advance(rng.randrange(20, 600))
            self.throw(self.targets(drives, 1))
        self.settle()
        self.look()
        routes = self.routes()
        rng.shuffle(routes)
        busy: set[str] = set()
        for n, route in enumerate(routes[:trains]):
            way = route if rng.random() < 0.5 else tuple(turned(leg) for leg in reversed(route))
            self.run_train(f"train{n}", way, rng.choice([80, 200, 400, 700, 1000]), rng.random() < 0.4)
            busy |= self.depends(way)
        free = [d for d in drives if d not in busy]
        if free:
            self.bench.advance(rng.randrange(0, 700))
            self.throw(self.targets(free, rng.choice([1, 2])))
        self.pass_by()
        self.settle()

    def both_ways(self) -> None:
        """Every drive to each of its settings and back, in random order."""
        drives = list(self.network.drives)
        self.rng.shuffle(drives)
        for drive in drives:
            for to in [*self.others(drive), self.at[drive]]:
                if self.allowed({**self.at, drive: to}):
                    self.throw({drive: to})
                    self.settle()
                    self.look()


def turned(leg: str) -> str:
    """The same road taken the other way."""
    piece, _, ends = leg.partition(":")
    start, _, end = ends.partition("-")
    return f"{piece}:{end}-{start}"


def drive_hard(rig: Rig, seed: int, rounds: int, trains: int) -> Driver:
    """A day on the bench; what went wrong is in `wrong` of the driver that comes back."""
    quiet = ("coil", "leg", "pulse", "blade", "move", "rest", "jump", "train", "fault", "trip-line", "loco-live")
    with rig.bench(seed=seed, drop=quiet) as bench:
        driver = Driver(rig, bench, random.Random(seed))
        driver.seat()
        driver.look()
        driver.both_ways()
        for _ in range(rounds):
            driver.round(trains)
        driver.stand_inside()
        driver.wrong += [str(e) for e in driver.bad()]
        return driver


def stages(rig: Rig, rng: random.Random) -> None:
    """Everything else that a person may ask of the railway: none of it may raise."""
    layout, network, plan = rig.layout, rig.network, rig.plan
    found = list(all_findings(layout, network))
    show_text(found)
    show_json(found)
    show_sarif(found)
    reports = report(layout, survey(layout, network, output_paths(plan)))
    report_text(reports)
    report_json(reports)
    report(layout, survey(layout, network, USUAL))
    for board in plan.boards:
        servo_budget(board)
    at = {d: rng.choice(s) for d, s in network.drives.items()}
    told = brute.wires_at(rig.netlist, at)
    for rail in network.rails:
        assert set(trace(network, rail, at).ways) == told[rail], (rail, at)
    meter = meter_plan(network)
    book = build_book(layout, network, plan, meter=meter)
    draw_all(layout, network, book, PAPERS["a4"], Words())
