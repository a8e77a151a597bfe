"""Attacks: other origins, other names for this host, no key, huge and broken messages, other files, a second owner."""

from __future__ import annotations

import contextlib
import json
import os
import socket
import stat
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import httpx
import pytest
from websockets.exceptions import ConnectionClosed, InvalidStatus
from websockets.sync.client import ClientConnection, connect
from websockets.typing import Origin

from frogboard import methods
from frogfeed.board.errors import BoardError, PortBusy
from frogfeed.board.transport import open_serial
from frogfeed.console.attach import advertised, attach, note_of, running
from frogfeed.console.commands import COMMANDS, MOST_BYTES
from frogfeed.console.guard import POLICY
from frogfeed.console.refusals import RefusedError
from frogfeed.console.seat import AttachedSeat
from frogfeed.console.seat_port import SeatTransport
from frogfeed.console.serve import listen
from frogfeed.console.session import Session
from tests.console.conftest import LONG_S, Console, serving


def get(console: Console, path: str, *, key: str | None = "", **headers: str) -> httpx.Response:
    cookie = {} if key is None else {"cookie": f"{console.cookie}={key or console.key}"}
    return httpx.get(console.base + path, headers={**cookie, **headers}, follow_redirects=False)


@contextlib.contextmanager
def ws(
    console: Console, *, key: str | None = "", origin: str | None = "", host: str = ""
) -> Iterator[ClientConnection]:
    headers = {} if key is None else {"Cookie": f"{console.cookie}={key or console.key}"}
    if host:
        headers["Host"] = host
    used = console.base if origin == "" else origin
    with (
        socket.create_connection(("127.0.0.1", console.served.port), timeout=LONG_S) as sock,
        connect(
            f"ws://{host or f'127.0.0.1:{console.served.port}'}/ws",
            sock=sock,
            origin=Origin(used) if used else None,
            additional_headers=headers,
            proxy=None,
            max_size=None,
        ) as found,
    ):
        yield found


def ask(conn: ClientConnection, text: str) -> dict[str, Any]:
    conn.send(text)
    while True:
        message: dict[str, Any] = json.loads(conn.recv(timeout=LONG_S))
        if message["t"] == "answer":
            return message


def test_without_the_key_nothing_is_shown(console: Console) -> None:
    for path in ("/", "/page/main.js", "/record.json", "/nothing"):
        for key in (None, "wrong", console.key[:-1], console.key + "x", ""):
            answer = get(console, path, key=key if key != "" else "x" * 300)
            assert answer.status_code == 403, path
            assert console.key not in answer.text
    assert httpx.get(console.base + "/?key=wrong").status_code == 403
    with pytest.raises(InvalidStatus), ws(console, key=None):
        pass
    with pytest.raises(InvalidStatus), ws(console, key="wrong"):
        pass


def test_the_key_becomes_a_cookie_that_scripts_and_other_sites_do_not_get(console: Console) -> None:
    answer = httpx.get(console.served.operator, follow_redirects=False)
    assert answer.status_code == 303
    assert answer.headers["location"] == "/"
    cookie = answer.headers["set-cookie"].lower()
    assert "httponly" in cookie
    assert "samesite=strict" in cookie
    assert get(console, "/").status_code == 200


@pytest.mark.parametrize(
    "host", ["evil.example", "127.0.0.1", "localhost:1", "evil.example:{port}", "127.0.0.1.evil.example:{port}"]
)
def test_another_name_for_this_host_is_turned_away(console: Console, host: str) -> None:
    """A page elsewhere that makes its own name point at this machine still sends that name as Host."""
    name = host.replace("{port}", str(console.served.port))
    assert get(console, "/", host=name).status_code == 403
    with pytest.raises(InvalidStatus), ws(console, host=name, origin=f"http://{name}"):
        pass


def test_two_hosts_or_none_are_turned_away(console: Console) -> None:
    good = f"127.0.0.1:{console.served.port}"
    for hosts in ([], [good, good], [good, "evil.example"]):
        with socket.create_connection(("127.0.0.1", console.served.port), timeout=LONG_S) as sock:
            lines = [
                "GET / HTTP/1.1",
                *(f"Host: {h}" for h in hosts),
                f"Cookie: {console.cookie}={console.key}",
                "Connection: close",
            ]
            sock.sendall("\r\n".join([*lines, "", ""]).encode())
            reply = sock.recv(4096).split(b"\r\n")[0]
            assert reply.split(b" ")[1] in (b"400", b"403"), reply


