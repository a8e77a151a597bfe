"""The client against the real firmware on the bench, in virtual time and over a pseudo terminal."""

from collections.abc import Iterator

import pytest
import railway

from frogboard import settings
from frogfeed.bench.bench import Bench
from frogfeed.board.client import Client, Expected, Limits
from frogfeed.board.commands import all_off, feed_reset, throw, trim
from frogfeed.board.errors import BoardRefused, OtherSettings, WrongBoard
from frogfeed.board.messages import Event, Measurement
from frogfeed.board.ports import opener_for
from frogfeed.board.transfer import pull, push, push_board
from frogfeed.board.transport import SteppedTransport
from frogfeed.board.trouble import settings_differ

TEXT, DOCUMENTS, SCENARIO = railway.built()
((NAME, DOCUMENT),) = DOCUMENTS.items()


@pytest.fixture
def bench() -> Iterator[Bench]:
    with Bench(SCENARIO) as bench:
        yield bench


def a_client(bench: Bench, **options: object) -> Client:
    return Client(lambda: SteppedTransport(bench.serial(), name="bench"), **options)  # type: ignore[arg-type]


def test_from_a_bare_board_to_a_thrown_turnout(bench: Bench) -> None:
    client = a_client(bench)
    hello = client.connect()
    assert hello.settings is None and hello.reason
    with pytest.raises(BoardRefused, match="settings"):
        throw(client, "T2", "right")
    push_board(client, DOCUMENT, TEXT.encode())
    assert client.hello is not None and client.hello.board == NAME
    assert settings_differ(client.hello, settings.crc_of(DOCUMENT), None, "") is None
    for to in ("right", "left", "right"):
        done = throw(client, "T2", to)
        assert done.at == to and done.seconds < 10
    state = client.state()
    assert {drive.name for drive in state.drives} == {"T1", "T2"}
    at = state.drive("T2")
    assert at is not None and at.at == "right"
    assert not bench.log.of("spark")
    assert client.counters.missed == 0


def test_what_was_pushed_comes_back(bench: Bench) -> None:
    client = a_client(bench)
    client.connect()
    assert pull(client, "settings") is None
    push_board(client, DOCUMENT, TEXT.encode())
    for what, data in (("settings", DOCUMENT), ("layout", TEXT.encode())):
        pulled = pull(client, what)  # type: ignore[arg-type]
        assert pulled is not None and pulled.data == data
    done = push_board(client, DOCUMENT, TEXT.encode())
    assert all(part.unchanged for part in done)


def test_the_cable_pulled_in_mid_push_and_the_push_resumed(bench: Bench) -> None:
    client = a_client(bench, limits=Limits(reconnect_s=5, retry_pause_s=0.01))
    client.connect()
    serial = bench.serial()
    done: list[int] = []

    def progress(what: str, at: int, size: int) -> None:
        done.append(at)
        if at and not client.counters.reconnects:
            serial.plug(False)
            serial.plug(True)
            # the transport that was open is gone: what the client sees is a port that vanished
            client._transport = _Gone(client._transport)  # type: ignore[assignment,arg-type]

    push(client, "layout", TEXT.encode(), progress=progress)  # type: ignore[arg-type]
    assert client.counters.reconnects == 1
    assert done == sorted(done)
    pulled = pull(client, "layout")
    assert pulled is not None and pulled.data == TEXT.encode()


class _Gone:
    def __init__(self, transport: SteppedTransport) -> None:
        self._transport = transport
        self.name = transport.name

    def read(self, timeout_s: float) -> bytes:
        from frogfeed.board.errors import PortVanished

        raise PortVanished("the cable came out")

    write = read  # type: ignore[assignment]

    def now_s(self) -> float:
        return self._transport.now_s()

    def close(self) -> None:
        pass


def test_a_noisy_cable_changes_nothing_but_the_counters(bench: Bench) -> None:
    client = a_client(bench, limits=Limits(answer_s=0.3, tries=8))
    client.connect()
    serial = bench.serial()
    count = [0]

    def noise(data: bytes) -> bytes:
        count[0] += 1
        return data[:-3] + b"\xff" + data[-3:] if count[0] % 3 == 0 else data

    serial.mangle(noise)
    push_board(client, DOCUMENT, TEXT.encode())
    assert throw(client, "T2", "right").at == "right"
    serial.mangle(None)
    assert client.counters.resent > 0
    assert client.state().board.bad_lines > 0
    assert not bench.log.of("spark")


def test_the_wrong_board_and_old_settings(bench: Bench) -> None:
    client = a_client(bench)
    client.connect()
    push_board(client, DOCUMENT, TEXT.encode())
    with pytest.raises(WrongBoard):
        a_client(bench, expected=Expected(board="B7")).connect()
    with pytest.raises(WrongBoard):
        a_client(bench, expected=Expected(chip_id="no such chip")).connect()
    with pytest.raises(OtherSettings):
        a_client(bench, expected=Expected(layout_hash="0" * 16)).require_settings()


def test_trim_all_off_reset_and_measurements(bench: Bench) -> None:
    client = a_client(bench)
    client.connect()
    push_board(client, DOCUMENT, TEXT.encode())
    throw(client, "T2", "right")
    before = client.state().drive("T2")
    assert before is not None
    pulse = before.pulse_us + 20
    assert trim(client, "T2", "right", pulse) == pulse
    assert [(t.drive, t.setting, t.pulse_us) for t in client.state().trims] == [("T2", "right", pulse)]
    off, held = all_off(client)
    assert off + held == len(client.state().feeds)
    assert client.state().board.all_off
    feed_reset(client)
    assert not client.state().board.all_off
    with pytest.raises(BoardRefused, match="T9"):
        throw(client, "T9", "left")
    client.watch(100)
    heard = list(client.notifications(1.0))
    assert all(isinstance(item, (Event, Measurement)) for item in heard)


def test_over_a_pseudo_terminal_in_real_time() -> None:
    with Bench(SCENARIO, virtual=False) as bench:
        opener = opener_for(device=bench.port())
        with Client(opener) as client:
            push_board(client, DOCUMENT, TEXT.encode())
            assert throw(client, "T1", "right").at == "right"
        with Client(opener, expected=Expected(board=NAME)) as again:
            drive = again.state().drive("T1")
            assert drive is not None and drive.at == "right"
        assert not bench.log.of("spark")
