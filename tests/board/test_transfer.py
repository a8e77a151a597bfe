import hashlib
import json
from typing import Any

import pytest
from fake_board import Cable, FakeBoard

from frogboard import methods, settings
from frogfeed.board.client import Client, Limits
from frogfeed.board.errors import PushFailed, WrongBoard
from frogfeed.board.transfer import expected_from, pull, pulled_layout_fits, push, push_board

QUICK = Limits(answer_s=0.1, commit_s=0.3, hello_s=0.5, busy_s=0.2, reconnect_s=2.0, retry_pause_s=0.001)
TEXT = ("".join(f"[turnout.T{i}]\nmade = 'live-frog'\n" for i in range(240))).encode()


CHUNK = methods.CHUNK_BYTES


def a_document(board: str = "B1", layout: bytes = TEXT) -> bytes:
    return settings.seal(
        json.dumps(
            {
                "schema": settings.SCHEMA,
                "layout": "Saltmarsh Quay",
                "layout_hash": hashlib.sha256(layout).hexdigest()[:16],
                "board": board,
                "profile": "test",
                "control": "dc",
                "max_moving": 1,
                "drives": [],
                "feeds": [],
            }
        )
    )


def a_client(board: FakeBoard, cuts: list[int] | None = None, *, reset: bool = False) -> tuple[Client, Cable]:
    cable = Cable(board, cuts, reset=reset)
    client = Client(cable.open, limits=QUICK)
    client._next_number = 1000  # so that every run is as long as the other
    return client, cable


def test_the_document_used_here_is_valid() -> None:
    assert settings.load(a_document())[1] is None


def test_who_is_expected_to_answer_comes_from_the_document() -> None:
    expected = expected_from(a_document("B4"), "abc")
    assert (expected.board, expected.chip_id) == ("B4", "abc")
    assert expected.settings == settings.crc_of(a_document("B4"))
    with pytest.raises(PushFailed):
        expected_from(b"{}")


def test_settings_and_text_arrive_and_come_back() -> None:
    board = FakeBoard()
    client, _ = a_client(board)
    seen: list[tuple[str, int, int]] = []
    push_board(client, a_document(), TEXT, progress=lambda *step: seen.append(step))
    assert board.files == {"settings": a_document(), "layout": TEXT}
    assert seen[-1] == ("settings", len(a_document()), len(a_document()))
    assert [step[1] for step in seen if step[0] == "layout"] == sorted(step[1] for step in seen if step[0] == "layout")
    for what, data in board.files.items():
        pulled = pull(client, what)  # type: ignore[arg-type]
        assert pulled is not None and pulled.data == data
    assert pulled_layout_fits(a_document(), TEXT)
    assert not pulled_layout_fits(a_document(), TEXT + b" ")


def test_a_board_that_holds_the_same_already_is_left_alone() -> None:
    board = FakeBoard()
    client, _ = a_client(board)
    push_board(client, a_document(), TEXT)
    board.calls.clear()
    done = push_board(client, a_document(), TEXT)
    assert all(part.unchanged for part in done)
    assert not [name for name, _ in board.calls if name.startswith("push")]


def test_nothing_held_pulls_as_nothing() -> None:
    client, _ = a_client(FakeBoard())
    client.connect()
    assert pull(client, "layout") is None


def test_settings_for_another_board_are_refused_before_anything_is_sent() -> None:
    board = FakeBoard(board="B2")
    client, _ = a_client(board)
    with pytest.raises(WrongBoard, match="B2"):
        push_board(client, a_document("B1"), TEXT)
    assert not [name for name, _ in board.calls if name.startswith("push")]
    push_board(client, a_document("B1"), TEXT, replace=True)
    assert board.files["settings"] == a_document("B1")


def test_settings_that_the_board_would_refuse_are_not_sent() -> None:
    board = FakeBoard()
    client, _ = a_client(board)
    bad = settings.seal(json.dumps({"schema": 99}))
    with pytest.raises(PushFailed, match="schema"):
        push_board(client, bad, TEXT)
    assert not board.calls


@pytest.mark.parametrize("size", [0, 65537])
def test_a_text_that_no_board_can_hold_is_refused(size: int) -> None:
    board = FakeBoard()
    client, _ = a_client(board)
    with pytest.raises(PushFailed, match=str(size)):
        push_board(client, a_document(), b"#" * size)
    assert board.files == {}


