"""A railway run from its panel alone: from the layout file by plan, settings and push to buttons and lamps."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from functools import cache

import pytest

from frogfeed.bench.bench import Bench
from frogfeed.bench.cases.base import shorts, wrongs
from frogfeed.bench.link import client_of
from frogfeed.bench.rig import Rig, rig_of, yard_layout
from frogfeed.bench.setup import seal_document
from frogfeed.board.client import Client
from frogfeed.board.transfer import push_board
from tests.own_panel import WHOLE_BOARD

PANEL = (
    """
[route.in]
from = "shed"
to = "stop-2"

[button.in]
route = "in"
[button.t1]
drive = "T1"
[lamp.in]
route = "in"
[lamp.t1-left]
drive = "T1"
setting = "left"
"""
    + WHOLE_BOARD
)
RETRIES = 3
TRIPS = f"""
[district.main]
on_trip = "retry"
retries = {RETRIES}
retry_ms = 500
"""


@cache
def railway(profile: str = "expander", flips: bool = False) -> Rig:
    """Two turnouts (T1 isolated, T2 live with unbonded blades) and a panel."""
    text = yard_layout(2, profile).replace("[district.main]", TRIPS.strip())
    if flips:
        text = text.replace("[turnout.T1]", '[turnout.T1]\non_trip = "try-other"\nretries = 1\nretry_ms = 500')
    return rig_of(text + PANEL, "panel.toml")


@contextmanager
def running(rig: Rig, document: bytes | None = None) -> Iterator[tuple[Bench, Client]]:
    """The board without settings, pushed to as a person would; every drive thrown to left once."""
    with rig.bench(pushed=False) as bench:
        client = client_of(bench)
        client.connect()
        push_board(client, document or rig.documents["B1"], rig.layout.text.encode())
        bench.advance(1000)
        client.close()
        client.connect()
        for drive in ("T1", "T2"):
            client.request("throw", {"drive": drive, "to": "left"}, busy_s=20)
            until(bench, lambda d=drive: at(client)[d] == "left")
        bench.advance(1000)
        yield bench, client


def at(client: Client) -> dict[str, str | None]:
    return {d.name: d.at for d in client.state().drives}


def lamps(bench: Bench) -> dict[str, int]:
    return {name.removeprefix("lamp."): on for name, on in bench.query()["lamps"].items()}


def seen(bench: Bench, ms: int) -> dict[str, set[int]]:
    """What each lamp was in a time."""
    found: dict[str, set[int]] = {}
    for _ in range(ms // 20):
        for name, on in lamps(bench).items():
            found.setdefault(name, set()).add(on)
        bench.advance(20)
    return found


def press(bench: Bench, name: str) -> None:
    bench.press(f"button.{name}")
    bench.advance(100)
    bench.press(f"button.{name}", closed=False)
    bench.advance(100)


def until(bench: Bench, done: Callable[[], bool], ms: int = 20_000) -> None:
    end = bench.now_us + 1000 * ms
    while not done():
        assert bench.now_us < end, "it never comes about"
        bench.advance(100)


@pytest.mark.parametrize("profile", ["expander", "direct-relay"])
def test_a_press_lays_the_stored_route_and_its_lamp_says_so(profile: str) -> None:
    with running(railway(profile)) as (bench, client):
        assert lamps(bench) == {"in": 0, "t1-left": 1, "fault": 0, "t2": 0, "off": 0}
        press(bench, "t1")
        assert seen(bench, 500)["t1-left"] == {0}, "on the way to the other setting it is dark"
        until(bench, lambda: at(client) == {"T1": "right", "T2": "left"})
        press(bench, "in")
        assert seen(bench, 600)["in"] == {0, 1}, "both are on the way"
        until(bench, lambda: at(client) == {"T1": "left", "T2": "right"})
        bench.advance(1000)
        assert lamps(bench) == {"in": 1, "t1-left": 1, "fault": 0, "t2": 0, "off": 0}
        assert (bench.wire_of("T1.F"), bench.wire_of("T2.F")) == ("main.B", "main.A")
        assert wrongs(bench) == []


def test_the_lamp_of_a_route_blinks_while_its_last_drive_moves() -> None:
    with running(railway()) as (bench, client):
        bench.press("button.in")
        until(bench, lambda: client.state().board.moving > 0)
        assert seen(bench, 900)["in"] == {0, 1}
        bench.press("button.in", closed=False)
        until(bench, lambda: at(client)["T2"] == "right")
        bench.advance(500)
        assert seen(bench, 600)["in"] == {1}


def test_all_off_turns_the_feeds_off_and_reset_brings_them_back() -> None:
    with running(railway()) as (bench, client):
        press(bench, "off")
        assert lamps(bench)["off"] == 1
        assert (bench.wire_of("T1.F"), bench.wire_of("T2.F")) == (None, "main.B"), "an unbonded frog has its blade"
        assert {f.told for f in client.state().feeds} == {"off"}
        press(bench, "again")
        bench.advance(500)
        assert lamps(bench)["off"] == 0
        assert {f.name: f.told for f in client.state().feeds} == {"T1.F": "B", "T2.F": "B"}
        assert wrongs(bench) == []


def test_a_short_is_tried_again_as_often_as_the_file_says_and_then_stays_off() -> None:
    with running(railway("direct-relay")) as (bench, client):  # each pair has a sensor of its own there
        rails = bench.scenario["classes"]
        bench.fault("metal", rails=[rails["T1.F"], rails["main.A"]])
        until(bench, lambda: bool(bench.log.where("leg", output="T1.F", closed=0)))
        blinking = seen(bench, 1200)
        assert blinking["fault"] == {0, 1} and blinking["t2"] == {0}
        bench.advance(15_000)
        feed = next(f for f in client.state().feeds if f.name == "T1.F")
        assert feed.fault == "trip" and feed.trips == 1 + RETRIES
        count, _ = shorts(bench)
        assert count == 1 + RETRIES
        bench.advance(15_000)
        assert shorts(bench)[0] == count, "latched: it is not fed again"
        assert seen(bench, 600)["fault"] == {0, 1} and seen(bench, 600)["t2"] == {0}
        bench.fault("metal", off=True)
        press(bench, "again")
        bench.advance(1000)
        assert bench.wire_of("T1.F") == "main.B" and lamps(bench)["fault"] == 0
        assert bench.log.of("supply-trip", "restart", "died") == []


def wrongly_wired(rig: Rig) -> bytes:
    """The settings of a board whose wires A and B at T1's frog output have changed places."""
    document = json.loads(rig.documents["B1"])
    feed = next(f for f in document["feeds"] if f["name"] == "T1.F")
    feed["a"], feed["b"] = feed["b"], feed["a"]
    return seal_document(document)


