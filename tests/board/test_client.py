import itertools
import json
import random
from typing import Any

import pytest
from fake_board import Cable, FakeBoard, wire
from hypothesis import given, settings
from hypothesis import strategies as st

from frogboard import frame, methods
from frogfeed.board.client import NOT_TWICE, Client, Expected, Limits
from frogfeed.board.commands import NotArrived, feed_reset, maintenance, throw
from frogfeed.board.errors import (
    BoardError,
    BoardRefused,
    BoardVanished,
    LinkNoise,
    NoAnswer,
    NoPort,
    OtherFirmware,
    OtherSettings,
    PortVanished,
    WrongBoard,
)
from frogfeed.board.lines import MessageReader
from frogfeed.board.messages import Event, LinkCounters

QUICK = Limits(answer_s=0.2, hello_s=0.5, reconnect_s=2.0, retry_pause_s=0.01, busy_s=1.0)


def a_client(board: FakeBoard, cuts: list[int] | None = None, **options: Any) -> tuple[Client, Cable]:
    cable = Cable(board, cuts)
    return Client(cable.open, limits=options.pop("limits", QUICK), **options), cable


def test_hello_tells_who_the_board_is() -> None:
    client, _ = a_client(FakeBoard())
    hello = client.connect()
    assert hello.id == "e6614103e7452d2f"
    assert hello.protocol == methods.PROTOCOL
    assert hello.settings is None


@pytest.mark.parametrize("change", [{"protocol": 0}, {"protocol": 9}, {"fingerprint": "00000000"}])
def test_another_firmware_is_refused(change: dict[str, Any]) -> None:
    board = FakeBoard()
    for key, value in change.items():
        setattr(board, key, value)
    with pytest.raises(OtherFirmware) as caught:
        a_client(board)[0].connect()
    assert "frogfeed install" in caught.value.cure


def test_another_board_is_refused_by_its_id_and_by_its_name() -> None:
    with pytest.raises(WrongBoard, match="e6614103e7452d2f"):
        a_client(FakeBoard(), expected=Expected(chip_id="1111"))[0].connect()
    with pytest.raises(WrongBoard, match="B2"):
        a_client(FakeBoard(board="B2"), expected=Expected(board="B1"))[0].connect()
    a_client(FakeBoard(), expected=Expected(chip_id="E6614103E7452D2F", board="B1"))[0].connect()


def test_other_settings_are_told() -> None:
    board = FakeBoard()
    client, _ = a_client(board, expected=Expected(settings="12345678"))
    with pytest.raises(OtherSettings, match="no valid settings"):
        client.require_settings()
    board.files["settings"] = json.dumps({"crc32": "00000001", "layout": "Quay"}).encode()
    client.connect()
    with pytest.raises(OtherSettings, match="00000001"):
        client.require_settings()
    board.files["settings"] = json.dumps({"crc32": "12345678"}).encode()
    client.connect()
    assert client.require_settings().settings == "12345678"


def test_a_silent_board_is_given_up_in_time() -> None:
    board = FakeBoard()
    board.mute = True
    client, _ = a_client(board)
    with pytest.raises(NoAnswer) as caught:
        client.connect()
    assert type(caught.value) is NoAnswer
    assert client.now_s() <= QUICK.hello_s + QUICK.answer_s + 0.1


def test_a_prompt_in_place_of_the_firmware_is_recognised() -> None:
    board = FakeBoard()
    board.mute = True
    board.say(b"MicroPython v1.29.0 on 2026-08-29; board with RP2040\r\nType help()\r\n>>> \r\n>>> ")
    with pytest.raises(LinkNoise) as caught:
        a_client(board)[0].connect()
    assert "firmware is not running" in caught.value.why
    assert "frogfeed install" in caught.value.cure


def test_refusals_carry_number_reason_and_cure() -> None:
    client, _ = a_client(FakeBoard())
    client.connect()
    with pytest.raises(BoardRefused) as caught:
        client.request("throw", {"drive": "T9", "to": "left"})
    assert caught.value.number == methods.UNKNOWN_NAME
    assert "T9" in str(caught.value)
    assert caught.value.exit_code == 3


def test_a_busy_board_is_asked_again_for_a_while_only() -> None:
    board = FakeBoard()
    client, _ = a_client(board)
    client.connect()
    board.busy_for = 3
    assert client.request("watch", {"every_ms": 100}, busy_s=1.0) == {"every_ms": 100}
    board.busy_for = 10**9
    with pytest.raises(BoardRefused) as caught:
        client.request("watch", {"every_ms": 100}, busy_s=0.5)
    assert caught.value.number == methods.BUSY


def test_a_lost_request_is_sent_again_but_never_one_that_must_not_be() -> None:
    board = FakeBoard()
    client, _ = a_client(board)
    client.connect()
    lost = iter([True, True, False])
    board.mangle = lambda line: b"" if next(lost) else line
    assert client.request("watch", {"every_ms": 100}) == {"every_ms": 100}
    assert client.counters.resent == 2
    board.calls.clear()
    board.mangle = lambda line: b""
    with pytest.raises(NoAnswer):
        feed_reset(client)
    assert [name for name, _ in board.calls] == ["feed.reset"]


