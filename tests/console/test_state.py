"""What pages are shown: the store's changes, the rails as reported, held against the bench's own reckoning."""

from __future__ import annotations

import asyncio
import itertools
import random
from concurrent.futures import ThreadPoolExecutor

from frogboard import methods
from frogfeed.bench.circuit import build_circuit
from frogfeed.board.errors import NoAnswer
from frogfeed.board.messages import Event
from frogfeed.console.owner import Down, Up
from frogfeed.console.picture import DEAD, UNKNOWN
from frogfeed.console.railway import Railway
from frogfeed.console.reports import Reporter
from frogfeed.console.store import Store
from frogfeed.track.network.conditions import holds
from frogfeed.track.network.netlist import netlist
from tests.console.fake import FakeBoard


def test_a_store_tells_each_reader_what_it_has_not_seen() -> None:
    store = Store()
    store.put("a", "x", 1)
    store.put("a", "y", 2)
    assert store.since(0) == {"a": {"x": 1, "y": 2}}
    seen = store.version
    assert not store.put("a", "x", 1)
    store.put("a", "y", None)
    store.put("b", "z", [3])
    assert store.since(seen) == {"a": {"y": None}, "b": {"z": [3]}}
    assert store.since(0) == {"a": {"x": 1}, "b": {"z": [3]}}
    assert store.since(store.version) == {}
    assert store.section("a") == {"x": 1}


def test_random_changes_reach_a_reader_that_looks_now_and_then() -> None:
    store, chance, mine = Store(), random.Random(7), {}
    seen = 0
    for n in range(3000):
        store.put("s", str(chance.randrange(40)), chance.choice([None, n % 9, "text"]))
        if chance.random() < 0.1:
            for key, value in store.since(seen).get("s", {}).items():
                if value is None:
                    mine.pop(key, None)
                else:
                    mine[key] = value
            seen = store.version
            assert mine == store.section("s")


def test_waiting_for_a_change_ends_with_it() -> None:
    async def main() -> None:
        store = Store()
        waits = [asyncio.create_task(store.changed(0)) for _ in range(3)]
        await asyncio.sleep(0)
        store.put("a", "x", 1)
        await asyncio.wait_for(asyncio.gather(*waits), 60.0)

    with ThreadPoolExecutor(1) as pool:
        pool.submit(asyncio.run, main()).result()


def test_rails_at_rest_carry_what_a_plain_flood_fill_says(railway: Railway) -> None:
    """Every setting of all drives, outputs as their tables say: an independent evaluation of the netlist agrees."""
    data = netlist(railway.network)
    drives = list(railway.network.drives)
    for at in itertools.product(*(railway.network.drives[d] for d in drives)):
        settings = dict(zip(drives, at, strict=True))
        told: dict[str, str | None] = {}
        for s in railway.network.switched:
            row = next((r for r in s.rows if holds(r.when, settings)), None)
            told[s.output] = "off" if row is None else str(railway.network.wires[row.wire].side)
        shown = railway.picture.rails({d: frozenset((s,)) for d, s in settings.items()}, told)
        assert shown.wires == flood(data, settings), settings
        assert not shown.shorts


def flood(data: dict, settings: dict[str, str]) -> dict[str, str]:  # type: ignore[type-arg]
    def on(when: list[dict[str, str]]) -> bool:
        return any(all(settings[d] == s for d, s in t.items()) for t in when)

    near: dict[str, set[str]] = {r: set() for r in data["rails"]}
    for a, b in [*data["bonds"], *(c["between"] for c in data["contacts"] if on(c["when"]))]:
        near[a].add(b)
        near[b].add(a)
    fed: dict[str, set[str]] = {r: set() for r in data["rails"]}
    for f in data["feeds"]:
        fed[f["rail"]].add(f["wire"])
    for s in data["switched"]:
        for row in s["table"]:
            if row["wire"] and on(row["when"]):
                fed[s["rail"]].add(row["wire"])
    found = {}
    for rail in data["rails"]:
        seen, queue = {rail}, [rail]
        while queue:
            for there in near[queue.pop()]:
                if there not in seen:
                    seen.add(there)
                    queue.append(there)
        found[rail] = "!".join(sorted({w for r in seen for w in fed[r]}))
    return found