def standing(rig: Rig) -> dict:
    """A train at rest on T1's frog: its pickups join the frog to the rails before and beyond it."""
    return rig.train("standing", ["T1:toe-left"], front_mm=150.0, speed_mm_per_s=0, run_off=False)


def test_a_frog_of_the_wrong_polarity_flips_once_and_then_holds() -> None:
    rig = railway(flips=True)
    with running(rig, wrongly_wired(rig)) as (bench, client):
        assert bench.wire_of("T1.F") == "main.A", "wired wrongly, and nobody has noticed yet"
        bench.place_train(standing(rig))
        bench.advance(10_000)
        assert shorts(bench)[0] == 1
        assert bench.wire_of("T1.F") == "main.B"
        feed = next(f for f in client.state().feeds if f.name == "T1.F")
        assert (feed.told, feed.want, feed.fault, feed.trips) == ("A", "B", None, 1)
        assert lamps(bench)["fault"] == 0
        assert bench.log.of("supply-trip", "died") == []


def test_a_frog_that_draws_too_much_either_way_flips_once_and_latches_after_its_retries() -> None:
    rig = railway(flips=True)
    with running(rig) as (bench, client):
        bench.fault("load", output="T1.F", ma=1900)
        bench.advance(8_000)
        feed = next(f for f in client.state().feeds if f.name == "T1.F")
        assert (feed.told, feed.fault) == ("off", "trip")
        assert feed.trips == 3, "once as the table says, once flipped, and one retry"
        assert seen(bench, 600)["fault"] == {0, 1}


def test_while_all_is_off_buttons_still_lay_routes_and_feeds_stay_off() -> None:
    with running(railway()) as (bench, client):
        press(bench, "off")
        press(bench, "in")
        until(bench, lambda: at(client)["T2"] == "right")
        assert lamps(bench)["off"] == 1 and lamps(bench)["in"] == 1
        assert {f.told for f in client.state().feeds} == {"off"}
