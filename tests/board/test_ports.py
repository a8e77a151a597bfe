import os
import pty
import threading
import tty
from collections.abc import Iterator
from pathlib import Path

import pytest
from fake_board import FakeBoard

from frogfeed.board.client import Client, Limits
from frogfeed.board.errors import (
    AmbiguousPort,
    BoardError,
    BoardVanished,
    NoPort,
    PortBusy,
    PortStalled,
    PortVanished,
)
from frogfeed.board.ports import Port, find_port, list_ports, opener_for
from frogfeed.board.transfer import push
from frogfeed.board.transport import open_serial

ONE = Port("/dev/ttyACM0", "E661A", 0x2E8A, 5, "one")
OTHER = Port("/dev/ttyACM1", "E661B", 0x2E8A, 5, "other")
BUILT_IN = Port("/dev/ttyS0")
QUICK = Limits(answer_s=1.0, reconnect_s=0.3, retry_pause_s=0.05)


def test_a_named_port_is_taken_as_it_is() -> None:
    assert find_port(device="/dev/pts/9", serial_number="x", ports=[]) == "/dev/pts/9"


def test_a_board_is_found_by_its_serial_number_whatever_its_port() -> None:
    assert find_port(serial_number="e661b", ports=[ONE, OTHER]) == "/dev/ttyACM1"
    with pytest.raises(NoPort, match="E661C") as caught:
        find_port(serial_number="E661C", ports=[ONE, OTHER])
    assert "E661A" in caught.value.why


def test_with_nothing_named_only_a_single_usb_port_is_taken() -> None:
    assert find_port(ports=[BUILT_IN, ONE]) == "/dev/ttyACM0"
    with pytest.raises(NoPort):
        find_port(ports=[BUILT_IN])
    with pytest.raises(AmbiguousPort, match="E661A") as caught:
        find_port(ports=[ONE, OTHER])
    assert caught.value.candidates == ("/dev/ttyACM0", "/dev/ttyACM1")


def test_two_ports_of_one_serial_number_are_not_guessed_at() -> None:
    twin = Port("/dev/ttyACM7", ONE.serial_number, 0x2E8A, 5)
    with pytest.raises(AmbiguousPort, match="E661A"):
        find_port(serial_number="E661A", ports=[ONE, twin])


def test_the_ports_of_this_computer_can_be_listed() -> None:
    assert all(isinstance(port, Port) for port in list_ports())


def test_after_re_plugging_the_port_is_looked_for_anew() -> None:
    seen: list[str] = []

    def ports() -> list[Port]:
        seen.append("looked")
        return [ONE]

    opener = opener_for(serial_number="nobody", ports=ports)
    for _ in range(2):
        with pytest.raises(NoPort):
            opener()
    assert len(seen) == 2


def test_a_port_that_is_not_there_and_one_that_is_no_port(tmp_path: Path) -> None:
    with pytest.raises(NoPort) as caught:
        open_serial("/dev/ttyNoSuchThing")
    assert "frogfeed boards" in caught.value.cure
    assert caught.value.exit_code == 3
    (tmp_path / "plain").write_text("no port")
    with pytest.raises(NoPort):
        open_serial(str(tmp_path / "plain"))


class PtyBoard:
    """A `FakeBoard` behind a pseudo terminal, served by a thread."""

    def __init__(self) -> None:
        self.board = FakeBoard()
        self.master, slave = pty.openpty()
        tty.setraw(self.master)
        self.path = os.ttyname(slave)
        self._slave = slave  # held open, so that closing the client's end does not end the terminal
        self.deaf = False
        self.closed = threading.Event()
        self.leave_after: int | None = None
        self.taken = 0
        self._thread = threading.Thread(target=self._serve, daemon=True)
        self._thread.start()

    def _serve(self) -> None:
        import select

        while not self.closed.is_set():
            ready = select.select([self.master], [], [], 0.005)[0]
            if ready and not self.deaf:
                data = os.read(self.master, 4096)
                self.taken += len(data)
                self.board.write(data)
            out = self.board.read()
            while out:
                out = out[os.write(self.master, out) :]
            self.board.advance(5)
            if self.leave_after is not None and self.taken >= self.leave_after:
                self.closed.set()
        os.close(self._slave)
        os.close(self.master)

    def end(self) -> None:
        self.closed.set()
        self._thread.join(5)


@pytest.fixture
def pty_board() -> Iterator[PtyBoard]:
    board = PtyBoard()
    yield board
    board.end()


def test_a_push_over_a_real_serial_port(pty_board: PtyBoard) -> None:
    text = bytes(32 + i % 90 for i in range(5000))
    with Client(opener_for(device=pty_board.path), limits=QUICK) as client:
        push(client, "layout", text)
    assert pty_board.board.files["layout"] == text


def test_a_port_has_one_user_only(pty_board: PtyBoard) -> None:
    with Client(opener_for(device=pty_board.path), limits=QUICK), pytest.raises(PortBusy) as caught:
        open_serial(pty_board.path)
    assert "another program" in caught.value.what


def test_a_port_that_vanishes_in_mid_push_is_told_in_time(pty_board: PtyBoard) -> None:
    with Client(opener_for(device=pty_board.path), limits=QUICK) as client:
        pty_board.leave_after = pty_board.taken + 3000
        with pytest.raises((BoardVanished, PortVanished)) as caught:
            push(client, "layout", b"x" * 20_000)
    assert caught.value.cure
    assert isinstance(caught.value, BoardError)
    assert "layout" not in pty_board.board.files


def test_a_board_that_stops_reading_does_not_hold_the_laptop_for_ever(pty_board: PtyBoard) -> None:
    port = open_serial(pty_board.path)
    pty_board.deaf = True
    try:
        with pytest.raises(PortStalled):
            for _ in range(100):
                port.write(b"x" * 4096)
    finally:
        port.close()