def test_the_methods_that_are_not_sent_twice_exist() -> None:
    assert all(methods.find(name) for name in NOT_TWICE)


def test_a_late_answer_to_a_request_given_up_is_not_taken_for_another_one() -> None:
    board = FakeBoard()
    client, _ = a_client(board)
    client.connect()
    held: list[bytes] = []
    board.mangle = lambda line: held.append(line) or b""  # type: ignore[func-returns-value]
    with pytest.raises(NoAnswer):
        client.request("hello", timeout_s=0.1)
    board.mangle = lambda line: b"".join(held) + line
    assert client.request("watch", {"every_ms": 70}) == {"every_ms": 70}
    assert client.counters.stale == len(held)


def test_the_state_is_read_page_by_page() -> None:
    client, _ = a_client(FakeBoard())
    client.connect()
    state = client.state()
    assert [drive.name for drive in state.drives] == ["T1", "T2"]
    assert state.feeds[0].told == "A"


def test_a_throw_waits_for_the_drive_to_arrive() -> None:
    client, _ = a_client(FakeBoard())
    client.connect()
    done = throw(client, "T1", "right")
    assert (done.drive, done.at) == ("T1", "right")
    assert 1.2 <= done.seconds < 1.4
    assert [event.kind for event in done.events if isinstance(event, Event)] == ["move", "rest"]


def test_a_throw_is_seen_to_arrive_even_if_its_events_are_lost() -> None:
    board = FakeBoard()
    board.silent_events = True
    client, _ = a_client(board)
    client.connect()
    assert throw(client, "T1", "right").at == "right"
    assert throw(client, "T1", "right").seconds < 1.0


def test_a_drive_that_never_arrives_is_told() -> None:
    board = FakeBoard()
    board._arrive = lambda drive, to: board.drives[drive].update(to=None, moving=False)  # type: ignore[method-assign]
    client, _ = a_client(board)
    client.connect()
    with pytest.raises(NotArrived, match="unknown place"):
        throw(client, "T1", "right")
    board._arrive = lambda drive, to: None  # type: ignore[method-assign]
    with pytest.raises(NotArrived, match="within 3 s"):
        throw(client, "T2", "right", limit_s=3)


def test_gaps_in_the_running_number_are_counted() -> None:
    board = FakeBoard()
    client, _ = a_client(board)
    client.connect()
    board.event("input", input="b1", on=True)
    board.seq += 5
    board.event("input", input="b1", on=False)
    assert [n.seq for n in client.notifications(0.1)] == [0, 6]
    assert client.counters.missed == 5


def test_a_client_comes_back_after_the_cable_was_out_and_goes_on() -> None:
    board = FakeBoard()
    client, cable = a_client(board)
    client.connect()
    client.watch(200)
    cable.cuts = [cable.passed + 40]
    assert client.request("push.begin", {"what": "layout", "size": 4, "crc32": "00000000"})["at"] == 0
    assert client.counters.reconnects == 1
    assert cable.opened == 2
    assert [name for name, _ in board.calls].count("watch") == 2  # the measurements were asked for again


def test_another_board_in_the_same_socket_is_not_gone_on_with() -> None:
    board = FakeBoard()
    client, cable = a_client(board)
    client.connect()
    board.chip_id = "0000000000000bad"
    cable.cuts = [cable.passed]
    with pytest.raises(WrongBoard, match="another board was plugged in"):
        client.request("watch", {"every_ms": 0})


def test_a_board_that_stays_away_is_given_up() -> None:
    board = FakeBoard()
    client, cable = a_client(board, limits=Limits(reconnect_s=0.2, retry_pause_s=0.02))
    client.connect()
    cable.cuts = [cable.passed]

    def gone() -> Any:
        raise NoPort("no such port", where="/dev/ttyACM9")

    client._opener = gone
    with pytest.raises(BoardVanished, match="did not come back within"):
        client.request("watch", {"every_ms": 0})


def test_a_cable_that_never_holds_is_given_up() -> None:
    board = FakeBoard()
    client, cable = a_client(board)
    client.connect()
    one_hello = cable.passed
    cable.cuts = [one_hello + (one_hello + 20) * i + 20 for i in range(100)]
    with pytest.raises(PortVanished):
        client.request("push.begin", {"what": "layout", "size": 4, "crc32": "00000000"})
    assert cable.opened <= QUICK.returns + 2


def test_maintenance_is_not_repeated_when_the_port_goes_with_it() -> None:
    board = FakeBoard()
    client, cable = a_client(board)
    client.connect()
    cable.cuts = [cable.passed + 80]
    maintenance(client)
    assert [name for name, _ in board.calls].count("maintenance") == 1


def test_notifications_go_on_after_re_plugging() -> None:
    board = FakeBoard()
    client, cable = a_client(board)
    client.connect()
    cable.cuts = [cable.passed]
    assert list(client.notifications(0.3)) == []
    board.event("input", input="b1", on=True)
    assert [n.seq for n in client.notifications(0.3)] == [0]
    assert client.counters.reconnects == 1


