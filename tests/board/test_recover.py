import json
import os
import pty
import threading
import tty
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
import railway
from fake_board import Cable, FakeBoard

from frogfeed.bench.bench import Bench
from frogfeed.board.client import Client
from frogfeed.board.commands import throw, trim
from frogfeed.board.discover import MAKER_VID, Seen, State, look_around, probe
from frogfeed.board.errors import PushFailed, WrongBoard
from frogfeed.board.image.drive import BootDrive
from frogfeed.board.messages import Hello, Trim
from frogfeed.board.ports import Port
from frogfeed.board.recover import check_replacement, recover, serial_number_value, trim_values, with_trims
from frogfeed.board.transfer import push_board
from frogfeed.board.transport import SteppedTransport, open_serial
from frogfeed.layout.reading import read_layout_text
from frogfeed.layout.writing import with_values

TEXT, DOCUMENTS, SCENARIO = railway.built()
((NAME, DOCUMENT),) = DOCUMENTS.items()


def test_the_layout_comes_back_with_the_trims_in_it() -> None:
    with Bench(SCENARIO) as bench:
        client = Client(lambda: SteppedTransport(bench.serial()))
        client.connect()
        push_board(client, DOCUMENT, TEXT.encode())
        throw(client, "T2", "right")
        at = client.state().drive("T2")
        assert at is not None
        trim(client, "T2", "right", at.pulse_us + 33, keep=True)
        back = recover(client)
    assert back.text == TEXT and back.fits and back.document == DOCUMENT
    before, after = read_layout_text(TEXT, "a"), read_layout_text(back.trimmed, "b")
    drive = after.file.drive["T2"]
    assert drive.pulse_us is not None
    assert drive.pulse_us["right"] == at.pulse_us + 33
    content = json.loads(DOCUMENT)
    (t2,) = [d for d in content["drives"] if d["name"] == "T2"]
    assert drive.pulse_us["left"] == t2["pulse_us"][t2["settings"].index("left")]
    assert after.file.turnout == before.file.turnout
    assert "# A layout file for frogfeed." in back.trimmed, "comments are kept"


def test_a_board_that_holds_nothing_says_so() -> None:
    client = Client(Cable(FakeBoard()).open)
    client.connect()
    with pytest.raises(PushFailed, match="no layout file"):
        recover(client)


def test_a_text_that_does_not_belong_to_the_settings_is_told() -> None:
    board = FakeBoard()
    board.files = {"layout": b"[layout]\nname = 'x'\n", "settings": DOCUMENT}
    client = Client(Cable(board).open)
    client.connect()
    assert not recover(client).fits
    board.files["layout"] = b"\xff\xfe"
    with pytest.raises(PushFailed, match="no text"):
        recover(client)


def test_trims_are_written_where_they_belong() -> None:
    values = trim_values(DOCUMENT, [Trim("T1", "left", 1234)])
    assert values["drive", "T1", "pulse_us", "left"] == 1234
    assert set(values) == {("drive", "T1", "pulse_us", "left"), ("drive", "T1", "pulse_us", "right")}
    assert with_trims(TEXT, DOCUMENT, []) == TEXT
    assert trim_values(b"broken", [Trim("T1", "left", 1)]) == {("drive", "T1", "pulse_us", "left"): 1}


def a_hello(**facts: Any) -> Hello:
    return Hello.of({"id": "aaaa", "board": None, "layout": None, **facts})


def test_which_board_may_become_another_one() -> None:
    check_replacement(a_hello(), "B1", "bbbb", "")
    check_replacement(a_hello(board="B1"), "B1", None, "")
    with pytest.raises(WrongBoard, match="itself"):
        check_replacement(a_hello(id="AAAA"), "B1", "aaaa", "")
    with pytest.raises(WrongBoard, match="B2 of Quay"):
        check_replacement(a_hello(board="B2", layout="Quay"), "B1", "bbbb", "")


def test_the_new_serial_number_goes_into_the_file() -> None:
    text = TEXT + '\n[board.B1]\nprofile = "direct-relay"  # under the quay\n'
    changed = with_values(text, serial_number_value("B1", "e661"))
    assert read_layout_text(changed, "x").file.board["B1"].serial == "e661"
    assert "# under the quay" in changed


# ---- what is plugged in


class Talker:
    """A pseudo terminal that answers every line with the same words."""

    def __init__(self, words: bytes) -> None:
        self.master, self.slave = pty.openpty()
        tty.setraw(self.master)
        tty.setraw(self.slave)
        self.path = os.ttyname(self.slave)
        self.words = words
        threading.Thread(target=self._serve, daemon=True).start()

    def _serve(self) -> None:
        try:
            while os.read(self.master, 4096):
                if self.words:
                    os.write(self.master, self.words)
        except OSError:
            return

    def close(self) -> None:
        os.close(self.slave)
        os.close(self.master)


@pytest.fixture
def talkers() -> Iterator[dict[str, Talker]]:
    made = {
        "prompt": Talker(b'\r\n>>> {"jsonrpc": ...\r\nTraceback\r\n>>> '),
        "other": Talker(b"$GPRMC,123519,A,4807.038,N*6A\r\n"),
        "mute": Talker(b""),
    }
    yield made
    for talker in made.values():
        talker.close()


def test_what_is_plugged_in_and_what_to_do_with_it(talkers: dict[str, Talker], tmp_path: Path) -> None:
    with Bench(SCENARIO, virtual=False) as bench:
        ports = [
            Port(bench.port(), "0000000100000000", MAKER_VID, 5),
            Port(talkers["prompt"].path, "e1", MAKER_VID, 5),
            Port(talkers["other"].path, "e2", MAKER_VID, 5),
            Port(talkers["mute"].path, "e3", MAKER_VID, 5),
            Port("/dev/ttyUSB7", "somebody-else", 0x1234, 1),
            Port("/dev/ttyS0"),
        ]
        seen = look_around(ports=ports, drives=[BootDrive(tmp_path, "RP2350", "RP2350")])
        states = [item.state for item in seen]
        assert states == [
            State.OURS,
            State.RUNTIME,
            State.UNKNOWN,
            State.UNKNOWN,
            State.NOT_ASKED,
            State.BOOTLOADER,
        ]
        ours = seen[0]
        assert ours.hello is not None and ours.hello.firmware == "0.1.0"
        assert "frogfeed push" in ours.next_step
        assert all(item.next_step for item in seen)
        assert json.loads(json.dumps([item.as_dict() for item in seen]))[5]["chip"] == "RP2350"
        taken = open_serial(bench.port())
        try:
            assert probe(ports[0], lambda: open_serial(bench.port())).state is State.BUSY
        finally:
            taken.close()


def test_a_port_named_by_hand_is_asked_whatever_its_number(talkers: dict[str, Talker]) -> None:
    (seen,) = look_around(also=[talkers["prompt"].path], ports=[], drives=[])
    assert seen.state is State.RUNTIME


def test_a_board_with_other_firmware_is_ours_all_the_same() -> None:
    board = FakeBoard(board="B3")
    board.fingerprint = "00000000"
    seen = probe(Port("x"), Cable(board).open)
    assert seen == Seen("x", State.OTHER_VERSION, board.chip_id, hello=seen.hello)
    assert "install" in seen.next_step