@pytest.mark.parametrize(
    "origin", ["http://evil.example", "null", "https://127.0.0.1:{port}", "http://127.0.0.1:1", None]
)
def test_another_origin_gets_no_socket(console: Console, origin: str | None) -> None:
    used = origin.replace("{port}", str(console.served.port)) if origin else None
    with pytest.raises(InvalidStatus) as e, ws(console, origin=used):
        pass
    assert e.value.response.status_code == 403
    if used:
        assert get(console, "/", origin=used).status_code == 403


def test_requests_that_another_site_began_are_turned_away(console: Console) -> None:
    for site in ("cross-site", "same-site"):
        assert get(console, "/", **{"sec-fetch-site": site}).status_code == 403
    assert get(console, "/", **{"sec-fetch-site": "none"}).status_code == 200


def test_every_answer_carries_the_policy(console: Console) -> None:
    for answer in (
        get(console, "/"),
        get(console, "/page/main.js"),
        get(console, "/page/none.js"),
        get(console, "/", key=None),
    ):
        assert answer.headers["content-security-policy"] == POLICY
        assert answer.headers["x-content-type-options"] == "nosniff"
        assert answer.headers["referrer-policy"] == "no-referrer"
        assert "server" not in answer.headers
    assert "unsafe" not in POLICY and "http" not in POLICY


def test_page_files_fetch_nothing_from_elsewhere(console: Console) -> None:
    from frogfeed.console.app import page_files

    for path in page_files().values():
        text = path.read_text(encoding="utf-8").replace("http://www.w3.org/2000/svg", "")
        assert "http:" not in text and "https:" not in text.replace('"https:"', ""), path.name
        assert "innerHTML" not in text and "eval(" not in text and "insertAdjacentHTML" not in text, path.name
        assert " style=" not in text and " onclick=" not in text, path.name


@pytest.mark.parametrize(
    "path",
    [
        "/page/../session.py", "/page/%2e%2e/session.py", "/page/..%2fsession.py", "/page/%2e%2e%2f%2e%2e%2fcli.py",
        "/page//etc/passwd", "/page/..%5csession.py", "/page/%00", "/page/index.html%00.js", "/page/", "/page",
        "/../../../../etc/passwd", "/page/main.js/../../session.py", "/page/.", "/page/..",
    ],
)  # fmt: skip
def test_no_other_file_is_served(console: Console, path: str) -> None:
    with socket.create_connection(("127.0.0.1", console.served.port), timeout=LONG_S) as sock:
        head = f"GET {path} HTTP/1.1\r\nHost: 127.0.0.1:{console.served.port}\r\n"
        head += f"Cookie: {console.cookie}={console.key}\r\n"
        sock.sendall((head + "Connection: close\r\n\r\n").encode())
        data = b""
        while more := sock.recv(65536):
            data += more
    status = int(data.split(b" ")[1])
    assert status in (307, 400, 404), data[:200]
    assert b"from __future__" not in data and b"root:" not in data


def test_only_reading_methods_and_no_bodies(console: Console) -> None:
    cookie = {"cookie": f"{console.cookie}={console.key}"}
    for method in ("POST", "PUT", "DELETE", "PATCH", "OPTIONS", "TRACE"):
        assert httpx.request(method, console.base + "/", headers=cookie).status_code == 403
    big = httpx.request("GET", console.base + "/", headers=cookie, content=b"x" * 100_000)
    assert big.status_code == 403


def test_a_message_too_long_closes_the_socket_and_nothing_else(console: Console) -> None:
    with ws(console) as other:
        with ws(console) as conn:
            conn.send("x" * (MOST_BYTES + 1))
            with pytest.raises(ConnectionClosed) as e:
                while True:
                    conn.recv(timeout=LONG_S)
            assert e.value.rcvd is not None and e.value.rcvd.code == 1009
        assert ask(other, '{"id":1,"do":"layout"}')["ok"]["name"] == "Saltmarsh Quay"


