import io
import json

import pytest
from fake_board import Cable, FakeBoard
from rich.console import Console

from frogfeed.board.client import Client, Limits
from frogfeed.board.messages import BoardState, Event, LinkCounters, Measurement
from frogfeed.board.watch import Picture, draw, event_line, watch

LONG = "a-very-long-name-for-a-turnout-in-the-yard"


def a_picture() -> Picture:
    state = BoardState.of(
        {
            "board": [{"name": "B1", "all_off": True, "worst_us": 812}],
            "drives": [
                {"name": "T1", "at": "left", "to": None, "moving": False, "pulse_us": 1480},
                {"name": "T2", "at": None, "to": "right", "moving": True, "pulse_us": 1510, "stalled": True},
                {"name": LONG, "at": None, "to": None, "moving": False, "pulse_us": 0},
            ],
            "feeds": [
                {"name": "T1.F", "is": "A", "want": "A", "fault": None, "trips": 0},
                {"name": "T2.F", "is": "off", "want": "B", "fault": "trip", "trips": 3},
            ],
            "sensors": [{"name": "main", "ma": 310}, {"name": "yard", "ma": None}],
        }
    )
    return Picture("B1  Saltmarsh Quay  [dc]", state, LinkCounters(received=7, missed=2))


def drawn(picture: Picture, *, width: int = 80, colour: bool = False) -> str:
    out = io.StringIO()
    Console(file=out, width=width, force_terminal=colour, color_system="standard" if colour else None).print(
        draw(picture)
    )
    return out.getvalue()


@pytest.mark.parametrize("width", [80, 100])
def test_the_view_fits_its_terminal_and_says_all_in_letters(width: int) -> None:
    text = drawn(a_picture(), width=width)
    assert max(len(line) for line in text.splitlines()) <= width
    for word in ("T1", "left", " A ", "off", "FAULT trip", "STALL?", "? not known", "moving", "ALL OFF", "310 mA"):
        assert word in text, word
    assert "no answer" in text and "missed 2" in text and "812 us" in text


def test_events_change_the_picture_at_once() -> None:
    picture = a_picture()
    for kind, facts in (
        ("move", {"drive": "T1", "to": "right"}),
        ("feed", {"feed": "T1.F", "is": "off"}),
        ("fault", {"feed": "T1.F", "why": "sensor"}),
    ):
        picture.take(Event(0, 1500, kind, facts))
    (t1,) = [drive for drive in picture.state.drives if drive.name == "T1"]
    assert (t1.at, t1.to, t1.moving) == (None, "right", True)
    assert picture.state.feeds[0].told == "off"
    assert picture.state.feeds[0].fault == "sensor"
    picture.take(Event(1, 2700, "rest", {"drive": "T1", "at": "right"}))
    picture.take(Event(2, 2700, "clear", {"feed": "T1.F"}))
    picture.take(Measurement(3, 2800, 1, (55,)))
    picture.take(Event(4, 2800, "lost", {"drive": "T2"}))
    assert picture.state.drives[0].at == "right"
    assert picture.state.feeds[0].fault is None
    assert "yard 55 mA" in drawn(picture)
    assert "T1 at right" in drawn(picture)


@pytest.mark.parametrize(
    ("event", "words"),
    [
        (Event(0, 12345, "rest", {"drive": "T1", "at": "left"}), "12.345 s  T1 at left"),
        (Event(0, 0, "trip", {"feed": "T1.F", "by": "sensor", "trips": 2}), "T1.F TRIP by sensor (number 2)"),
        (Event(0, 0, "input", {"input": "b1", "on": False}), "b1 off"),
        (Event(0, 0, "chip", {"chip": 0, "ok": False}), "chip 0 DOES NOT ANSWER"),
        (Event(0, 0, "something-new", {"x": 1}), "something-new x=1"),
    ],
)
def test_events_as_lines(event: Event, words: str) -> None:
    assert words in event_line(event)


def test_currents_are_told_by_name_and_only_where_they_changed() -> None:
    picture = a_picture()
    said = []
    for ma in ((0, None), (0, None), (0, 7), (3, 7), (3, 7)):
        measured = Measurement(0, 500, 0, ma)
        said.append(picture.line(measured))
        picture.take(measured)
    assert [line and line.split("s  ")[1] for line in said] == [
        "current main 0 mA, yard no answer", None, "current yard 7 mA", "current main 3 mA", None
    ]  # fmt: skip
    assert "sensor 2 5 mA" in str(picture.line(Measurement(1, 500, 2, (5,))))


def test_every_event_of_the_firmware_has_words() -> None:
    from frogboard import methods

    for kind, _, params in methods.EVENTS:
        line = event_line(Event(0, 0, kind, {name: "x" for name, _ in params}))
        assert not line.strip().endswith("=x"), kind


@pytest.mark.parametrize("terminal", [False, True])
def test_watching_a_board(terminal: bool) -> None:
    board = FakeBoard()
    client = Client(Cable(board).open, limits=Limits())
    client.connect()
    board.event("start")
    client.request("throw", {"drive": "T1", "to": "right"})
    out = io.StringIO()
    console = Console(file=out, width=80, force_terminal=terminal, color_system=None)
    watch(client, console, seconds=3)
    assert "T1 moves to right" in out.getvalue()
    assert "T1 at right" in out.getvalue()
    if not terminal:
        assert "\x1b" not in out.getvalue()
    rates = [params["every_ms"] for name, params in board.calls if name == "watch"]
    assert rates == [500, 0]


def test_the_watch_ends_when_told() -> None:
    client = Client(Cable(FakeBoard()).open, limits=Limits())
    watch(client, Console(file=io.StringIO()), stop=lambda: client.now_s() > 1)
    assert client.now_s() < 3


def test_errors_are_told_with_their_cure_also_to_programs() -> None:
    from frogfeed.board.errors import NoPort

    problem = NoPort("there is no such port", where="/dev/x", why="not plugged in", cure="plug it in")
    assert str(problem) == "/dev/x: there is no such port\n  why: not plugged in\n  do:  plug it in"
    assert json.loads(json.dumps(problem.as_dict()))["code"] == "no-port"