# ---- noise

MESSAGES = [
    {"jsonrpc": "2.0", "id": 5, "result": {"at": 3}},
    {"jsonrpc": "2.0", "method": "event", "params": {"seq": 1, "ms": 2, "kind": "rest", "drive": "T1"}},
    {"jsonrpc": "2.0", "id": 6, "error": {"code": 2, "message": "no such drive"}},
]
NOISE = st.binary(max_size=40) | st.sampled_from(
    [b"\n", b"\r\n", b">>> ", b"MPY: soft reboot\r\n", b'{"jsonrpc":"2.0","id":5', b"\x00\xff", b"Traceback\r\n"]
)


def cut_up(data: bytes, at: list[int]) -> list[bytes]:
    marks = [0, *sorted(i % (len(data) + 1) for i in at), len(data)]
    return [data[a:b] for a, b in itertools.pairwise(marks)]


@settings(max_examples=400)
@given(
    st.lists(st.tuples(NOISE, st.sampled_from(MESSAGES), st.booleans()), max_size=8),
    st.lists(st.integers(0, 5000), max_size=10),
)
def test_noise_between_lines_never_makes_a_wrong_message(
    parts: list[tuple[bytes, dict[str, Any], bool]], at: list[int]
) -> None:
    """Only messages that were sent come out, in order; after a clean newline none is lost."""
    stream, sent, certain = b"", [], []
    for noise, message, clean in parts:
        stream += noise + (b"\n" if clean else b"") + wire(message)
        sent.append(message)
        if clean:
            certain.append(message)
    reader = MessageReader(LinkCounters())
    got = [message for piece in cut_up(stream, at) for message in reader.feed(piece)]
    rest = iter(sent)
    assert all(any(message == other for other in rest) for message in got)
    remaining = iter(got)
    assert all(any(message == other for other in remaining) for message in certain)


@settings(max_examples=300)
@given(st.binary(max_size=4000))
def test_pure_noise_makes_no_message_at_all(noise: bytes) -> None:
    assert MessageReader(LinkCounters()).feed(noise) == []


@settings(max_examples=300)
@given(st.sampled_from(MESSAGES), st.data())
def test_a_line_with_a_wrong_byte_is_dropped(message: dict[str, Any], draw: st.DataObject) -> None:
    line = bytearray(wire(message))
    at = draw.draw(st.integers(0, len(line) - 2))
    line[at] ^= draw.draw(st.integers(1, 255))
    counters = LinkCounters()
    assert MessageReader(counters).feed(bytes(line)) == []


@pytest.mark.parametrize("length", [63, 64, 65, 127, 128, 129, 511, 512, 513, 1023, 1024])
@pytest.mark.parametrize("piece", [1, 63, 64, 65, 4096])
def test_lines_of_awkward_lengths_arrive_whole(length: int, piece: int) -> None:
    empty = len(wire({"jsonrpc": "2.0", "id": 1, "result": {"x": ""}}))
    message = {"jsonrpc": "2.0", "id": 1, "result": {"x": "y" * (length - empty)}}
    line = wire(message)
    assert len(line) == length
    reader = MessageReader(LinkCounters())
    stream = line * 3
    got = [m for i in range(0, len(stream), piece) for m in reader.feed(stream[i : i + piece])]
    assert got == [message] * 3


def test_a_line_that_is_too_long_is_dropped_and_the_next_one_is_good() -> None:
    counters = LinkCounters()
    reader = MessageReader(counters)
    assert reader.feed(b"x" * 100_000 + b"\n" + wire(MESSAGES[0])) == [MESSAGES[0]]
    assert counters.bad_lines == 1


def test_true_lines_that_are_no_messages_are_dropped() -> None:
    counters = LinkCounters()
    reader = MessageReader(counters)
    for body in (b"5", b"[]", b'{"a":1}', b"[" * 1010, b"not json"):
        assert reader.feed(body + frame.tail(body)) == []
    assert counters.bad_lines == 5


@settings(max_examples=60, deadline=None)
@given(st.integers(0, 2**32))
def test_a_conversation_over_a_line_that_eats_bytes_ends_well_or_with_a_board_error(seed: int) -> None:
    """One line in four is disturbed; every request ends with its own right answer or an error in time."""
    rng = random.Random(seed)

    def disturb(line: bytes) -> bytes:
        if rng.random() < 0.25:
            at = rng.randrange(len(line))
            return line[:at] + rng.randbytes(rng.randrange(4)) + line[at + 1 :]
        return line

    board = FakeBoard()
    board.mangle = disturb
    client, _ = a_client(board, limits=Limits(answer_s=0.1, hello_s=2.0))
    client.connect()
    for every in range(100, 130):
        start = client.now_s()
        try:
            assert client.request("watch", {"every_ms": every}) == {"every_ms": every}
        except BoardError as problem:
            assert isinstance(problem, NoAnswer)
        assert client.now_s() - start <= 0.4