NOT_COMMANDS = [
    "",
    "{",
    "null",
    "[]",
    "1",
    '"throw"',
    "{}",
    '{"id":1}',
    "[" * 9000 + "]" * 7000,
    '{"id":1,"do":"a","\\ud800":1}',
]
ODD_NUMBERS = [f'{{"id":{n},"do":"layout"}}' for n in ('"1"', "true", "-1", "1e400", "NaN", "1.0", "null")]
ODD_NAMES = [f'{{"id":1,"do":{n}}}' for n in ("5", '"no.such"', '"__class__"', "null", '""')]
ODD_PARAMETERS: list[tuple[str, Any]] = [
    ("throw", {}),
    ("throw", []),
    ("throw", {"drive": "T1"}),
    ("throw", {"drive": "T1", "to": "left", "now": 1}),
    ("throw", {"drive": 1, "to": "left"}),
    ("throw", {"drive": "T" * 5000, "to": "left"}),
    ("throw", {"drive": "../../x", "to": "left"}),
    ("throw", {"drive": "T1", "to": "sideways"}),
    ("throw", {"drive": "D7", "to": "right"}),
    ("trim", {"drive": "T1", "setting": "left", "pulse_us": 1e9}),
    ("trim", {"drive": "T1", "setting": "left", "pulse_us": "1500"}),
    ("trim", {"drive": "T1", "setting": "left", "pulse_us": True}),
    ("edit.piece", {"piece": "T1", "key": "__proto__", "value": "x"}),
    ("edit.piece", {"piece": "T1", "key": "make", "value": "x\ny = 1"}),
    ("edit.joint", {"joint": -1, "gap": "both"}),
    ("edit.joint", {"joint": 99_999, "gap": "both"}),
    ("hunt.start", {"rail": "T1.F\x00", "trouble": "dead"}),
    ("hunt.start", {"rail": "T1.F", "trouble": "dead", "settings": {"T1": "sideways"}}),
    ("lay", {"start": "wharf", "goal": "constructor"}),
    ("link", {"board": "B1"}),
    ("link", {"board": "B9", "method": "hello"}),
    ("link", {"board": "B1", "method": "hello", "params": []}),
    ("link", {"board": "B1", "method": "hello", "params": {"x" * 81: 1}}),
    ("link", {"board": "B1", "method": "hello", "params": {str(n): n for n in range(9)}}),
    ("link.heard", {"board": "B9", "after": 0}),
    ("link.heard", {"board": "B1", "after": -2}),
    ("link.heard", {"board": "B1", "after": True}),
]
BROKEN = [
    *NOT_COMMANDS,
    *ODD_NUMBERS,
    *ODD_NAMES,
    *(json.dumps({"id": 1, "do": name, "with": params}) for name, params in ODD_PARAMETERS),
    '{"id":1,"do":"throw","with":' + '{"a":' * 2000 + "1" + "}" * 2001,
]


def test_broken_messages_are_refused_with_a_reason_and_change_nothing(console: Console) -> None:
    before = console.session.railway.layout.text
    drives = {d: s["at"] for d, s in console.session.store.section("drives").items()}
    with ws(console) as conn:
        for text in BROKEN:
            answer = ask(conn, text)
            assert answer["error"]["what"], text
            assert "Traceback" not in json.dumps(answer)
        conn.send(b"\x00\xff\xfe binary")
        with contextlib.suppress(ConnectionClosed, TimeoutError):
            while True:
                conn.recv(timeout=1)
    assert console.session.railway.layout.text == before
    assert {d: s["at"] for d, s in console.session.store.section("drives").items()} == drives
    with ws(console) as conn:
        assert ask(conn, '{"id":3,"do":"layout"}')["ok"]


def test_a_visitor_sees_all_and_touches_nothing(console: Console) -> None:
    with ws(console, key=console.visitor_key) as conn:
        first = json.loads(conn.recv(timeout=LONG_S))
        assert first["role"] == "visitor"
        for name, command in COMMANDS.items():
            answer = ask(
                conn, json.dumps({"id": 1, "do": name, "with": {"drive": "T1"} if name == "trim.show" else {}})
            )
            if command.visitor:
                assert "ok" in answer, name
            else:
                assert answer["error"]["what"].startswith("visitors"), name
    assert {n for n, c in COMMANDS.items() if c.visitor} == {"trim.show", "layout"}


def test_too_many_pages_are_turned_away(console: Console) -> None:
    with contextlib.ExitStack() as stack, pytest.raises((InvalidStatus, ConnectionClosed)):
        for _ in range(40):
            stack.enter_context(ws(console))
    with ws(console) as conn:
        assert ask(conn, '{"id":1,"do":"layout"}')["ok"]


def test_it_listens_on_this_machine_alone(console: Console) -> None:
    table = [
        line.split() for name in ("tcp", "tcp6") for line in Path(f"/proc/net/{name}").read_text().splitlines()[1:]
    ]
    port = f"{console.served.port:04X}"
    listening = [row[1] for row in table if row[3] == "0A" and row[1].endswith(f":{port}")]
    assert listening == [f"0100007F:{port}"]


def test_a_second_owner_of_the_port_is_refused(console: Console) -> None:
    assert console.bench is not None
    with pytest.raises(PortBusy) as e:
        open_serial(console.bench.port())
    assert "another program has this port open" in str(e.value)