@pytest.mark.parametrize("size", [1, CHUNK - 1, CHUNK, CHUNK + 1, 2 * CHUNK - 1, 2 * CHUNK, 2 * CHUNK + 1])
def test_sizes_about_whole_chunks(size: int) -> None:
    board = FakeBoard()
    client, _ = a_client(board)
    client.connect()
    data = bytes(i % 251 for i in range(size))
    push(client, "layout", data)
    assert board.files["layout"] == data
    pulled = pull(client, "layout")
    assert pulled is not None and pulled.data == data


def whole_run() -> int:
    board = FakeBoard()
    client, cable = a_client(board)
    client.connect()
    push(client, "layout", TEXT[: CHUNK + 120])
    return cable.passed


@pytest.mark.parametrize("reset", [False, True], ids=["cable", "reset"])
def test_the_cable_pulled_at_every_byte_of_a_push(reset: bool) -> None:
    """Whatever byte is the last to pass: the push ends with all of it in force, and resumes where it may."""
    data = TEXT[: CHUNK + 120]
    total = whole_run()
    resumed_without_loss = 0
    for cut in range(1, total):
        board = FakeBoard()
        client, cable = a_client(board, [cut], reset=reset)
        _connect(client)
        done = push(client, "layout", data)
        assert board.files["layout"] == data, cut
        assert done.crc32 and cable.opened == 2, cut
        chunks = [params["at"] for name, params in board.calls if name == "push.chunk"]
        assert set(chunks) == {0, CHUNK}, cut
        if not reset:
            assert len(chunks) <= 3, cut  # at most the chunk under way went twice
            resumed_without_loss += 1
    assert reset or resumed_without_loss == total - 1


def _connect(client: Client) -> None:
    from frogfeed.board.errors import PortVanished

    try:
        client.connect()
    except PortVanished:
        client.reconnect()


def test_a_cable_pulled_many_times_over() -> None:
    board = FakeBoard()
    client, cable = a_client(board)
    client.connect()
    cable.cuts = [cable.passed + 4100 * i for i in range(1, 8)]
    push(client, "layout", TEXT)
    assert board.files["layout"] == TEXT
    assert client.counters.reconnects >= 3


def test_bytes_changed_on_the_way_in_spite_of_all_are_found_at_the_commit() -> None:
    board = FakeBoard()
    client, _ = a_client(board)
    client.connect()
    honest = board._push_chunk
    spoilt = [True]

    def spoil(at: int, data: str) -> dict[str, Any]:
        answer = honest(at, data)
        if at == CHUNK and spoilt:
            spoilt.pop()
            assert board._push is not None
            board._push["data"][500] ^= 1
        return answer

    board._push_chunk = spoil  # type: ignore[method-assign]
    done = push(client, "layout", TEXT)
    assert board.files["layout"] == TEXT
    assert done.resumed == 1


def test_a_board_that_keeps_forgetting_is_given_up() -> None:
    board = FakeBoard()
    client, _ = a_client(board)
    client.connect()
    honest = board._push_chunk

    def forget(at: int, data: str) -> dict[str, Any]:
        if at == 2 * CHUNK:
            board._push = None
        return honest(at, data)

    board._push_chunk = forget  # type: ignore[method-assign]
    with pytest.raises(PushFailed, match="keeps losing"):
        push(client, "layout", TEXT)
    assert "layout" not in board.files


def test_a_flash_that_changes_what_was_written_is_told() -> None:
    board = FakeBoard()
    client, _ = a_client(board)
    client.connect()
    honest = board._push_commit
    board._push_commit = lambda crc32: {**honest(crc32), "crc32": "deadbeef"}  # type: ignore[method-assign]
    with pytest.raises(PushFailed, match="deadbeef"):
        push(client, "layout", TEXT)


def test_what_comes_back_wrong_is_not_given_out() -> None:
    board = FakeBoard()
    client, _ = a_client(board)
    client.connect()
    push(client, "layout", TEXT)
    honest = board._pull
    board._pull = lambda what, at: {**honest(what, at), "crc32": "deadbeef"}  # type: ignore[method-assign]
    with pytest.raises(PushFailed, match="does not fit its CRC"):
        pull(client, "layout")