def test_the_bench_joins_the_same_rails(railway: Railway) -> None:
    """The circuit that the virtual board's physics uses groups rails for good as the picture does with all off."""
    circuit = build_circuit(netlist(railway.network), {}, (), ())
    shown = railway.picture.rails({}, {s.output: "off" for s in railway.network.switched})
    by_class: dict[int, set[str]] = {}
    for rail, number in circuit.class_of.items():
        if rail in shown.wires:
            by_class.setdefault(number, set()).add(shown.wires[rail])
    assert len(by_class) >= 8
    assert all(len(wires) == 1 for wires in by_class.values())


def test_a_feed_that_nobody_knows_leaves_its_rails_unknown_not_dead(railway: Railway) -> None:
    settings = {d: frozenset(s[:1]) for d, s in railway.network.drives.items()}
    told = {s.output: "off" for s in railway.network.switched}
    shown = railway.picture.rails(settings, {**told, "T1.F": None})
    assert shown.wires["T1.F"] == UNKNOWN
    assert shown.wires["T2.F"] == DEAD
    assert shown.wires["platform.R1"] == "main.A"


def test_a_wrongly_told_output_shows_as_a_short(railway: Railway) -> None:
    """T5's frog hangs on its blades as well: told the other side at rest, two wires meet."""
    settings = {d: frozenset(s[:1]) for d, s in railway.network.drives.items()}
    told: dict[str, str | None] = {s.output: "off" for s in railway.network.switched}
    shown = railway.picture.rails(settings, {**told, "T5.F": "A"})
    assert shown.wires["T5.F"] == "quay.A!quay.B"
    assert "T5.F" in shown.shorts


def test_blades_are_shown_where_the_board_reports_them_not_where_they_were_sent(railway: Railway) -> None:
    store = Store()
    reporter = Reporter(store, railway)
    board = FakeBoard(railway, "B1")
    reporter.take("B1", Up(board.hello_now(), board.state_now()))
    assert store.get("drives", "T1")["pos"] == 0.0
    board.command("T1", "right")
    reporter.take("B1", Up(board.hello_now(), board.state_now()))
    shown = store.get("drives", "T1")
    assert (shown["to"], shown["at"], shown["pos"]) == ("right", "left", 0.0)
    places = []
    for _ in range(40):
        board.advance(0.05)
        reporter.take("B1", Up(board.hello_now(), board.state_now()))
        places.append(store.get("drives", "T1")["pos"])
    assert places == sorted(places)
    assert places[-1] == 1.0
    assert any(0.2 < p < 0.8 for p in places)


def test_a_drive_whose_place_nobody_knew_has_no_place_until_it_rests(railway: Railway) -> None:
    store = Store()
    reporter = Reporter(store, railway)
    board = FakeBoard(railway, "B1", known=False)
    reporter.take("B1", Up(board.hello_now(), board.state_now()))
    assert store.get("drives", "T1")["pos"] is None
    board.command("T1", "right")
    board.advance(0.3)
    reporter.take("B1", Up(board.hello_now(), board.state_now()))
    assert store.get("drives", "T1")["moving"]
    assert store.get("drives", "T1")["pos"] is None
    board.advance(3.0)
    reporter.take("B1", Up(board.hello_now(), board.state_now()))
    assert store.get("drives", "T1")["pos"] == 1.0


def test_every_event_of_the_firmware_is_told_in_the_log_but_for_what_the_drawing_shows(railway: Railway) -> None:
    store = Store()
    reporter = Reporter(store, railway)
    for n, (kind, _, facts) in enumerate(methods.EVENTS):
        before = len(store.get("log", "lines") or ())
        told = {name: "T1" if name == "drive" else "T1.F" if name == "feed" else "x" for name, _ in facts}
        reporter.take("B1", Event(n, n, kind, {**told, **({"ok": False} if kind == "chip" else {})}))
        lines = store.get("log", "lines") or []
        assert (len(lines) == before + 1) == (kind != "feed"), kind
        assert kind == "feed" or "None" not in lines[-1]["text"], kind


def test_a_virtual_board_that_is_slow_to_begin_is_still_looked_for_and_a_real_one_is_away(railway: Railway) -> None:
    for virtual in (True, False):
        reporter = Reporter(Store(), railway)
        reporter.sent_by_itself |= {"B1"} if virtual else set()
        reporter.take("B1", Down(NoAnswer("no answer to hello within 1.5 s")))
        board = reporter.store.get("boards", "B1")
        assert board["up"] is False and board["settling"] is virtual