def test_a_second_console_on_the_same_port_says_what_is_wrong_and_harms_nothing(console: Console) -> None:
    from frogfeed.console.ports import serial_links

    assert console.bench is not None
    links = serial_links(console.session.railway, [console.bench.port()])
    with serving(Session(None, console.session.railway, links), console.file) as second:
        second.wait(lambda: second.get("faults", "link B1"))
        fault = second.get("faults", "link B1")
        assert "open" in fault["what"] and fault["cure"]
        assert console.get("boards", "B1")["up"]
    with pytest.raises(RefusedError, match="cannot listen"):
        listen("127.0.0.1", console.served.port)


def test_the_note_for_terminals_can_be_read_by_its_owner_alone(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("XDG_RUNTIME_DIR", str(tmp_path))
    layout = tmp_path / "a.toml"
    layout.write_text("")
    with advertised(layout, "127.0.0.1", 1, "secret"):
        note = note_of(layout, 1)
        assert stat.S_IMODE(note.stat().st_mode) == 0o600
        assert stat.S_IMODE(note.parent.stat().st_mode) == 0o700
        assert attach(layout) is None
    assert not note.exists()
    note.parent.chmod(0o777)
    with pytest.raises(RefusedError, match="not this user's alone"):
        note_of(layout, 1)
    assert running() == ()
    os.chmod(note.parent, 0o700)  # noqa: PTH101


def test_notes_of_others_and_of_consoles_that_died_are_passed_over(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("XDG_RUNTIME_DIR", str(tmp_path))
    layout = tmp_path / "a.toml"
    layout.write_text("")
    with advertised(layout, "127.0.0.1", 1, "secret"):
        (found,) = running(layout)
        assert "secret" not in repr(found) and "secret" not in str(found)
        note = note_of(layout, 1)
        note.chmod(0o640)
        assert running() == ()
        note.chmod(0o600)
        linked = note.with_name(note.name.replace("-1.json", "-2.json"))
        linked.symlink_to(note)
        assert len(running()) == 1
        linked.unlink()
        for text in ("", "[]", "{}", "nonsense", '{"layout": 1}', "[" * 5000):
            linked.write_text(text)
            linked.chmod(0o600)
            assert len(running()) == 1, text
        ended = subprocess.Popen([sys.executable, "-c", ""])
        ended.wait(60)
        linked.write_text(json.dumps({**json.loads(note.read_text()), "pid": ended.pid}))
        assert [r.port for r in running()] == [1]
        assert not linked.exists()


def link_request(method: str, **params: Any) -> str:
    return json.dumps({"id": 1, "do": "link", "with": {"board": "B1", "method": method, "params": params}})


def test_the_seat_of_a_terminal_passes_on_only_what_a_page_may_do_too(console: Console) -> None:
    with ws(console) as conn:
        assert ask(conn, link_request("hello"))["ok"]["result"]["board"] == "B1"
        for method in ("maintenance", "reset", "trim", "eval", "hello ", "push.abort"):
            answer = ask(conn, link_request(method))["ok"]
            assert answer["error"]["code"] == methods.REFUSED, method
        up = console.get("boards", "B1")
        assert up["up"]
        for drive, to in (("D7", "right"), ("T1", "sideways"), ("nobody", "left"), ("T1", 5), (["T1"], "left")):
            answer = ask(conn, link_request("throw", drive=drive, to=to))["ok"]
            assert answer["error"]["message"], (drive, to)
        assert console.get("boards", "B1")["up"]
        long = ask(conn, link_request("throw", drive="T" * 2000, to="left"))
        assert long["ok"]["error"]["code"] == methods.BAD_PARAMS
        console.wait(lambda: (console.get("boards", "B1") or {}).get("up"))


def test_a_visitor_cannot_throw_by_way_of_a_terminals_seat(console: Console) -> None:
    before = console.get("drives", "T1")
    with ws(console, key=console.visitor_key) as conn:
        for text in (
            link_request("throw", drive="T1", to="right"),
            link_request("all_off"),
            link_request("push.begin", what="layout", size=4, crc32="00000000"),
            link_request("hello"),
            json.dumps({"id": 1, "do": "link.heard", "with": {"board": "B1", "after": -1}}),
        ):
            assert ask(conn, text)["error"]["what"].startswith("visitors"), text
    seat = AttachedSeat("127.0.0.1", console.served.port, console.visitor_key)
    with contextlib.closing(seat), pytest.raises(BoardError, match="visitors may look"):
        SeatTransport(seat, "B1", "by-seat")
    with pytest.raises(RefusedError, match="no console answers"):
        AttachedSeat("127.0.0.1", console.served.port, "wrong")
    assert console.get("drives", "T1") == before


def test_who_is_told_of_a_console_is_not_turned_away_while_it_starts() -> None:
    with (
        contextlib.closing(listen("127.0.0.1", 0)) as waiting,
        socket.create_connection(waiting.getsockname(), timeout=10.0),
    ):
        pass
